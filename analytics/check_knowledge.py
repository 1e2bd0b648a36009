"""What is known of each check: what was seeded beside what the tickets taught, with intervals."""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from analytics.posterior import Posterior
from analytics.vocabulary import Check, Vocabulary


@dataclass(frozen=True)
class Learnt:
    """A seeded figure, the posterior mean (minutes: median) and its 90 % interval."""

    seeded: float
    now: float
    low: float
    high: float


@dataclass(frozen=True)
class CheckKnowledge:
    """One check: P(fault_found | suspect) and P(cured | suspect) by suspect, P(false alarm), minutes of a usual try;
    made_count tries on all tickets. A check never made goes by its seed and by its kind.
    """

    check: str
    made_count: int
    detection: Mapping[str, Learnt]
    cure: Mapping[str, Learnt]
    false_alarm: Learnt | None
    minutes: Learnt


def know_check(posterior: Posterior, check: Check, made_count: int) -> CheckKnowledge:
    """What the posterior says about a check of the vocabulary that the posterior knows."""
    arrays, at = posterior.arrays, posterior.positions["check"][check.code]
    suspects = posterior.draws["suspect"].values

    def pairs(name: str, pair: str, seeded: Mapping[str, float]) -> dict[str, Learnt]:
        rows = np.flatnonzero(arrays[f"{pair}_check"] == at)
        codes = [str(suspects[k]) for k in arrays[f"{pair}_suspect"][rows]]
        told = zip(codes, rows, strict=True)
        return {code: _learnt(seeded[code], arrays[name][:, row]) for code, row in told if code in seeded}

    return CheckKnowledge(
        check=check.code,
        made_count=made_count,
        detection=pairs("detection", "reveal", check.reveals),
        cure=pairs("cure", "remedy", check.cures),
        # only what looks for a fault can see one that is not there
        false_alarm=_learnt(check.false_alarm, arrays["false_alarm"][:, at]) if check.reveals else None,
        minutes=_learnt_median(check.minutes, np.exp(arrays["log_minutes"][:, at])),
    )


def know_checks(
    posterior: Posterior, vocabulary: Vocabulary, *, symptom: str, made: Mapping[str, int]
) -> tuple[CheckKnowledge, ...]:
    """All checks that bear on a symptom ("" for all checks), the most often made first; those the posterior does not
    know, because they were added since the fit, are left out.
    """
    listed = vocabulary.checks_for(symptom) if symptom else tuple(vocabulary.checks.values())
    known = [know_check(posterior, c, made.get(c.code, 0)) for c in listed if c.code in posterior.positions["check"]]
    return tuple(sorted(known, key=lambda knowledge: -knowledge.made_count))


def _learnt(seeded: float, draws: np.ndarray) -> Learnt:
    low, high = np.quantile(draws, (0.05, 0.95))
    return Learnt(seeded, float(draws.mean()), float(low), float(high))


def _learnt_median(seeded: float, draws: np.ndarray) -> Learnt:
    low, median, high = np.quantile(draws, (0.05, 0.5, 0.95))
    return Learnt(seeded, float(median), float(low), float(high))
