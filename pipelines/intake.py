"""Files, corrected rows and bench tickets -> tickets, quarantine and duplicates, one transaction each."""

import json
from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import date
from pathlib import Path

import pandas as pd

from analytics.errors import InputError
from analytics.vocabulary import Vocabulary
from pipelines.bench_tickets import TicketRow, field_texts
from pipelines.cell_values import DateReading, find_date_reading
from pipelines.column_maps import FIELDS, ColumnMap, find_columns, match_columns, take_fields, translate_cells
from pipelines.readers import RawTable, read_raw
from pipelines.store import Connection, reading, registered, run_query, utc_now, writing
from pipelines.ticket_rows import TicketRows, dates_in, read_ticket_rows
from pipelines.ticket_tables import SortedRows, insert_tickets, sort_rows

NO_MATCHES = pd.DataFrame({"field": [], "written": [], "code": [], "score": [], "row_count": []})
NO_REASONS = pd.DataFrame({"reason_code": [], "row_count": [], "example": []})


@dataclass(frozen=True)
class IngestReport:
    """What became of one file: rows in = stored + quarantined + duplicates.

    Parameters
    ----------
    matches : frame: field, written, code, score, row_count - what spellings were taken for
    reasons : frame: reason_code, row_count, example (a sentence) - why rows are in quarantine
    notes : sentences about how the file was read
    """

    file_name: str
    rows_in: int
    stored: int
    quarantined: int
    duplicates: int
    matches: pd.DataFrame
    reasons: pd.DataFrame
    notes: tuple[str, ...]

    def sentences(self) -> tuple[str, ...]:
        """The report for a person."""
        counts = (
            f"{self.file_name}: rows in {self.rows_in:,}; stored as tickets {self.stored:,}, "
            f"in quarantine {self.quarantined:,}, already known {self.duplicates:,}."
        )
        reasons = self.reasons.itertuples(index=False)
        why = (f"In quarantine for {row.reason_code}: {row.row_count:,}, for example: {row.example}" for row in reasons)
        guessed = self.matches[self.matches["score"] < 100.0]
        taken = f"Spellings taken for words of the vocabulary by likeness: {len(guessed):,}. Please look them over."
        return (counts, *self.notes, *why, *([taken] if len(guessed) else []))


def ingest_file(
    path: Path, *, store_path: Path, vocabulary: Vocabulary, shop: str, column_map: ColumnMap, today: date
) -> IngestReport:
    """Read a CSV or XLSX file of tickets into the store; the same file again changes nothing.

    Parameters
    ----------
    shop : name of the workshop, for rows that do not name one ("" for none)
    today : no date of a ticket may be later

    Raises
    ------
    InputError
        When the file as a whole cannot be read; nothing is stored then. A single bad row goes into quarantine.
    """
    raw = read_raw(path)
    columns = find_columns(list(raw.frame.columns), column_map)
    with reading(store_path) as con:
        before = _find_earlier(con, raw)
    if before is not None:
        return before
    texts = translate_cells(_field_texts(raw.frame, columns, shop.strip()), column_map)
    odd = pd.Index(sorted(raw.odd_rows), dtype="int64")
    rows = read_ticket_rows(texts.drop(index=odd), vocabulary, today=today, reading=dates_in(texts))
    rows = add_odd_rows(rows, raw)
    raw_rows = _raw_rows(raw)
    with writing(store_path) as con:
        # Another process may have read the same file in the meantime.
        before = _find_earlier(con, raw)
        if before is not None:
            return before
        sorted_rows = sort_rows(con, rows)
        _store_file(con, raw, raw_rows, sorted_rows=sorted_rows, shop=shop.strip())
    unused = [header for header in raw.frame.columns if header not in columns.values()]
    return _report(raw, sorted_rows, unused)


def release(
    file_hash: str,
    line: int,
    corrections: Mapping[str, str],
    *,
    store_path: Path,
    vocabulary: Vocabulary,
    column_map: ColumnMap,
    today: date,
) -> str:
    """Make a ticket of a row in quarantine, its cells replaced by `corrections` (header -> text); returns its id.

    The raw row stays as it came. A row that now says just what a stored ticket says becomes a duplicate of it.

    Raises
    ------
    InputError
        When there is no such row, a header it does not have, or the corrected row is still no ticket.
    """
    fields = match_columns(list(corrections), column_map)
    unknown = [header for header in corrections if header not in fields.values()]
    if unknown:
        raise InputError(f"'{unknown[0]}' is no column of a ticket. Columns: {', '.join(FIELDS)}.")
    with writing(store_path) as con:
        found = run_query(con, "find_quarantined_row", file_hash=file_hash, line=line)
        if found.empty:
            raise InputError(f"Line {line} of this file is not in quarantine. `faultodds quarantine` lists what is.")
        cells = json.loads(found["cells"].iloc[0])
        columns = match_columns(list(cells), column_map)
        texts = _field_texts(pd.DataFrame(cells, index=[line], dtype="str"), columns, found["file_shop"].iloc[0])
        for field, header in fields.items():
            texts[field] = corrections[header]
        texts = translate_cells(texts, column_map)
        reading_of_dates = _reading_of_file(con, file_hash, columns)
        rows = read_ticket_rows(texts, vocabulary, today=today, reading=reading_of_dates)
        ticket = _store_one(con, rows, source="file", file_hash=file_hash)
        run_query(con, "release_row", file_hash=file_hash, line=line, released_at=utc_now())
    return ticket


