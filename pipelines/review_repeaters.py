"""Machines that keep coming back: how often each comes in, and whether it comes ever sooner."""

import numpy as np
import pandas as pd

from analytics.comebacks import COMEBACK_DAYS
from analytics.failure_rates import fit_power_law, laplace_trend, log_times
from analytics.pooled_rates import pool_rates
from analytics.vocabulary import Vocabulary
from pipelines.review_parts import Part
from pipelines.settings import Settings
from pipelines.store import reading, run_query
from pipelines.wording import in_ten

QUESTION_REPEATERS = "Which machines keep coming back?"
QUESTION_TRENDS = "Is this machine getting worse?"
# So many machines, those that came in most often, are looked at one by one. Fewer than four visits show no trend.
NAMED_MACHINES, FEWEST_VISITS, TREND_VISITS = 300, 3, 4
YEAR_DAYS = 365.25
SHOP, MACHINE, RATE, WORSE = "shop", "machine", "visits a year", "chance that it gets worse, of 10"
WATCHED = (
    "A machine counts as watched from its workshop's first ticket to the last one of all. One that came later, "
    "or left, looks better than it is."
)


def review_repeaters(settings: Settings, vocabulary: Vocabulary) -> Part:
    """Visits a year by machine, those that come most often first."""
    with reading(settings.store_path) as con:
        seen = run_query(con, "machine_visits", longest=COMEBACK_DAYS, named=NAMED_MACHINES)
    years = np.maximum(seen["days"].to_numpy(dtype=float), 1.0) / YEAR_DAYS
    rates = pool_rates(
        seen["tickets"].to_numpy(dtype=float), years, seen["family"], copies=seen["machines"].to_numpy(dtype=float)
    )
    told = np.flatnonzero((seen[MACHINE] != "") & (seen["tickets"] >= FEWEST_VISITS))
    shown, rates = seen.iloc[told], rates.of(told)
    table = pd.DataFrame(
        {
            SHOP: shown[SHOP].to_numpy(),
            MACHINE: shown[MACHINE].to_numpy(),
            "family": [_family(code, vocabulary) for code in shown["family"]],
            RATE: rates.mean.round(2),
            "from": rates.quantile(0.05).round(2),
            "to": rates.quantile(0.95).round(2),
            "tickets": shown["tickets"].to_numpy(),
            "comebacks within a year": shown["comebacks"].to_numpy(),
            "years watched": years[told].round(1),
        }
    ).sort_values(RATE, ascending=False, kind="stable", ignore_index=True)
    if table.empty:
        return Part(QUESTION_REPEATERS, f"No machine came in {FEWEST_VISITS} times.", pd.DataFrame())
    first = table.iloc[0]
    finding = (
        f"{first[MACHINE]} ({first[SHOP]}): {first['tickets']} tickets in {first['years watched']:g} years, "
        f"{first[RATE]:g} visits a year (between {first['from']:g} and {first['to']:g})."
    )
    drawn = (
        "Each machine is drawn towards its kind, so that a few unlucky visits top no list. A comeback is a visit with "
        "the symptom of an earlier one that was closed at most a year before."
    )
    return Part(QUESTION_REPEATERS, finding, table, (WATCHED, drawn))


def review_trends(settings: Settings, vocabulary: Vocabulary) -> Part:
    """Whether visits of a machine come ever faster, by the power law; likeliest first."""
    with reading(settings.store_path) as con:
        days = run_query(con, "machine_days", fewest=TREND_VISITS, most=NAMED_MACHINES)
    if days.empty:
        return Part(QUESTION_TRENDS, f"No machine came in {TREND_VISITS} times, too few to show a trend.", days)
    rows = [_trend_row(key, visits) for key, visits in days.groupby([SHOP, MACHINE, "family"], sort=True)]
    table = pd.DataFrame(rows)
    # given the number of visits n, sum ln(T/t) is gamma(n, shape): as if n events had been seen in that time
    shapes = pool_rates(table["tickets"].to_numpy(float), table.pop("log_times").to_numpy(), table["family"])
    table["family"] = [_family(code, vocabulary) for code in table["family"]]
    table.insert(3, "shape", shapes.mean.round(2))
    table.insert(4, "from", shapes.quantile(0.05).round(2))
    table.insert(5, "to", shapes.quantile(0.95).round(2))
    table.insert(3, WORSE, (10 * (1.0 - shapes.below(1.0))).round(1))
    table = table.sort_values(WORSE, ascending=False, kind="stable", ignore_index=True)
    first = table.iloc[0]
    finding = (
        f"Most likely {first[MACHINE]} ({first[SHOP]}, {first['tickets']} tickets): the chance that it comes in ever "
        f"sooner is {in_ten(first[WORSE] / 10)}."
    )
    return Part(QUESTION_TRENDS, finding, table, _TREND_NOTES)


_TREND_NOTES = (
    WATCHED + " So a machine that was bought in the meantime seems to get worse.",
    "A shape above 1 says that visits come ever faster, one below 1 that they become rarer (power law, MIL-HDBK-189, "
    "appendix C). The shapes are drawn towards those of like machines; the plain one stands beside. Where the work as "
    "a whole grows, or tickets were not written as carefully in the first years, all shapes are above 1.",
    "Laplace's U above 2 or below -2 says the same by another test; the two look at different parts of the record and "
    "may disagree.",
)


def _trend_row(key: tuple[str, str, str], visits: pd.DataFrame) -> dict[str, object]:
    times, end = np.sort(visits["day"].to_numpy()), float(visits["until"].iloc[0])
    law, (u, chance) = fit_power_law(times, end), laplace_trend(times, end)
    return {
        **dict(zip((SHOP, MACHINE, "family"), key, strict=True)),
        "plain shape": round(law.shape_unbiased, 2),
        "Laplace's U": round(u, 1),
        "p of Laplace's test": round(chance, 3),
        "visits a year now": round(law.intensity(end) * YEAR_DAYS, 2),
        "days between visits now": round(law.mtbf_at_end),
        "tickets": len(times),
        "log_times": max(log_times(times, end), 1e-3),
    }


def _family(code: str, vocabulary: Vocabulary) -> str:
    return vocabulary.families[code].name if code in vocabulary.families else code or "not given"
