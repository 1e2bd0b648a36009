"""Ticket rows -> tables of the store, inside a transaction of the caller."""

from dataclasses import dataclass, replace

import pandas as pd

from pipelines.store import Connection, registered, run_query
from pipelines.ticket_rows import TicketRows


@dataclass(frozen=True)
class SortedRows:
    """Rows sorted by what becomes of them: new tickets, duplicates (line, duplicate_of), conflicts."""

    rows: TicketRows
    duplicates: pd.DataFrame


def sort_rows(con: Connection, rows: TicketRows) -> SortedRows:
    """Set duplicates and conflicts apart, within the rows first and then against the store."""
    apart = _sort_within(rows)
    with registered(con, **_frames(apart.rows)):
        known = run_query(con, "known_tickets").set_index("ticket_id")["is_same"]
    tickets = apart.rows.tickets
    is_known = tickets["ticket_id"].isin(known.index)
    is_same = is_known & tickets["ticket_id"].map(known.to_dict()).eq(other=True)
    return _set_apart(apart, same=is_same, different=is_known & ~is_same)


def insert_tickets(con: Connection, rows: TicketRows, *, source: str, file_hash: str | None) -> None:
    """Store tickets that the store does not have yet; `source` is 'file' or 'bench'."""
    with registered(con, **_frames(rows)):
        run_query(con, "insert_tickets", source=source, file_hash=file_hash)
        for name in ("insert_ticket_symptoms", "insert_ticket_suspects", "insert_ticket_checks"):
            run_query(con, name)


def _sort_within(rows: TicketRows) -> SortedRows:
    """Rows with a number that stood in an earlier row: the same again is a duplicate, anything else a conflict."""
    tickets = rows.tickets
    again = tickets["ticket_id"].duplicated()
    nobody = pd.Series(data=False, index=tickets.index)
    apart = SortedRows(rows, pd.DataFrame({"line": tickets["line"][:0], "duplicate_of": tickets["ticket_id"][:0]}))
    if not again.any():
        return apart
    words = _words_by_row(rows, tickets["ticket_id"][again])
    first = words[~again & words.ne("")].groupby(tickets["ticket_id"]).first()
    same = nobody | (again & words.eq(tickets["ticket_id"].map(first)))
    return _set_apart(apart, same=same, different=again & ~same)


def _words_by_row(rows: TicketRows, repeated: pd.Series) -> pd.Series:
    """All that a row says, as one text, for rows whose ticket id is among `repeated`; "" for the others."""
    tickets = rows.tickets[rows.tickets["ticket_id"].isin(repeated)]
    texts = _row_texts(tickets)
    for part in (rows.symptoms, rows.suspects, rows.checks):
        chosen = part[part["line"].isin(tickets["line"])]
        by_line = {line: repr(sorted(says)) for line, says in _row_texts(chosen).groupby(chosen["line"])}
        texts = texts + tickets["line"].map(by_line).astype("object").fillna("")
    return texts.reindex(rows.tickets.index, fill_value="")


def _row_texts(frame: pd.DataFrame) -> pd.Series:
    cells = frame.drop(columns=["line", "ticket_id"]).astype("object")
    return pd.Series([repr(row) for row in cells.itertuples(index=False, name=None)], index=frame.index, dtype="object")


def _set_apart(apart: SortedRows, *, same: pd.Series, different: pd.Series) -> SortedRows:
    tickets = apart.rows.tickets
    duplicates = tickets[same].rename(columns={"ticket_id": "duplicate_of"})[["line", "duplicate_of"]]
    conflicts = pd.DataFrame(
        {
            "line": tickets["line"][different],
            "reason_code": "conflict",
            "reason": "The ticket '" + tickets["ticket_number"][different] + "' of '" + tickets["shop"][different]
            + "' is already known and says something else. Nothing was overwritten: correct this row, or give it"
            " another number.",
        }
    )
    kept = tickets["line"][~(same | different)]
    rows = replace(
        apart.rows,
        tickets=tickets[tickets["line"].isin(kept)],
        symptoms=apart.rows.symptoms[apart.rows.symptoms["line"].isin(kept)],
        suspects=apart.rows.suspects[apart.rows.suspects["line"].isin(kept)],
        checks=apart.rows.checks[apart.rows.checks["line"].isin(kept)],
        problems=pd.concat([apart.rows.problems, conflicts], ignore_index=True) if len(conflicts) else apart.rows.problems,
    )
    return SortedRows(rows, pd.concat([apart.duplicates, duplicates], ignore_index=True))


def _frames(rows: TicketRows) -> dict[str, pd.DataFrame]:
    return {
        "new_tickets": rows.tickets,
        "new_symptoms": rows.symptoms,
        "new_suspects": rows.suspects,
        "new_checks": rows.checks,
    }
