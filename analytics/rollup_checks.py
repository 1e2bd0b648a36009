"""What a shop's checks told and how long they took, counted so coarsely that no ticket shows."""

from collections.abc import Mapping

import numpy as np
import pandas as pd

from analytics.vocabulary import Check, Vocabulary

CHECK_COLUMNS = ("check", "place", "outcome", "tickets")
MINUTES_COLUMNS = ("check", "tickets", "mean_log", "spread_log")
# Where the fault was: at a suspect that the check can show, or cure; or anywhere else.
AT_FAULT, ELSEWHERE = "at_fault", "elsewhere"
SHOWS, CURES = ("fault_found", "clear"), ("cured", "not_cured")
# Digits of log minutes: five products of whole minutes could be taken apart again if they were exact.
DIGITS = 2


def check_groups(check: Check, suspects: tuple[str, ...]) -> tuple[tuple[str, tuple[str, ...], tuple[str, ...]], ...]:
    """(place, outcomes, suspects that the fault was at) of the groups of tickets in which a check is counted."""
    outside = tuple(code for code in suspects if code not in check.reveals)
    return (
        (AT_FAULT, SHOWS, tuple(check.reveals)),
        (ELSEWHERE, SHOWS, outside),
        (AT_FAULT, CURES, tuple(check.cures)),
    )


def roll_up_outcomes(
    uses: pd.DataFrame, tickets: Mapping[str, int], vocabulary: Vocabulary, *, threshold: int
) -> pd.DataFrame:
    """Frame of `CHECK_COLUMNS`: how many tickets a check ended so on, where the fault was here or elsewhere.

    Parameters
    ----------
    uses : check, suspect (confirmed), outcome, tickets: each ticket once for each outcome of a check
    tickets : suspect -> all tickets on which it was confirmed

    Notes
    -----
    An outcome parts the tickets of its suspects in two: those with it and those without. It is told if each part has
    none or at least `threshold`, so that nothing small is left when it is taken from the tickets of its suspects. All
    outcomes are then margins of one table of tickets, each side of each at least `threshold`: a cell inside can always
    hold as many as its smallest margin. A remedy may fail and then cure on one ticket, so two outcomes do not add up.
    Which suspect it was is not told: the model learns one departure a check (`terms`), so it would be the wiser by
    little.
    """
    by_check = dict(list(uses.groupby("check")))
    rows: list[tuple[str, str, str, int]] = []
    for code, check in vocabulary.checks.items():
        if code not in by_check:
            continue
        for place, outcomes, suspects in check_groups(check, tuple(vocabulary.suspects)):
            inside = by_check[code][by_check[code]["suspect"].isin(suspects)]
            here = inside.groupby("outcome")["tickets"].sum().reindex(list(outcomes), fill_value=0).astype(int)
            total = sum(tickets.get(suspect, 0) for suspect in suspects)
            rows += [(code, place, outcome, count) for outcome, count in here.items()
                     if count >= threshold and not 0 < total - count < threshold]  # fmt: skip
    return pd.DataFrame(rows, columns=list(CHECK_COLUMNS)).astype({"tickets": int})


def roll_up_minutes(minutes: pd.DataFrame, *, threshold: int) -> pd.DataFrame:
    """Frame of `MINUTES_COLUMNS`: mean and standard deviation of log minutes of checks timed often enough.

    Parameters
    ----------
    minutes : check, count, log_sum, log_square_sum; each ticket once a check

    Notes
    -----
    Counts are rounded down to multiples of `threshold`, means and deviations to `DIGITS`: no minutes of a single
    ticket can be got back, nor how many were left untimed.
    """
    found = minutes[minutes["count"] >= threshold]
    mean = found["log_sum"] / found["count"]
    spread = np.sqrt((found["log_square_sum"] / found["count"] - mean**2).clip(lower=0.0))
    rounded = {
        "check": found["check"],
        "tickets": (found["count"] // threshold * threshold).astype(int),
        "mean_log": mean.round(DIGITS),
        "spread_log": spread.round(DIGITS),
    }
    return pd.DataFrame(rounded).reset_index(drop=True)


def add_minutes(parts: pd.DataFrame) -> pd.DataFrame:
    """Rows of `MINUTES_COLUMNS` added up by check."""
    sums = minutes_sums(parts).groupby("check", as_index=False).sum()
    mean = sums["log_sum"] / sums["count"]
    spread = np.sqrt((sums["log_square_sum"] / sums["count"] - mean**2).clip(lower=0.0))
    return pd.DataFrame(
        {
            "check": sums["check"],
            "tickets": sums["count"],
            "mean_log": mean.round(DIGITS),
            "spread_log": spread.round(DIGITS),
        }
    )


def minutes_sums(rolled: pd.DataFrame) -> pd.DataFrame:
    """Rows of `MINUTES_COLUMNS` as the sums that the model reads (`evidence.Evidence.check_minutes`)."""
    count, mean = rolled["tickets"], rolled["mean_log"]
    return pd.DataFrame(
        {
            "check": rolled["check"],
            "count": count,
            "log_sum": count * mean,
            "log_square_sum": count * (rolled["spread_log"] ** 2 + mean**2),
        }
    )
