"""Outcomes of checks of several bundles, the hidden ones estimated, as the counts that the model reads."""

from collections.abc import Mapping, Sequence

import numpy as np
import pandas as pd

from analytics.check_rates import SEEDED_WORTH
from analytics.rollup_checks import AT_FAULT, CHECK_COLUMNS, check_groups
from analytics.vocabulary import Check, Vocabulary

STEPS = 15


def unroll_outcomes(parts: Sequence[tuple[pd.DataFrame, int]], vocabulary: Vocabulary) -> pd.DataFrame:
    """All shops' outcomes in one frame of `CHECK_COLUMNS`; where a shop tells one outcome, the other is estimated.

    Parameters
    ----------
    parts : of each shop, its frame of `CHECK_COLUMNS` and the largest count that it hides

    Notes
    -----
    Expectation-maximisation of the rate of a check's first outcome, which begins at its seeded rate, worth
    `SEEDED_WORTH` tickets: hidden counts are Poisson, in proportion to the one shown, and no larger than stated.
    Without them a check that misses now and then would seem never to miss. An outcome is also hidden when nearly all
    tickets had it; where the seeded rate says that this is why, the shop's other outcome says nothing either.
    """
    told = [(frame.groupby(list(CHECK_COLUMNS[:-1]))["tickets"].sum(), most) for frame, most in parts]
    keys = [{(check, place) for check, place, _ in counts.index} for counts, _ in told]
    rows: list[tuple[str, str, str, float]] = []
    for code, check in vocabulary.checks.items():
        for place, outcomes, suspects in check_groups(check, tuple(vocabulary.suspects)):
            shown = [
                (np.array([float(counts.get((code, place, outcome), 0.0)) for outcome in outcomes]), most)
                for (counts, most), known in zip(told, keys, strict=True)
                if (code, place) in known
            ]
            total = _complete([one for one in shown if one[0].any()], _seeded(check, place, outcomes, suspects))
            rows += [(code, place, outcome, count) for outcome, count in zip(outcomes, total, strict=True) if count > 0]
    return pd.DataFrame(rows, columns=list(CHECK_COLUMNS)).astype({"tickets": float})


def outcome_counts(outcomes: pd.DataFrame, tickets: Mapping[str, float], vocabulary: Vocabulary) -> pd.DataFrame:
    """Frame check, suspect, outcome, count (`evidence.Evidence.check_counts`) of a frame of `CHECK_COLUMNS`.

    Parameters
    ----------
    tickets : suspect -> tickets of all shops; an outcome is shared out among the suspects of its check in proportion
        to them and to the seeded rate
    """
    counts = {(row.check, row.place, row.outcome): float(str(row.tickets)) for row in outcomes.itertuples()}
    rows: list[tuple[str, str, str, float]] = []
    for code, check in vocabulary.checks.items():
        for place, names, suspects in check_groups(check, tuple(vocabulary.suspects)):
            for at, outcome in enumerate(names):
                count = counts.get((code, place, outcome), 0.0)
                if count and suspects:
                    share = _shares(check, suspects, outcome if place == AT_FAULT else "", tickets, hit=1 - at)
                    rows += [(code, k, outcome, count * part) for k, part in zip(suspects, share, strict=True)]
    return pd.DataFrame(rows, columns=["check", "suspect", "outcome", "count"]).astype({"count": float})


def _complete(shown: Sequence[tuple[np.ndarray, int]], seeded: float) -> np.ndarray:
    """(2,) counts of both outcomes over all shops."""
    rate, total = seeded, np.zeros(2)
    shown = [one for one in shown if not _is_hidden_as_large(*one, seeded)]
    for _ in range(STEPS):
        odds = (rate / (1.0 - rate), (1.0 - rate) / rate)
        total = np.zeros(2)
        for counts, most in shown:
            hidden = [_hidden(counts[1 - at] * odds[at], most) if counts[at] == 0 else 0.0 for at in (0, 1)]
            total += counts + hidden
        rate = float((total[0] + SEEDED_WORTH * seeded) / (total.sum() + SEEDED_WORTH))
    return total


def _is_hidden_as_large(counts: np.ndarray, most: int, seeded: float) -> bool:
    """Whether the one outcome is missing and would be expected to be much larger than what is hidden as small."""
    odds = (seeded / (1.0 - seeded), (1.0 - seeded) / seeded)
    return any(counts[at] == 0 and counts[1 - at] * odds[at] > 2.0 * most for at in (0, 1))


def _hidden(mean: float, most: int) -> float:
    """Mean of a Poisson count that is known to be no larger than `most`."""
    steps = np.arange(1, most + 1)
    weights = np.concatenate([[1.0], np.cumprod(mean / steps)])
    return float(weights @ np.arange(most + 1) / weights.sum())


def _seeded(check: Check, place: str, outcomes: tuple[str, ...], suspects: tuple[str, ...]) -> float:
    rates = check.cures if "cured" in outcomes else check.reveals
    mean = float(np.mean([rates[code] for code in suspects])) if place == AT_FAULT and suspects else check.false_alarm
    return min(max(mean, 0.005), 0.995)


def _shares(
    check: Check, suspects: tuple[str, ...], outcome: str, tickets: Mapping[str, float], *, hit: int
) -> np.ndarray:
    """(suspect,) shares that add up to one; `outcome` "" where the fault was elsewhere."""
    rates = check.cures if outcome in ("cured", "not_cured") else check.reveals
    weights = np.array([tickets.get(code, 0.0) + 0.1 for code in suspects])
    if outcome:
        seeded = np.clip([rates[code] for code in suspects], 0.005, 0.995)
        weights = weights * (seeded if hit else 1.0 - seeded)
    return weights / weights.sum()
