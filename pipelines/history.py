"""What the store knows of the past: evidence for the model, and tickets for people."""

from dataclasses import dataclass
from datetime import date
from pathlib import Path

import pandas as pd

from analytics.case import Case
from analytics.evidence import Evidence, empty_evidence, make_evidence
from analytics.vocabulary import Vocabulary
from pipelines.store import reading, registered, run_query

# Age that no machine reaches: the last band of the vocabulary is open upwards.
NO_LIMIT_YEARS = 10_000


@dataclass(frozen=True)
class TicketCounts:
    """How many stored tickets share the symptom, the family, both, and how many there are at all."""

    same_both: int
    same_symptom: int
    same_family: int
    all_tickets: int


def read_evidence(
    store_path: Path,
    vocabulary: Vocabulary,
    *,
    until: date | None = None,
    after: int | None = None,
    up_to: int | None = None,
) -> Evidence:
    """Evidence of the stored tickets, counted by one GROUP BY each.

    Parameters
    ----------
    until : only tickets opened before this date; None for all
    after, up_to : only tickets stored after the one with this `ticket_order`, and up to the other, itself included

    Returns
    -------
    Evidence: columns as stated there. A ticket with n confirmed suspects weighs 1/n for each. A ticket that ended in
    no_fault_found without a suspect is in no cell, and `ticket_count` counts the tickets behind the cells.
    """
    chosen = {"until": until, "after": after, "up_to": up_to}
    with reading(store_path) as con:
        with registered(con, age_bands=age_band_frame(vocabulary)):
            cells = run_query(con, "count_cells", **chosen)
        counts = {
            name: run_query(con, query, **chosen)
            for name, query in (
                ("check_counts", "count_checks"),
                ("check_minutes", "count_minutes"),
                ("companions", "count_companions"),
            )
        }
    if cells.empty:
        return empty_evidence()
    ticket_count = int(cells["ticket_count"].iloc[0])
    return make_evidence(cells.drop(columns="ticket_count"), **counts, ticket_count=ticket_count)


def read_complaints(store_path: Path, vocabulary: Vocabulary, *, until: date | None = None) -> pd.DataFrame:
    """What owners said and what it was; columns as in `sql/complaint_texts.sql`.

    Parameters
    ----------
    until : only tickets opened before this date; None for all
    """
    with reading(store_path) as con, registered(con, age_bands=age_band_frame(vocabulary)):
        return run_query(con, "complaint_texts", until=until)


def read_closed_cases(
    store_path: Path, vocabulary: Vocabulary, *, since: date | None = None, until: date | None = None
) -> pd.DataFrame:
    """Tickets with a confirmed suspect as they unfolded; columns as in `sql/closed_cases.sql`.

    Parameters
    ----------
    since, until : only tickets opened on or after, and before these dates; None for no bound
    """
    with reading(store_path) as con, registered(con, age_bands=age_band_frame(vocabulary)):
        return run_query(con, "closed_cases", since=since, until=until)


def read_like_tickets(store_path: Path, case: Case, suspect: str, *, limit: int = 5) -> pd.DataFrame:
    """A few tickets behind one suspect of a case; columns as in `sql/like_ticket_rows.sql`."""
    with reading(store_path) as con:
        return run_query(
            con, "like_ticket_rows", symptom=case.symptom, suspect=suspect, family=case.family, row_limit=limit
        )


def count_like_tickets(store_path: Path, *, symptom: str, family: str) -> TicketCounts:
    """Tickets that stand behind an answer about this symptom and family (codes)."""
    with reading(store_path) as con:
        row = run_query(con, "like_tickets", symptom=symptom, family=family).iloc[0]
    return TicketCounts(*(int(row[name]) for name in ("same_both", "same_symptom", "same_family", "all_tickets")))


def count_checks_made(store_path: Path, symptom: str) -> dict[str, int]:
    """Check -> how often it was made, on tickets of one symptom ("" for all)."""
    with reading(store_path) as con:
        rows = run_query(con, "checks_made", symptom=symptom or None)
    return dict(zip(rows["check"].tolist(), rows["count"].tolist(), strict=True))


def count_settled(store_path: Path, symptom: str) -> dict[str, int]:
    """Check -> fixed tickets of a symptom that it settled."""
    with reading(store_path) as con:
        rows = run_query(con, "settled_checks", symptom=symptom)
    return dict(zip(rows["check"].tolist(), rows["tickets"].tolist(), strict=True))


def read_tickets(store_path: Path, *, text: str = "", limit: int = 200) -> pd.DataFrame:
    """Tickets in which `text` occurs (any case), newest first; columns as in `sql/tickets_found.sql`."""
    with reading(store_path) as con:
        return run_query(con, "tickets_found", text=text.lower(), row_limit=limit)


def read_quarantine(store_path: Path) -> pd.DataFrame:
    """Rows that wait for a correction; columns as in `sql/quarantine.sql`."""
    with reading(store_path) as con:
        return run_query(con, "quarantine")


def age_band_frame(vocabulary: Vocabulary) -> pd.DataFrame:
    """Columns age_band, from_age, to_age, as the counting queries read them."""
    bands = vocabulary.age_bands
    return pd.DataFrame(
        {
            "age_band": [band.code for band in bands],
            "from_age": [band.from_age for band in bands],
            "to_age": [*(band.to_age for band in bands[:-1]), NO_LIMIT_YEARS],
        }
    )
