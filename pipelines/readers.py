"""CSV or XLSX file -> one raw frame of text that knows its physical lines; what is no table is refused in words."""

import hashlib
import io
import zipfile
from collections import Counter
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from datetime import date, datetime, time
from itertools import batched
from pathlib import Path

import pandas as pd
import python_calamine

from analytics.errors import InputError
from pipelines.text_files import DELIMITERS, decode_text, find_delimiter, read_rows

MAX_BYTES = 1_000_000_000
# An XLSX file is zipped; a small one can unpack to fill the memory.
MAX_UNPACKED_BYTES = 2_000_000_000
MAX_COLUMNS = 200
# Rows become columns of text in portions, so that a million rows do not stand in memory as a million lists.
ROWS_AT_ONCE = 50_000
# Key of what stands to the right of the last header.
BEYOND_HEADER = "(beyond the header)"

_ZIP_MARK, _OLD_OFFICE_MARK = b"PK\x03\x04", b"\xd0\xcf\x11\xe0"

_Row = tuple[int, list[str]]


@dataclass(frozen=True)
class RawTable:
    """A file as it came.

    Parameters
    ----------
    name, file_hash : file name without its folder; sha256 of the bytes
    frame : one column of text a header (no missing values), index = physical line (CSV) or sheet row (XLSX), header = 1
    odd_rows : line -> all its cells, for rows wider or narrower than the header; the frame has them cut or padded
    read_as : how the file was understood, for a person
    """

    name: str
    file_hash: str
    frame: pd.DataFrame
    odd_rows: Mapping[int, tuple[str, ...]]
    read_as: str

    def cells_of(self, line: int) -> dict[str, str]:
        """Header -> text of one row, blank cells left out, nothing lost."""
        return _filled(self.frame.columns, self.odd_rows.get(line) or self.frame.loc[line])

    def all_cells(self) -> Iterator[tuple[int, dict[str, str]]]:
        """(line, header -> text) of every row, in order."""
        headers = list(self.frame.columns)
        for line, cells in zip(self.frame.index, zip(*(self.frame[h] for h in headers), strict=True), strict=True):
            yield int(line), _filled(headers, self.odd_rows.get(line, cells))


def read_raw(path: Path) -> RawTable:
    """The table in a CSV or XLSX file; what it is, is told by its bytes and not by its name.

    Raises
    ------
    InputError
        For a file that is missing, empty, too large, no table, or whose header cannot be told apart.
    """
    data = _read_bytes(path)
    rows, read_as = _rows_of(data, path.name)
    return _make_table(rows, name=path.name, file_hash=hashlib.sha256(data).hexdigest(), read_as=read_as)


def _read_bytes(path: Path) -> bytes:
    try:
        size = path.stat().st_size
        if size > MAX_BYTES:
            raise InputError(f"'{path.name}' has {size / 1e6:,.0f} MB; the limit is {MAX_BYTES / 1e6:,.0f}. Split it.")
        data = path.read_bytes()
    except FileNotFoundError:
        raise InputError(f"There is no file '{path}'. Give the path of a CSV or XLSX file.") from None
    except OSError as error:
        raise InputError(f"'{path.name}' cannot be read ({error.strerror}). Give a CSV or XLSX file.") from None
    if not data.strip():
        raise InputError(f"'{path.name}' is empty. Give a table with a header and at least one row.")
    return data


def _rows_of(data: bytes, name: str) -> tuple[Iterator[_Row], str]:
    if data.startswith(_OLD_OFFICE_MARK):
        raise InputError(f"'{name}' is an old office file (.xls). Save it as XLSX or CSV and read that.")
    if data.startswith(_ZIP_MARK):
        return _sheet_rows(data, name)
    text, encoding = decode_text(data, name)
    delimiter = find_delimiter(text, name)
    return read_rows(text, delimiter, name), f"text in {encoding}, cells separated by {DELIMITERS[delimiter]}"


def _make_table(rows: Iterator[_Row], *, name: str, file_hash: str, read_as: str) -> RawTable:
    _, header_cells = next(rows, (0, []))
    headers = _check_headers(header_cells, name)
    lines: list[int] = []
    odd_rows: dict[int, tuple[str, ...]] = {}
    parts = [_frame_part(part, headers, lines=lines, odd_rows=odd_rows) for part in batched(rows, ROWS_AT_ONCE)]
    if not lines:
        raise InputError(f"'{name}' has a header and no row below it. Give a table with at least one row.")
    frame = pd.concat(parts, ignore_index=True).set_axis(pd.Index(lines, name="line"), axis=0)
    return RawTable(name, file_hash, frame, odd_rows, read_as)


