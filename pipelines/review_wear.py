"""Whether machines need more repairs as they age: the mean number of visits per machine by age."""

import numpy as np
import pandas as pd

from analytics.recurrence import Recurrence, mean_cumulative
from pipelines.review_parts import Part
from pipelines.settings import Settings
from pipelines.store import reading, run_query

QUESTION = "Do machines need more repairs as they age?"
# With fewer machines watched at an age the curve says little.
LEAST_WATCHED = 10
AGE, VISITS, LOW, HIGH = "age in years", "visits per machine so far", "from", "to"
NOTES = (
    "Every age is seen on the machines that were that old while the records run, so the curve is put together from "
    "machines of different years of manufacture; what happened before the records began is not known, and the curve "
    "begins at the youngest age at which ten machines were watched.",
    "Machines that never came in are in no ticket. The true number of visits per machine is lower; how it rises with "
    "age is less touched by that.",
    "In nine cases of ten the true curve lies between 'from' and 'to' (robust standard error of Lawless and Nadeau).",
)


def review_wear(settings: Settings) -> Part:
    """Visits per machine by age, with the robust interval."""
    with reading(settings.store_path) as con:
        rows = run_query(con, "visits_by_age")
    found = count_by_age(rows) if len(rows) else None
    if found is None or len(found.times) < 2:
        return Part(QUESTION, "Too few machines have a year of manufacture to say.", pd.DataFrame())
    low, high = found.interval(0.9)
    table = pd.DataFrame(
        {
            AGE: found.times.astype(int),
            VISITS: found.mean.round(2),
            LOW: low.round(2),
            HIGH: high.round(2),
            "visits a machine-year": (found.events / found.at_risk).round(3),
            "visits": found.events.astype(int),
            "machines watched": found.at_risk.astype(int),
        }
    )
    return Part(QUESTION, _say(found), table, NOTES)


def count_by_age(rows: pd.DataFrame) -> Recurrence:
    """Mean cumulative visits over the ages at which at least `LEAST_WATCHED` machines are watched.

    Parameters
    ----------
    rows : columns as in `sql/visits_by_age.sql`
    """
    machines = rows.drop_duplicates("machine").sort_values("machine")
    since, until = (machines[name].to_numpy(dtype=float) for name in ("first_age", "last_age"))
    ages = np.arange(max(0.0, since.min()), until.max() + 1)
    watched = np.array([((since <= age) & (age <= until)).sum() for age in ages])
    wide = ages[watched >= LEAST_WATCHED]
    kept = rows[rows["age"].isin(wide)]
    machine = kept["machine"].to_numpy().repeat(kept["visits"].to_numpy())
    time = kept["age"].to_numpy(dtype=float).repeat(kept["visits"].to_numpy())
    return mean_cumulative(machine, time, until=until, since=since)


def _say(found: Recurrence) -> str:
    """Visits a machine-year in the younger and the older half of the ages."""
    middle = len(found.times) // 2
    young, old = (
        found.events[part].sum() / found.at_risk[part].sum() for part in (slice(0, middle), slice(middle, None))
    )
    ages = f"Up to {found.times[middle - 1]:.0f} years {young:.2g} visits a machine-year, older {old:.2g}"
    if 0.9 < old / young < 1 / 0.9:
        return f"Hardly: {ages[0].lower()}{ages[1:]}."
    return f"{'Yes' if old > young else 'No, fewer'}: {ages[0].lower()}{ages[1:]}."
