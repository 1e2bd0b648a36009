"""Raw frame -> tickets, quarantine and duplicates, one transaction a file; corrected rows and bench tickets come in too."""

import json
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from pathlib import Path

import pandas as pd

from analytics.errors import InputError
from analytics.vocabulary import Vocabulary
from pipelines.cell_values import find_date_reading
from pipelines.column_maps import FIELDS, ColumnMap, find_columns
from pipelines.readers import RawTable, read_raw
from pipelines.store import Connection, reading, registered, run_query, utc_now, writing
from pipelines.ticket_rows import TicketRows, dates_in, read_ticket_rows
from pipelines.ticket_tables import SortedRows, insert_tickets, sort_rows


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
            f"{self.file_name}: {self.rows_in:,} rows in; {self.stored:,} stored as tickets, "
            f"{self.quarantined:,} in quarantine, {self.duplicates:,} already known."
        )
        reasons = self.reasons.itertuples(index=False)
        why = (f"{row.row_count:,} in quarantine for {row.reason_code}, for example: {row.example}" for row in reasons)
        guessed = self.matches[self.matches["score"] < 100]
        taken = (f"{len(guessed):,} spellings were taken for words of the vocabulary by likeness; please look them over.",)
        return (counts, *self.notes, *why, *(taken if len(guessed) else ()))


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
    texts = _field_texts(raw.frame, columns, shop.strip())
    odd = pd.Index(sorted(raw.odd_rows), dtype="int64")
    rows = read_ticket_rows(texts.drop(index=odd), vocabulary, today=today, reading=dates_in(texts))
    rows = _add_odd_rows(rows, raw)
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
    with writing(store_path) as con:
        found = run_query(con, "find_quarantined_row", file_hash=file_hash, line=line)
        if found.empty:
            raise InputError(f"Line {line} of this file is not in quarantine. `faultodds quarantine` lists what is.")
        cells = {**json.loads(found["cells"].iloc[0]), **corrections}
        columns = find_columns(list(cells), _all_fields(column_map, cells))
        unknown = sorted(set(corrections) - set(columns.values()))
        if unknown:
            allowed = ", ".join(spellings[0] for spellings in column_map.headers.values())
            raise InputError(f"'{unknown[0]}' is no column of a ticket. Columns: {allowed}.")
        frame = pd.DataFrame({header: pd.array([text], "str") for header, text in cells.items()}, index=[line])
        texts = _field_texts(frame, columns, found["file_shop"].iloc[0])
        slashes = run_query(
            con,
            "find_written_dates",
            file_hash=file_hash,
            opened_header=columns["opened_on"],
            closed_header=columns.get("closed_on", ""),
        )
        rows = read_ticket_rows(texts, vocabulary, today=today, reading=find_date_reading(slashes["written"]))
        return _store_one(con, rows, source="file", file_hash=file_hash)


