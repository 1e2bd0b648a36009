"""What comes in: the load of the next three months, season and trend, kinds of machine and symptoms."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date

import numpy as np
import pandas as pd

from analytics.arrival_shares import share_out
from analytics.arrivals import ArrivalFit, Load, Months, expect_load, fit_arrivals
from analytics.errors import InputError
from analytics.vocabulary import Term, Vocabulary
from pipelines.catalogue import read_vocabulary
from pipelines.month_names import MONTHS, NAMES, calendar_months, first_day, month_name, one_month, span
from pipelines.review_machines import review_machines
from pipelines.review_parts import Part
from pipelines.settings import Settings
from pipelines.store import reading, run_query
from pipelines.wording import counted

QUESTION_LOAD = "How many tickets will the next three months bring?"
QUESTION_SEASON = "Which months are busy?"
QUESTION_TREND = "Does the work grow from year to year?"
QUESTION_FAMILIES = "Which machines will come in?"
QUESTION_KINDS = "What will be wrong with them?"
AHEAD = 3
# A shop is quiet now and then; after a longer silence the tickets have rather not been read in yet.
QUIET_MONTHS = 2
LEAST_MONTHS = 6
# Shares are taken from the newest months: what a shop keeps changes.
SHARE_MONTHS = 36
NOT_GIVEN = "family not given"
MONTH, TICKETS, EXPECTED, LOW, HIGH = "month", "tickets", "expected", "from", "to"
FACTOR = "times a usual month"
INTERVAL = "In nine cases of ten the number will lie between 'from' and 'to'."


@dataclass(frozen=True, eq=False)
class History:
    """Complete months in a row and what came in: `tickets` (month,); `cells` frame: at, family, symptom, tickets; `gap`
    months without any ticket that are not counted.
    """

    months: Months
    tickets: np.ndarray
    cells: pd.DataFrame
    gap: int

    @property
    def ahead(self) -> Months:
        """The months to come."""
        return calendar_months(np.arange(self.months.number[-1] + 1, self.months.number[-1] + 1 + AHEAD))


def review_arrivals(settings: Settings, *, today: date) -> tuple[Part, ...]:
    """The figures about arrivals; InputError for a vocabulary or a table of machines that cannot be used."""
    vocabulary = read_vocabulary(settings.vocabulary_folder)
    with reading(settings.store_path) as con:
        cells = run_query(con, "review_months")
    history = read_history(cells, today)
    if len(history.tickets) < LEAST_MONTHS:
        so_far = counted(len(history.tickets), "complete month")
        finding = f"There are {so_far} of tickets; from {LEAST_MONTHS} on something can be said."
        return (Part(QUESTION_LOAD, finding, pd.DataFrame()),)
    fit = fit_arrivals(history.tickets, history.months)
    return (
        load_part(fit, history),
        families_part(fit, history, vocabulary),
        kinds_part(fit, history, vocabulary),
        season_part(fit),
        trend_part(fit, history),
        review_machines(settings, vocabulary, until=first_day(int(history.months.number[-1]) + 1)),
    )


def read_history(cells: pd.DataFrame, today: date) -> History:
    """Months from the first ticket to the last complete month; InputError when no month is complete.

    Parameters
    ----------
    cells : frame with the columns of `sql/review_months.sql`
    """
    at = cells["month"].dt.year.to_numpy() * MONTHS + cells["month"].dt.month.to_numpy() - 1
    complete = today.year * MONTHS + today.month - 2
    inside = at <= complete
    if not inside.any():
        raise InputError("No month with tickets is complete yet. Look again next month.")
    last = int(at[inside].max())
    gap = complete - last
    if gap <= QUIET_MONTHS:
        last, gap = complete, 0
    numbers = np.arange(at.min(), last + 1)
    months = calendar_months(numbers)
    first = pd.Timestamp(cells["first_day"].min())
    days = months.days.copy()
    days[0] -= first.day - 1
    kept = cells[inside].assign(at=at[inside])
    tickets = np.bincount(kept["at"] - numbers[0], kept["tickets"], len(numbers))
    return History(Months(numbers, days), tickets, kept[["at", "family", "symptom", "tickets"]], gap)


def load_part(fit: ArrivalFit, history: History) -> Part:
    """The next three months together and one by one, then the months so far, newest first."""
    ahead = history.ahead
    together = expect_load(fit, ahead)
    rows = [(span(ahead), None, together)]
    rows += [(month_name(int(at)), None, expect_load(fit, one_month(ahead, k))) for k, at in enumerate(ahead.number)]
    for k in range(len(history.tickets) - 1, -1, -1):
        month = one_month(history.months, k)
        rows.append((month_name(int(month.number[0])), history.tickets[k], expect_load(fit, month)))
    table = pd.DataFrame(
        [(name, seen, round(load.expected, 1), load.low, load.high) for name, seen, load in rows],
        columns=[MONTH, TICKETS, EXPECTED, LOW, HIGH],
    ).astype({TICKETS: "Int64"})[[MONTH, EXPECTED, LOW, HIGH, TICKETS]]
    finding = f"{span(ahead)}: {say_load(together)}.{_year_before(history)}"
    notes = [
        f"{INTERVAL} The trend is carried on as it was; a new customer or a closed pier is not foreseen.",
        "Season and scatter are learnt from the shop's own months; those with few tickets are drawn towards none.",
    ]
    if history.gap:
        silent = counted(history.gap, "month")
        notes.append(f"The last {silent} before today have no ticket at all: read in what is missing.")
    return Part(QUESTION_LOAD, finding, table, tuple(notes))


def families_part(fit: ArrivalFit, history: History, vocabulary: Vocabulary) -> Part:
    """Families: tickets expected in the next three months, the most first."""
    recent = _recent(history).groupby("family")["tickets"].sum()
    total = float(recent.sum())
    rows = []
    for code, seen in recent.items():
        share = (seen + 0.5) / (total + 0.5 * len(recent))
        load = expect_load(fit, history.ahead, share=(share, share * (1.0 - share) / (total + 1.0)))
        rows.append((_name(vocabulary.families, str(code)), round(load.expected, 1), load.low, load.high, int(seen)))
    table = pd.DataFrame(rows, columns=["family", EXPECTED, LOW, HIGH, _so_far(history)])
    table = table.sort_values(EXPECTED, ascending=False, kind="stable", ignore_index=True)
    first = table.iloc[0]
    finding = (
        f"{first['family']} leads: about {first[EXPECTED]:.0f} tickets in {span(history.ahead)} (between {first[LOW]} "
        f"and {first[HIGH]})."
    )
    return Part(QUESTION_FAMILIES, finding, table, (INTERVAL,))


def kinds_part(fit: ArrivalFit, history: History, vocabulary: Vocabulary) -> Part:
    """Family and symptom: tickets expected in the next three months, the most first."""
    recent = _recent(history)
    counts = recent.pivot_table(index="family", columns="symptom", values="tickets", aggfunc="sum", fill_value=0)
    shares = share_out(counts.to_numpy())
    rows = []
    for k, s in zip(*np.nonzero(counts.to_numpy()), strict=True):
        load = expect_load(fit, history.ahead, share=(float(shares.mean[k, s]), float(shares.variance[k, s])))
        words = (_name(vocabulary.families, counts.index[k]), _name(vocabulary.symptoms, counts.columns[s]))
        rows.append((*words, round(load.expected, 1), load.low, load.high, int(counts.iloc[k, s])))
    table = pd.DataFrame(rows, columns=["family", "symptom", EXPECTED, LOW, HIGH, _so_far(history)])
    table = table.sort_values(EXPECTED, ascending=False, kind="stable", ignore_index=True)
    first = table.iloc[0]
    finding = (
        f"'{first['symptom']}' ({first['family']}) leads: about {first[EXPECTED]:.0f} tickets in {span(history.ahead)} "
        f"(between {first[LOW]} and {first[HIGH]})."
    )
    worth = (
        "A family with few tickets is drawn towards the symptoms of all; their pattern counts as "
        f"{counted(round(shares.worth), 'ticket')}."
    )
    return Part(QUESTION_KINDS, finding, table, (INTERVAL, worth))


def season_part(fit: ArrivalFit) -> Part:
    """Factors of the months."""
    factor, low, high = fit.season()
    table = pd.DataFrame({MONTH: NAMES, FACTOR: factor.round(2), LOW: low.round(2), HIGH: high.round(2)})
    table = table.sort_values(FACTOR, ascending=False, kind="stable", ignore_index=True)
    most, least = int(factor.argmax()), int(factor.argmin())
    if low[most] <= 1.0 <= high[most] and low[least] <= 1.0 <= high[least]:
        finding = "No month stands out: the tickets do not show a season."
    else:
        finding = (
            f"{NAMES[most]} is the busiest, {factor[most]:.1f} times a usual month (between {low[most]:.1f} and "
            f"{high[most]:.1f}); {NAMES[least]} the quietest, {factor[least]:.1f} times (between {low[least]:.1f} and "
            f"{high[least]:.1f})."
        )
    return Part(QUESTION_SEASON, finding, table, ("Counted as months of equal length.",))


def trend_part(fit: ArrivalFit, history: History) -> Part:
    """Growth per year, with the plain counts by year."""
    middle, low, high = (100.0 * value for value in fit.trend())
    whole = pd.Series(history.tickets).groupby(history.months.number // MONTHS).agg(["size", "sum"])
    table = pd.DataFrame({"year": whole.index.astype(str), "months": whole["size"], TICKETS: whole["sum"].astype(int)})[
        ::-1
    ]
    if low <= 0.0 <= high:
        finding = f"No trend can be told from chance: between {low:+.0f} and {high:+.0f} per cent a year."
    else:
        word = "more" if middle > 0 else "fewer"
        ends = sorted((abs(low), abs(high)))
        finding = (
            f"About {abs(middle):.0f} per cent {word} tickets each year (between {ends[0]:.0f} and {ends[1]:.0f})."
        )
    return Part(QUESTION_TREND, finding, table.reset_index(drop=True), ("One steady trend over all years.",))


def say_load(load: Load) -> str:
    """ "about 84 tickets (between 66 and 103)"."""
    return f"about {load.expected:,.0f} tickets (between {load.low:,} and {load.high:,})"


def _recent(history: History) -> pd.DataFrame:
    return history.cells[history.cells["at"] > history.months.number[-1] - SHARE_MONTHS]


def _so_far(history: History) -> str:
    return f"in the last {min(SHARE_MONTHS, len(history.tickets))} months"


def _year_before(history: History) -> str:
    same = np.isin(history.months.number, history.ahead.number - MONTHS)
    if same.sum() < AHEAD:
        return ""
    return f" The same months a year before brought {int(history.tickets[same].sum()):,}."


def _name(terms: Mapping[str, Term], code: str) -> str:
    if not code:
        return NOT_GIVEN
    return terms[code].name if code in terms else code
