"""First-check hits and minutes to a fix, quarter by quarter, with the changes that the evidence carries."""

from collections.abc import Sequence

import numpy as np
import pandas as pd

from analytics.change_points import LONGEST_FALSE_ALARM_RATE, Change, change_in_minutes, change_in_shares
from analytics.shared_rates import SharedRates
from pipelines.review_parts import Part
from pipelines.settings import Settings
from pipelines.store import reading, run_query
from pipelines.wording import change_phrase, in_ten, minutes_phrase

QUESTION_FIRST = "Does the first check hit more often than it used to?"
QUESTION_MINUTES = "Do repairs get quicker?"
QUARTER, TICKETS, HITS, TENS = "quarter", "tickets", "hits", "hits (in 10)"
LOW, HIGH, STRETCH = "from", "to", "same since"
FIXED, MIDDLE, RAW_MEDIAN = "fixed", "usual (min)", "plain median (min)"
NO_CHANGE = "No change is carried by the evidence"
NOTES = (
    "A change is named only when it is at least 19 times as likely as none, after starting 4 to 1 against it. Of "
    f"{round(1 / LONGEST_FALSE_ALARM_RATE)} series that stay the same at most one is then called changed.",
    "What else changed at the time is not known here: another mix of machines moves these figures too.",
)
FEW_QUARTERS = 4
FAR = 1.645


def review_quarters(settings: Settings) -> tuple[Part, Part]:
    """Both series, the newest quarter first."""
    with reading(settings.store_path) as con:
        quarters = run_query(con, "review_quarters")
    quarters = fill_quarters(quarters)
    return first_check_part(quarters), minutes_part(quarters)


def fill_quarters(quarters: pd.DataFrame) -> pd.DataFrame:
    """The same with quarters without a ticket in between, named "2026 Q1" in the column `quarter`."""
    period = pd.PeriodIndex(pd.to_datetime(quarters["quarter"]), freq="Q")
    whole = pd.period_range(period.min(), period.max(), freq="Q")
    filled = quarters.drop(columns="quarter").set_axis(period).reindex(whole)
    counts = [name for name in filled.columns if name != "raw_median"]
    filled[counts] = filled[counts].fillna(0)
    return filled.assign(quarter=[f"{one.year} Q{one.quarter}" for one in whole]).reset_index(drop=True)


def first_check_part(quarters: pd.DataFrame) -> Part:
    """Share of tickets on which the first check found or cured."""
    hits, made = (quarters[name].to_numpy(dtype=float) for name in ("first_hits", "first_made"))
    low, high = SharedRates(hits + 0.5, made - hits + 0.5).interval()
    changes = change_in_shares(hits, made)
    table = pd.DataFrame(
        {
            QUARTER: quarters["quarter"],
            TICKETS: made.astype(int),
            HITS: hits.astype(int),
            TENS: _seen(10 * hits / np.maximum(made, 1.0), made).round(1),
            LOW: _seen(10 * low, made).round(1),
            HIGH: _seen(10 * high, made).round(1),
            STRETCH: _stretches(changes, quarters["quarter"]),
        }
    )[::-1]
    if len(quarters) < FEW_QUARTERS:
        return Part(QUESTION_FIRST, "There are too few quarters to say.", table, NOTES)

    def share(first: int, last: int) -> float:
        return float(hits[first:last].sum() / max(made[first:last].sum(), 1.0))

    told = [
        f"From {quarters['quarter'].iloc[one.at]} on the first check hits more or less often than before: "
        f"{change_phrase(share(*before), share(*after))}."
        for one, before, after in _around(changes, len(quarters))
    ]
    still = f"{NO_CHANGE}: the first check hits {in_ten(share(0, len(quarters)))} times all along."
    return Part(QUESTION_FIRST, " ".join(told) or still, table, NOTES)


def minutes_part(quarters: pd.DataFrame) -> Part:
    """Minutes of a fixed repair: the middle one (of a log-normal), quarter by quarter."""
    count, total, squares = (quarters[name].to_numpy(dtype=float) for name in ("fixed", "log_sum", "log_square_sum"))
    changes = change_in_minutes(count, total, squares)
    mean = total / np.maximum(count, 1.0)
    spread = (squares.sum() - (count * mean**2).sum()) / max(count.sum() - (count > 0).sum(), 1.0)
    far = FAR * np.sqrt(spread / np.maximum(count, 1.0))
    table = pd.DataFrame(
        {
            QUARTER: quarters["quarter"],
            FIXED: count.astype(int),
            RAW_MEDIAN: quarters["raw_median"].round(0),
            MIDDLE: _seen(np.exp(mean), count).round(1),
            LOW: _seen(np.exp(mean - far), count).round(1),
            HIGH: _seen(np.exp(mean + far), count).round(1),
            STRETCH: _stretches(changes, quarters["quarter"]),
        }
    )[::-1]
    if count.sum() == 0:
        return Part(QUESTION_MINUTES, "No fixed ticket says how many minutes it took.", table)
    if len(quarters) < FEW_QUARTERS:
        return Part(QUESTION_MINUTES, "There are too few quarters to say.", table, NOTES)

    def middle(first: int, last: int) -> str:
        return minutes_phrase(float(np.exp(total[first:last].sum() / max(count[first:last].sum(), 1.0))))

    told = [
        f"From {quarters['quarter'].iloc[one.at]} on a repair takes {middle(*after)}; before it took {middle(*before)}."
        for one, before, after in _around(changes, len(quarters))
    ]
    still = f"{NO_CHANGE}: a repair takes {middle(0, len(quarters))} all along."
    return Part(QUESTION_MINUTES, " ".join(told) or still, table, NOTES)


def _around(changes: Sequence[Change], length: int) -> list[tuple[Change, tuple[int, int], tuple[int, int]]]:
    """Each change with the stretch before it and the stretch after it."""
    edges = [0, *(change.at for change in changes), length]
    return [(change, (edges[at], edges[at + 1]), (edges[at + 1], edges[at + 2])) for at, change in enumerate(changes)]


def _stretches(changes: Sequence[Change], quarters: pd.Series) -> list[str]:
    """The quarter since which each one is like those before it."""
    starts = [0, *(change.at for change in changes)]
    return [str(quarters.iloc[max(start for start in starts if start <= at)]) for at in range(len(quarters))]


def _seen(values: np.ndarray, count: np.ndarray) -> np.ndarray:
    return np.where(count > 0, values, np.nan)