def _frame_part(
    rows: Iterable[_Row], headers: list[str], *, lines: list[int], odd_rows: dict[int, tuple[str, ...]]
) -> pd.DataFrame:
    """Columns of text of some rows; adds to `lines` and `odd_rows`."""
    width = len(headers)
    table = []
    for line, cells in rows:
        lines.append(line)
        if len(cells) != width:
            if len(cells) < width or any(cell.strip() for cell in cells[width:]):
                odd_rows[line] = tuple(cells)
            cells = [*cells, *[""] * (width - len(cells))][:width]
        table.append(cells)
    columns = zip(*table, strict=True)
    return pd.DataFrame(
        {header: pd.array(list(column), dtype="str") for header, column in zip(headers, columns, strict=True)}
    )


def _check_headers(cells: list[str], name: str) -> list[str]:
    """Headers without outer blanks; unnamed columns at the end fall away, others are called by their number."""
    headers = [" ".join(cell.split()) for cell in cells]
    while headers and not headers[-1]:
        headers.pop()
    if not headers:
        raise InputError(f"'{name}' has no header. Give a table with a header and at least one row.")
    if len(headers) > MAX_COLUMNS:
        raise InputError(
            f"'{name}' has {len(headers):,} columns; the limit is {MAX_COLUMNS}. Is this the ticket table?"
        )
    headers = [header or f"(column {number})" for number, header in enumerate(headers, start=1)]
    repeated = [header for header, count in Counter(map(str.casefold, headers)).items() if count > 1]
    if repeated:
        places = [str(at) for at, header in enumerate(headers, start=1) if header.casefold() == repeated[0]]
        where = " and ".join(places)
        raise InputError(f"The header '{repeated[0]}' stands in columns {where} of '{name}'. Rename one of them.")
    return headers


def _sheet_rows(data: bytes, name: str) -> tuple[Iterator[_Row], str]:
    """Rows of the first sheet that holds anything."""
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as archive:
            unpacked = sum(member.file_size for member in archive.infolist())
        if unpacked > MAX_UNPACKED_BYTES:
            raise InputError(f"'{name}' unpacks to {unpacked / 1e6:,.0f} MB. Save the table as CSV and split it.")
        workbook = python_calamine.CalamineWorkbook.from_filelike(io.BytesIO(data))
        for sheet_name in workbook.sheet_names:
            cells = workbook.get_sheet_by_name(sheet_name).to_python(skip_empty_area=False)
            if any(any(cell != "" for cell in row) for row in cells):
                return _text_rows(cells), f"sheet '{sheet_name}'"
    except (zipfile.BadZipFile, python_calamine.CalamineError):
        raise InputError(f"'{name}' is no XLSX workbook, or a damaged one. Save the table as XLSX or CSV.") from None
    raise InputError(f"'{name}' is empty. Give a table with a header and at least one row.")


def _text_rows(sheet: list[list[object]]) -> Iterator[_Row]:
    for line, row in enumerate(sheet, start=1):
        cells = [_cell_text(cell) for cell in row]
        if any(cell.strip() for cell in cells):
            yield line, cells


def _cell_text(cell: object) -> str:
    """Text of a spreadsheet cell: 1962.0 is the number 1962, midnight on a day is the day."""
    if isinstance(cell, float) and cell.is_integer() and abs(cell) < 1e15:
        return str(int(cell))
    if isinstance(cell, datetime):
        return cell.date().isoformat() if cell.time() == time() else cell.isoformat(sep=" ")
    if isinstance(cell, date | time):
        return cell.isoformat()
    return str(cell)


def _filled(headers: Iterable[str], cells: Iterable[str]) -> dict[str, str]:
    headers, cells = list(headers), list(cells)
    filled = {header: cell for header, cell in zip(headers, cells, strict=False) if cell}
    beyond = [cell for cell in cells[len(headers) :] if cell]
    return {**filled, BEYOND_HEADER: " | ".join(beyond)} if beyond else filled
