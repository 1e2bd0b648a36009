"""What each check can tell: counts from tickets beside the seeded rates, and the likelihood of an outcome."""

from dataclasses import dataclass

import numpy as np
import pandas as pd

from analytics.check_likelihood import ROUNDING
from analytics.errors import InputError
from analytics.evidence import Evidence
from analytics.vocabulary import KINDS, Vocabulary

# A remedy whose suspect is elsewhere still now and then ends with a working machine: it was jolted, or warmed up.
# Common practice, no source.
STRAY_CURE = 0.01
# Tickets that a seeded rate is worth when patterns of unresolved tickets are weighed before the fit.
SEEDED_WORTH = 10.0
# Minutes of one check usually scatter by a factor of about 1.6; that is worth so many counts before any fit.
USUAL_MINUTES_SPREAD, USUAL_WORTH = 0.5, 5.0


@dataclass(frozen=True)
class CheckTable:
    """Seeded rates and counts, flattened. `reveal` = (check, suspect) pairs with a detection, `cure` likewise.

    *_check, *_suspect (pair,) positions; *_seeded (pair,) probabilities; *_hit, *_tried (pair,) counts from confirmed
    tickets; false_alarm_* (check,); log_minutes_* (check,): seeded log minutes, count, sum and sum of squares.
    """

    checks: tuple[str, ...]
    kinds: tuple[str, ...]
    kind: np.ndarray
    suspect_count: int
    reveal_check: np.ndarray
    reveal_suspect: np.ndarray
    reveal_seeded: np.ndarray
    reveal_hit: np.ndarray
    reveal_tried: np.ndarray
    cure_check: np.ndarray
    cure_suspect: np.ndarray
    cure_seeded: np.ndarray
    cure_hit: np.ndarray
    cure_tried: np.ndarray
    false_alarm_seeded: np.ndarray
    false_alarm_hit: np.ndarray
    false_alarm_tried: np.ndarray
    log_minutes_seeded: np.ndarray
    minutes_count: np.ndarray
    log_minutes_sum: np.ndarray
    log_minutes_square: np.ndarray


@dataclass(frozen=True)
class CheckRates:
    """P(fault_found | suspect) and P(cured | suspect) as (check, suspect), false alarms already filled in."""

    found: np.ndarray
    cured: np.ndarray


def count_check_table(evidence: Evidence, vocabulary: Vocabulary) -> CheckTable:
    """Seeded rates of the vocabulary beside what confirmed tickets counted."""
    checks, suspects = tuple(vocabulary.checks), tuple(vocabulary.suspects)
    outcome = {
        name: _outcome_counts(evidence, checks, suspects, name)
        for name in ("fault_found", "clear", "cured", "not_cured")
    }
    listed = list(vocabulary.checks.values())
    reveal = _pairs([check.reveals for check in listed], suspects)
    cure = _pairs([check.cures for check in listed], suspects)
    looked, tried = outcome["fault_found"] + outcome["clear"], outcome["cured"] + outcome["not_cured"]
    outside = np.ones((len(checks), len(suspects)))
    outside[reveal[0], reveal[1]] = 0.0
    minutes = evidence.check_minutes.set_index("check").reindex(checks).fillna(0.0)
    return CheckTable(
        checks=checks,
        kinds=KINDS,
        kind=np.array([KINDS.index(check.kind) for check in listed]),
        suspect_count=len(suspects),
        reveal_check=reveal[0],
        reveal_suspect=reveal[1],
        reveal_seeded=reveal[2],
        reveal_hit=outcome["fault_found"][reveal[0], reveal[1]],
        reveal_tried=looked[reveal[0], reveal[1]],
        cure_check=cure[0],
        cure_suspect=cure[1],
        cure_seeded=cure[2],
        cure_hit=outcome["cured"][cure[0], cure[1]],
        cure_tried=tried[cure[0], cure[1]],
        false_alarm_seeded=np.array([check.false_alarm for check in listed]),
        false_alarm_hit=(outcome["fault_found"] * outside).sum(1),
        false_alarm_tried=(looked * outside).sum(1),
        log_minutes_seeded=np.log([check.minutes for check in listed]),
        minutes_count=minutes["count"].to_numpy(),
        log_minutes_sum=minutes["log_sum"].to_numpy(),
        log_minutes_square=minutes["log_square_sum"].to_numpy(),
    )


