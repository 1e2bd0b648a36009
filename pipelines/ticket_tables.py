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
    """Set apart what the store knows already, then what an earlier one of the rows said; different words conflict."""
    with registered(con, **_frames(rows)):
        known = run_query(con, "known_tickets").set_index("line")["is_same"]
    is_known = rows.tickets["line"].isin(known.index)
    is_same = is_known & rows.tickets["line"].map(known.to_dict()).eq(other=True)
    apart = SortedRows(rows, pd.DataFrame({"line": pd.array([], "int64"), "duplicate_of": pd.array([], "str")}))
    return _sort_within(_set_apart(apart, same=is_same, different=is_known & ~is_same))


def insert_tickets(con: Connection, rows: TicketRows, *, source: str, file_hash: str | None) -> None:
    """Store tickets that the store does not have yet; `source` is 'file' or 'bench'."""
    with registered(con, **_frames(rows)):
        run_query(con, "insert_tickets", source=source, file_hash=file_hash)
        for name in ("insert_ticket_symptoms", "insert_ticket_suspects", "insert_ticket_checks"):
            run_query(con, name)


def _sort_within(apart: SortedRows) -> SortedRows:
    """Rows with the number of an earlier row: the same again is a duplicate, anything else a conflict."""
    tickets = apart.rows.tickets
    again = tickets["ticket_id"].duplicated()
    if not again.any():
        return apart
    words = _words_by_row(apart.rows, tickets["ticket_id"][again])
    first = words[~again].groupby(tickets["ticket_id"][~again]).first()
    same = again & words.eq(tickets["ticket_id"].map(first))
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
            "reason": "The ticket '"
            + tickets["ticket_number"][different]
            + "' of '"
            + tickets["shop"][different]
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
        problems=pd.concat([apart.rows.problems, conflicts], ignore_index=True)
        if len(conflicts)
        else apart.rows.problems,
    )
    return SortedRows(rows, pd.concat([apart.duplicates, duplicates], ignore_index=True))


def _frames(rows: TicketRows) -> dict[str, pd.DataFrame]:
    return {
        "new_tickets": rows.tickets,
        "new_symptoms": rows.symptoms,
        "new_suspects": rows.suspects,
        "new_checks": rows.checks,
    }
