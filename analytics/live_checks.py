"""What new tickets tell about the checks: how often they find, cure and raise a false alarm, and how long they take."""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from analytics.check_likelihood import ROUNDING
from analytics.evidence import Evidence
from analytics.live_effects import to_logit, to_rate
from analytics.live_tickets import NOT_GIVEN
from analytics.live_transform import Score, carry, find_move
from analytics.posterior import Posterior
from analytics.vocabulary import Vocabulary

CHECK_NAMES = ("detection", "cure", "false_alarm", "log_minutes")
_LOOKED, _TRIED = ("fault_found", "clear"), ("cured", "not_cured")
_HITS = ("fault_found", "cured")


@dataclass(frozen=True, eq=False)
class _News:
    """What was told about one entry of the array of that name."""

    name: str
    at: int
    score: Score


def learn_checks(posterior: Posterior, evidence: Evidence, vocabulary: Vocabulary) -> dict[str, np.ndarray]:
    """New arrays of detection, cure, false_alarm (probabilities) and log_minutes, each (draw, ...).

    Given the confirmed suspects, checks and odds have nothing to do with each other, so none moves the other. A check
    takes those of its own kind along, as far as the draws of the fit say.
    """
    arrays, kinds = posterior.arrays, _kinds(posterior, vocabulary)
    kinds_of = {"detection": kinds[arrays["reveal_check"]], "cure": kinds[arrays["remedy_check"]]}
    moved = {name: arrays[name].copy() for name in CHECK_NAMES}
    news = [*_count_rates(posterior, evidence), *_count_minutes(posterior, evidence)]
    groups: dict[tuple[str, str], list[_News]] = {}
    for told in news:
        groups.setdefault((told.name, kinds_of.get(told.name, kinds)[told.at]), []).append(told)
    for (name, kind), members in groups.items():
        alike = np.flatnonzero(kinds_of.get(name, kinds) == kind)
        into, back = (_as_is, _as_is) if name == "log_minutes" else (to_logit, to_rate)
        values = np.ascontiguousarray(into(arrays[name][:, alike]))
        for told in members:
            move = find_move(values[:, alike == told.at], told.score)
            carry(values, move, np.ones((len(alike), 1), dtype=bool))
        moved[name][:, alike] = back(values)
    return moved


def _as_is(values: np.ndarray) -> np.ndarray:
    return values


def _kinds(posterior: Posterior, vocabulary: Vocabulary) -> np.ndarray:
    """(check,) kinds; a check that the vocabulary has lost is of no kind."""
    listed = (vocabulary.checks.get(str(code)) for code in posterior.draws["check"].values)
    return np.array([check.kind if check else "" for check in listed], dtype=object)


def _count_rates(posterior: Posterior, evidence: Evidence) -> list[_News]:
    arrays, positions = posterior.arrays, posterior.positions
    reveals = _pair_positions(arrays["reveal_check"], arrays["reveal_suspect"])
    cures = _pair_positions(arrays["remedy_check"], arrays["remedy_suspect"])
    counts: dict[tuple[str, int], np.ndarray] = {}
    columns = (evidence.check_counts[name].tolist() for name in ("check", "suspect", "outcome", "count"))
    for code, suspect, outcome, count in zip(*columns, strict=True):
        check = positions["check"].get(code, NOT_GIVEN)
        pair = (check, positions["suspect"].get(suspect, NOT_GIVEN))
        if NOT_GIVEN in pair:
            continue
        if outcome in _LOOKED:
            place = ("detection", reveals[pair]) if pair in reveals else ("false_alarm", check)
        elif outcome in _TRIED and pair in cures:
            place = ("cure", cures[pair])
        else:
            continue
        counts[place] = counts.get(place, np.zeros(2)) + count * np.array([outcome in _HITS, 1.0])
    return [_News(name, at, _rate_score(*map(float, count))) for (name, at), count in counts.items()]


def _count_minutes(posterior: Posterior, evidence: Evidence) -> list[_News]:
    variance = float((posterior.arrays["minutes_spread"] ** 2).mean()) + ROUNDING**2
    columns = (evidence.check_minutes[name].tolist() for name in ("check", "count", "log_sum"))
    return [
        _News("log_minutes", posterior.positions["check"][code], _minutes_score(count, log_sum, variance))
        for code, count, log_sum in zip(*columns, strict=True)
        if code in posterior.positions["check"]
    ]


def _pair_positions(checks: np.ndarray, suspects: np.ndarray) -> Mapping[tuple[int, int], int]:
    return {(int(check), int(suspect)): at for at, (check, suspect) in enumerate(zip(checks, suspects, strict=True))}


def _rate_score(hits: float, tries: float) -> Score:
    """Binomial, by logit."""

    def score(logit: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        chance = to_rate(logit[:, 0])
        gradient, slope = hits - tries * chance, tries * chance * (1.0 - chance)
        total = hits * logit[:, 0] - tries * np.log1p(np.exp(logit[:, 0]))
        return np.array([gradient.mean()]), np.array([[slope.mean()]]), total

    return score


def _minutes_score(count: float, log_sum: float, variance: float) -> Score:
    """Log-normal, by log minutes."""

    def score(log_minutes: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        gradient = (log_sum - count * log_minutes[:, 0]) / variance
        total = (log_sum * log_minutes[:, 0] - 0.5 * count * log_minutes[:, 0] ** 2) / variance
        return np.array([gradient.mean()]), np.array([[count / variance]]), total

    return score
