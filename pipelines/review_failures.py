"""How often each component fails in a machine-year, those never seen failing included."""

import numpy as np
import pandas as pd

from analytics.errors import InputError
from analytics.failure_rates import GammaRate, mtbf_interval, prior_from_50_95, rate_bound_without_failure
from analytics.vocabulary import Vocabulary
from pipelines.review_parts import Part
from pipelines.review_repeaters import YEAR_DAYS
from pipelines.settings import Settings
from pipelines.store import reading, run_query
from pipelines.wording import counted

QUESTION = "How often does a component fail?"
COMPONENT, RATE, FAILURES = "component", "failures in 100 machine-years", "failures seen"
LEVEL = 0.9
NOTES = (
    "Counted on named machines, each watched from its workshop's first ticket on; a component that only some kinds of "
    "machine have fails more often there.",
    "The estimate joins the count with a prior taken from all components: half of them go longer than the middle one "
    "between failures, and 19 in 20 longer than a few (the 50/95 method of the NIST/SEMATECH e-Handbook, 8.2.5). In "
    "nine cases of ten the true figure lies between 'from' and 'to'.",
    "Without the prior: the interval of the count alone (8.4.5.1); never seen failing, the figure it stays below in "
    "nine cases of ten (-ln 0.1 / time).",
)


def review_failures(settings: Settings, vocabulary: Vocabulary) -> Part:
    """Failures in 100 machine-years by component, most first."""
    with reading(settings.store_path) as con:
        seen = run_query(con, "suspects_confirmed")
        years = float(run_query(con, "machine_years")["days"].iloc[0]) / YEAR_DAYS
    if not years > 0.0:
        return Part(QUESTION, "All tickets of named machines are of one day: no time to count failures in.", seen[:0])
    failures = dict.fromkeys(vocabulary.components, 0)
    for suspect, count in seen.itertuples(index=False):
        component = vocabulary.suspects[suspect].component if suspect in vocabulary.suspects else ""
        if component:
            failures[component] += count
    prior = prior_of(np.array(list(failures.values()), dtype=float), years)
    rows = [_row(vocabulary.components[code].name, count, years, prior) for code, count in failures.items()]
    table = pd.DataFrame(rows).sort_values(RATE, ascending=False, kind="stable", ignore_index=True)
    first, unseen = table.iloc[0], int((table[FAILURES] == 0).sum())
    finding = (
        f"Most often '{first[COMPONENT]}': {first[RATE]:.2g} times in 100 machine-years (between {first['from']:.2g} "
        f"and {first['to']:.2g}). {counted(unseen, 'component').capitalize()} never failed in "
        f"{years:,.0f} machine-years; each then fails fewer than "
        f"{100 * rate_bound_without_failure(years, LEVEL):.2g} times in 100 machine-years."
    )
    return Part(QUESTION, finding, table, NOTES)


def prior_of(failures: np.ndarray, years: float) -> GammaRate:
    """Prior of a component's rate from the middle one and the one of twenty that fails soonest.

    The times between failures are those of the counts with half a failure added, so that none is endless.
    """
    times = years / (failures + 0.5)
    try:
        return prior_from_50_95(float(np.median(times)), float(np.quantile(times, 0.05)))
    except InputError:
        # all alike: one component's worth of the mean
        return GammaRate(1.0, float(np.median(times)))


def _row(name: str, failures: int, years: float, prior: GammaRate) -> dict[str, object]:
    belief = prior.after(failures, years)
    low, high = mtbf_interval(years, failures, LEVEL)
    most = rate_bound_without_failure(years, LEVEL) if not failures else 1.0 / low
    return {
        COMPONENT: name,
        RATE: round(100 * belief.mean, 3),
        "from": round(100 * belief.rate_below(0.05), 3),
        "to": round(100 * belief.rate_below(0.95), 3),
        "from, count alone": round(100 / high, 3),
        "to, count alone": round(100 * most, 3),
        "years between failures, at least": round(belief.mtbf_above(0.95), 1),
        FAILURES: failures,
        "machine-years": round(years),
    }
