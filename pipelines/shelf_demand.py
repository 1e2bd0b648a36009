"""How often parts are used: counted in the store, beside what arrivals and belief lead to expect."""

from dataclasses import dataclass
from datetime import date
from typing import Any

import numpy as np
import pandas as pd

from analytics.errors import InputError
from analytics.part_needs import expected_uses, part_of_suspects, parts_of
from analytics.posterior import Posterior
from analytics.spares import PartPrior, fit_part_prior, predict_uses, rate_interval
from analytics.vocabulary import Vocabulary
from pipelines.settings import Settings
from pipelines.store import reading, registered, run_query

# Older tickets tell of machines and parts that are no longer there. Common practice, no source.
MOST_YEARS = 5
DAYS_A_YEAR = 365.25
FEWEST_DAYS = 30


@dataclass(frozen=True)
class Span:
    """The tickets that are counted: opened from `since` on and before `until`."""

    since: date
    until: date
    tickets: int

    @property
    def years(self) -> float:
        """Length in years."""
        return (self.until - self.since).days / DAYS_A_YEAR


@dataclass(frozen=True, eq=False)
class PartCounts:
    """What the store counts, by kind of machine ("" when not known).

    Parameters
    ----------
    span : what was counted
    arrivals : symptom, family, tickets
    uses : family, part, used, tried (tickets)
    """

    span: Span
    arrivals: pd.DataFrame
    uses: pd.DataFrame


@dataclass(frozen=True, eq=False)
class PartDemand:
    """Uses of every part of the vocabulary.

    Parameters
    ----------
    span : what was counted
    table : part, used (tickets), tried (tickets on which it was fitted in vain), expected (uses a year by arrivals x
        belief x remedy)
    arrivals : symptom, family, tickets over the span
    prior : what the parts have in common
    """

    span: Span
    table: pd.DataFrame
    arrivals: pd.DataFrame
    prior: PartPrior

    def over_days(self, days: np.ndarray | float) -> Any:
        """Uses over so many days to come: frozen distribution, (part,)."""
        used, expected = self.table["used"].to_numpy(), self.table["expected"].to_numpy()
        horizon = np.asarray(days, dtype=float) / DAYS_A_YEAR
        return predict_uses(used, expected, years=self.span.years, horizon_years=horizon, prior=self.prior)

    def yearly(self) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """Uses a year: mean and 90 % interval of the rate, each (part,)."""
        used, expected = self.table["used"].to_numpy(), self.table["expected"].to_numpy()
        low, high = rate_interval(used, expected, years=self.span.years, prior=self.prior)
        return np.asarray(self.over_days(DAYS_A_YEAR).mean()), low, high


def count_parts(settings: Settings, vocabulary: Vocabulary, *, today: date, shop: str = "") -> PartCounts:
    """Arrivals and uses of parts in the recent years of the store, of one workshop where it is given.

    Raises
    ------
    InputError
        When no check of the vocabulary fits a part, or fewer than `FEWEST_DAYS` days of tickets are there.
    """
    if not parts_of(vocabulary):
        raise InputError("No check of the list fits a part. Fill in `part` in checks.csv, e.g. 'drive belt'.")
    with reading(settings.store_path) as con, registered(con, **part_frames(vocabulary)):
        span = _span(run_query(con, "shelf_span", shop=shop, today=today, most_years=MOST_YEARS))
        wanted = {"shop": shop, "since": span.since, "until": span.until}
        return PartCounts(span, run_query(con, "shelf_arrivals", **wanted), run_query(con, "part_uses", **wanted))


def foretell_parts(
    counts: PartCounts, vocabulary: Vocabulary, before: Posterior, *, family: str | None = None
) -> PartDemand:
    """Uses of every part to come.

    Parameters
    ----------
    before : what was believed before any ticket (`load_prior`): a fit has read the same tickets, and each would count
        twice
    family : only machines of this kind; None = all
    """
    arrivals, uses = counts.arrivals, counts.uses
    if family is not None:
        arrivals, uses = arrivals[arrivals["family"] == family], uses[uses["family"] == family]
    parts, years = parts_of(vocabulary), counts.span.years
    expected = expected_uses(before, arrivals, vocabulary, years=years)
    counted = uses.groupby("part")[["used", "tried"]].sum().reindex(parts).fillna(0.0)
    table = pd.DataFrame(
        {
            "part": list(parts),
            "used": counted["used"].to_numpy(dtype=int),
            "tried": counted["tried"].to_numpy(dtype=int),
            "expected": [expected[part] for part in parts],
        }
    )
    prior = fit_part_prior(table["used"].to_numpy(), table["expected"].to_numpy(), years=years)
    return PartDemand(counts.span, table, arrivals, prior)


def read_part_demand(
    settings: Settings, vocabulary: Vocabulary, before: Posterior, *, today: date, shop: str = ""
) -> PartDemand:
    """`foretell_parts` of `count_parts`; InputError as there."""
    return foretell_parts(count_parts(settings, vocabulary, today=today, shop=shop), vocabulary, before)


def part_frames(vocabulary: Vocabulary) -> dict[str, pd.DataFrame]:
    """The tables that `sql/part_uses.sql` reads."""
    checks = [(check.code, check.part) for check in vocabulary.checks.values() if check.part and check.is_remedy]
    return {
        "part_checks": pd.DataFrame(checks, columns=["check_code", "part"]),
        "part_suspects": pd.DataFrame(part_of_suspects(vocabulary).items(), columns=["suspect", "part"]),
    }


def _span(rows: pd.DataFrame) -> Span:
    if rows.empty:
        raise InputError("There are no tickets to plan a shelf from. Read some in first: `faultodds ingest FILE`.")
    row = rows.iloc[0]
    span = Span(pd.Timestamp(row["since"]).date(), pd.Timestamp(row["until"]).date(), int(row["tickets"]))
    days = (span.until - span.since).days
    if days < FEWEST_DAYS:
        raise InputError(
            f"The tickets cover only {days} days. Give at least {FEWEST_DAYS} days of tickets, better some years."
        )
    return span
