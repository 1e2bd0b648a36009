"""Tickets looked up by people: found by words and facts, one by its id, and as a file to take along."""

from dataclasses import dataclass
from datetime import date
from pathlib import Path

import pandas as pd

from pipelines.column_maps import FIELDS
from pipelines.exports import EVERY_TICKET
from pipelines.spreadsheet_cells import defuse_frame
from pipelines.store import reading, run_query

# More than anybody reads on a page, few enough to be there at once.
SHOWN_TICKETS = 200
SHOWN_QUARANTINE = 200


@dataclass(frozen=True)
class Wanted:
    """What to look for; "" and None for anything. `symptom` and `suspect` are codes, both dates are included."""

    text: str = ""
    shop: str = ""
    symptom: str = ""
    suspect: str = ""
    since: date | None = None
    until: date | None = None


@dataclass(frozen=True)
class Page:
    """The first rows of a list, and how many there are altogether."""

    rows: pd.DataFrame
    total: int


def search_tickets(store_path: Path, wanted: Wanted) -> Page:
    """The newest tickets in whose number, machine or complaint all words of the text occur, in any case.

    Returns
    -------
    Page: frame with a column for each of `FIELDS` as a row of the ticket template would have it, in codes (`checks`
    is left blank); total.
    """
    return _page(_find(store_path, wanted, row_limit=SHOWN_TICKETS, with_checks=False))


def tickets_as_csv(store_path: Path, wanted: Wanted) -> bytes:
    """All tickets found as CSV in UTF-8 with the headers of the ticket template: reading it again adds nothing.

    A cell that a spreadsheet would run as a formula gets an apostrophe before it.
    """
    rows = _find(store_path, wanted, row_limit=EVERY_TICKET, with_checks=True)
    dates = {name: rows[name].dt.strftime("%Y-%m-%d") for name in ("opened_on", "closed_on")}
    texts = rows.assign(**dates)[list(FIELDS)].astype("object")
    return bytes(defuse_frame(texts).to_csv(index=False, lineterminator="\n"), "utf-8")


def read_shops(store_path: Path) -> tuple[str, ...]:
    """Workshops that have tickets."""
    with reading(store_path) as con:
        return tuple(run_query(con, "shops_so_far")["shop"])


def find_ticket(store_path: Path, ticket_id: str) -> pd.DataFrame:
    """No row or one; columns as in `sql/find_ticket.sql`."""
    with reading(store_path) as con:
        return run_query(con, "find_ticket", ticket_id=ticket_id)


def read_waiting_rows(store_path: Path) -> Page:
    """The first rows that wait for a correction; columns as in `sql/quarantine_waiting.sql`."""
    with reading(store_path) as con:
        return _page(run_query(con, "quarantine_waiting", row_limit=SHOWN_QUARANTINE))


def count_waiting_rows(store_path: Path) -> int:
    """How many rows wait for a correction."""
    with reading(store_path) as con:
        return int(run_query(con, "count_waiting")["waiting"].iloc[0])


def _find(store_path: Path, wanted: Wanted, *, row_limit: int, with_checks: bool) -> pd.DataFrame:
    facts = {name: value for name, value in vars(wanted).items() if name != "text"}
    # Longest word first: it is likely the rarest.
    word, *more_words = sorted(wanted.text.lower().split(), key=len, reverse=True) or [""]
    asked = {**facts, "word": word, "more_words": more_words, "row_limit": row_limit, "with_checks": with_checks}
    with reading(store_path) as con:
        return run_query(con, "ticket_search", **asked)


def _page(found: pd.DataFrame) -> Page:
    total = int(found["total"].iloc[0]) if len(found) else 0
    return Page(found.drop(columns="total"), total)