def save_ticket(ticket: TicketRow, *, store_path: Path, vocabulary: Vocabulary, today: date) -> str:
    """Store a ticket closed at the bench and return its id; it passes the same gate as a row of a file.

    Raises
    ------
    InputError
        When something in it is not possible, or the shop has used the number for a ticket that says something else.
    """
    rows = read_bench_ticket(ticket, vocabulary, today=today)
    with writing(store_path) as con:
        return store_bench_ticket(con, rows)


def read_bench_ticket(ticket: TicketRow, vocabulary: Vocabulary, *, today: date) -> TicketRows:
    """One ticket from the bench as rows for `store_bench_ticket`; no store is opened."""
    texts = pd.DataFrame({field: pd.array([text], "str") for field, text in field_texts(ticket).items()}, index=[1])
    return read_ticket_rows(texts, vocabulary, today=today, reading=dates_in(texts))


def store_bench_ticket(con: Connection, rows: TicketRows) -> str:
    """Store the ticket inside the caller's transaction and return its id; InputError as for `save_ticket`."""
    return _store_one(con, rows, source="bench", file_hash=None)


def _field_texts(frame: pd.DataFrame, columns: Mapping[str, str], shop: str) -> pd.DataFrame:
    """The fields of a ticket; `shop` where the row names none."""
    texts = take_fields(frame, columns)
    return texts.assign(shop=texts["shop"].where(texts["shop"].str.strip() != "", shop))


def add_odd_rows(rows: TicketRows, raw: RawTable) -> TicketRows:
    """The rows, and a problem for each row of the file that is wider or narrower than its header."""
    if not raw.odd_rows:
        return rows
    width = len(raw.frame.columns)
    odd = pd.DataFrame(
        {
            "line": list(raw.odd_rows),
            "reason_code": "cell_count",
            "reason": [
                f"The row has {len(cells)} cells, the header has {width}. Put text that holds the separator between "
                'double quotes ("), and give every column its cell.'
                for cells in raw.odd_rows.values()
            ],
        }
    )
    return replace(rows, problems=pd.concat([rows.problems, odd], ignore_index=True))


def _raw_rows(raw: RawTable) -> pd.DataFrame:
    lines, cells = [], []
    for line, by_header in raw.all_cells():
        lines.append(line)
        cells.append(json.dumps(by_header, ensure_ascii=False))
    return pd.DataFrame({"line": lines, "cells": pd.array(cells, "str")})


def _store_file(con: Connection, raw: RawTable, raw_rows: pd.DataFrame, *, sorted_rows: SortedRows, shop: str) -> None:
    key = {"file_hash": raw.file_hash}
    run_query(con, "insert_raw_file", **key, name=raw.name, shop=shop, row_count=len(raw_rows), read_at=utc_now())
    insert_tickets(con, sorted_rows.rows, source="file", file_hash=raw.file_hash)
    frames = {
        "raw_rows": raw_rows,
        "quarantine": sorted_rows.rows.problems,
        "duplicates": sorted_rows.duplicates,
        "matches": sorted_rows.rows.matches,
    }
    with registered(con, **{f"new_{table}": frame for table, frame in frames.items()}):
        for table in frames:
            run_query(con, f"insert_{table}", **key)


def _store_one(con: Connection, rows: TicketRows, *, source: str, file_hash: str | None) -> str:
    """Store the one ticket in `rows` and return its id; InputError with the reason when it is none."""
    sorted_rows = sort_rows(con, rows)
    if len(sorted_rows.rows.problems):
        raise InputError(str(sorted_rows.rows.problems["reason"].iloc[0]))
    insert_tickets(con, sorted_rows.rows, source=source, file_hash=file_hash)
    if file_hash is not None:
        with registered(con, new_duplicates=sorted_rows.duplicates):
            run_query(con, "insert_duplicates", file_hash=file_hash)
    return str(rows.tickets["ticket_id"].iloc[0])


def _reading_of_file(con: Connection, file_hash: str, columns: Mapping[str, str]) -> DateReading:
    """Day or month first, as the whole file says; a corrected row must be read as its neighbours were."""
    headers = {f"{name}_header": columns.get(f"{name}_on", "") for name in ("opened", "closed")}
    return find_date_reading(run_query(con, "find_written_dates", file_hash=file_hash, **headers)["written"])


def _find_earlier(con: Connection, raw: RawTable) -> IngestReport | None:
    """The report that nothing changed, when the same bytes were read before."""
    found = run_query(con, "find_raw_file", file_hash=raw.file_hash)
    if found.empty:
        return None
    name, row_count, read_at = found.iloc[0]
    note = f"The same content was read on {read_at:%Y-%m-%d} from '{name}': nothing was changed."
    counts = {"rows_in": int(row_count), "stored": 0, "quarantined": 0, "duplicates": int(row_count)}
    return IngestReport(raw.name, **counts, matches=NO_MATCHES, reasons=NO_REASONS, notes=(note,))


def _report(raw: RawTable, sorted_rows: SortedRows, unused: list[str]) -> IngestReport:
    rows = sorted_rows.rows
    by_code = rows.problems.groupby("reason_code", as_index=False)
    reasons = by_code.agg(row_count=("line", "size"), example=("reason", "first"))
    left = f"Columns kept with the raw rows only: {', '.join(unused)}."
    return IngestReport(
        file_name=raw.name,
        rows_in=len(raw.frame),
        stored=len(rows.tickets),
        quarantined=len(rows.problems),
        duplicates=len(sorted_rows.duplicates),
        matches=rows.matches,
        reasons=reasons.sort_values(["row_count", "reason_code"], ascending=[False, True], ignore_index=True),
        notes=(f"Read as {raw.read_as}.", *rows.notes, *([left] if unused else [])),
    )