def rate_precisions(table: CheckTable) -> dict[str, np.ndarray]:
    """What counts tell about the logit of a check's rates: name of the rate -> (check,) sum of tries * p (1 - p).

    Notes
    -----
    Fisher information of a binomial count about its logit, at the rates of `shrunken_rates`.
    """

    def tell(check: np.ndarray, hit: np.ndarray, tried: np.ndarray, seeded: np.ndarray) -> np.ndarray:
        rate = _shrink(hit, tried, seeded)
        return np.bincount(check, tried * rate * (1.0 - rate), len(table.checks))

    every = np.arange(len(table.checks))
    return {
        "detection": tell(table.reveal_check, table.reveal_hit, table.reveal_tried, table.reveal_seeded),
        "cure": tell(table.cure_check, table.cure_hit, table.cure_tried, table.cure_seeded),
        "false_alarm": tell(every, table.false_alarm_hit, table.false_alarm_tried, table.false_alarm_seeded),
    }


def minutes_precision(table: CheckTable) -> np.ndarray:
    """(check,) what counts tell about the mean log minutes of each check: count / variance, pooled over checks."""
    count = table.minutes_count
    within = table.log_minutes_square - table.log_minutes_sum**2 / np.where(count > 0.0, count, 1.0)
    variance = (USUAL_WORTH * USUAL_MINUTES_SPREAD**2 + within.sum()) / (USUAL_WORTH + count.sum())
    return count / (variance + ROUNDING**2)


def shrunken_rates(table: CheckTable) -> CheckRates:
    """Rates before any fit: the seeded rate is worth `SEEDED_WORTH` tickets beside the counts."""
    return fill_rates(
        table,
        detection=_shrink(table.reveal_hit, table.reveal_tried, table.reveal_seeded),
        false_alarm=_shrink(table.false_alarm_hit, table.false_alarm_tried, table.false_alarm_seeded),
        cure=_shrink(table.cure_hit, table.cure_tried, table.cure_seeded),
    )


def _shrink(hit: np.ndarray, tried: np.ndarray, seeded: np.ndarray) -> np.ndarray:
    return (hit + SEEDED_WORTH * seeded) / (tried + SEEDED_WORTH)


def fill_rates(table: CheckTable, *, detection: np.ndarray, false_alarm: np.ndarray, cure: np.ndarray) -> CheckRates:
    """(check, suspect) matrices from rates per pair and per check."""
    found = np.repeat(false_alarm[:, None], table.suspect_count, axis=1)
    found[table.reveal_check, table.reveal_suspect] = detection
    cured = np.full((len(table.checks), table.suspect_count), STRAY_CURE)
    cured[table.cure_check, table.cure_suspect] = cure
    return CheckRates(found=found, cured=cured)


def check_likelihood(rates: CheckRates, table: CheckTable, *, check: str, outcome: str) -> np.ndarray:
    """P(outcome | suspect) of one check, shape (suspect,); an inconclusive check tells nothing."""
    if check not in table.checks:
        raise InputError(f"No check is called '{check}'. See `faultodds vocabulary list checks`.")
    at = table.checks.index(check)
    if outcome == "fault_found":
        return rates.found[at]
    if outcome == "clear":
        return 1.0 - rates.found[at]
    if outcome == "cured":
        return rates.cured[at]
    if outcome == "not_cured":
        return 1.0 - rates.cured[at]
    return np.ones(table.suspect_count)


def _pairs(maps: list, suspects: tuple[str, ...]) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    flat = [(at, suspects.index(code), rate) for at, rates in enumerate(maps) for code, rate in rates.items()]
    check, suspect, rate = zip(*flat, strict=True) if flat else ((), (), ())
    # A rate of exactly 0 or 1 would let one slip of the pen rule a suspect out for ever.
    return np.array(check, dtype=int), np.array(suspect, dtype=int), np.clip(np.array(rate, dtype=float), 0.005, 0.995)


def _outcome_counts(evidence: Evidence, checks: tuple[str, ...], suspects: tuple[str, ...], outcome: str) -> np.ndarray:
    rows = evidence.check_counts[evidence.check_counts["outcome"] == outcome]
    rows = rows[rows["check"].isin(checks) & rows["suspect"].isin(suspects)]
    table = np.zeros((len(checks), len(suspects)))
    at = (pd.Index(checks).get_indexer(rows["check"]), pd.Index(suspects).get_indexer(rows["suspect"]))
    np.add.at(table, at, rows["count"].to_numpy(dtype=float))
    return table
