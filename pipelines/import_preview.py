"""A file looked at before it is read in: which column means what, and what its rows would become."""

import tempfile
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, replace
from datetime import date
from pathlib import Path

import pandas as pd

from analytics.errors import InputError
from analytics.vocabulary import Vocabulary
from pipelines.column_maps import (
    FIELDS,
    ColumnMap,
    guess_columns,
    known_columns,
    read_column_map,
    take_fields,
    translate_cells,
    write_column_map,
)
from pipelines.intake import add_odd_rows
from pipelines.readers import RawTable
from pipelines.settings import Settings, seed_folder
from pipelines.ticket_rows import dates_in, read_ticket_rows

# Enough to meet most spellings of a file, few enough to be judged while somebody waits.
ROWS_LOOKED_AT = 2_000
LONGEST_NAME = 120


@dataclass(frozen=True)
class Look:
    """What the first rows of a file would become, were the store empty.

    Parameters
    ----------
    row_count, good_count : rows looked at; those of them that are tickets
    problems : frame: line, reason_code, reason
    matches : frame: field, written, code, score, row_count
    notes : sentences about how the rows were read
    """

    row_count: int
    good_count: int
    problems: pd.DataFrame
    matches: pd.DataFrame
    notes: tuple[str, ...]


def look_at_rows(raw: RawTable, column_map: ColumnMap, *, shop: str, vocabulary: Vocabulary, today: date) -> Look:
    """Judges the first rows of a file as the intake would; nothing is stored.

    Parameters
    ----------
    column_map : one header a field at most, as `make_map` gives it
    shop : name of the workshop for rows that name none
    """
    columns = {field: headers[0] for field, headers in column_map.headers.items() if headers}
    texts = translate_cells(take_fields(raw.frame, columns), column_map)
    texts = texts.assign(shop=texts["shop"].where(texts["shop"].str.strip() != "", shop.strip()))
    first = texts.head(ROWS_LOOKED_AT)
    odd = {line: cells for line, cells in raw.odd_rows.items() if line in first.index}
    # The whole file tells whether the day or the month comes first.
    rows = read_ticket_rows(first.drop(index=list(odd)), vocabulary, today=today, reading=dates_in(texts))
    rows = add_odd_rows(rows, replace(raw, odd_rows=odd))
    return Look(len(first), len(rows.tickets), rows.problems, rows.matches, rows.notes)


def make_map(columns: Mapping[str, str], cells: Mapping[str, Mapping[str, str]]) -> ColumnMap:
    """A map that says of every field which header means it, or that none does."""
    headers = {field: (columns[field],) if columns.get(field) else () for field in FIELDS}
    return ColumnMap(headers, cells)


def guess_map(settings: Settings, headers: list[str]) -> ColumnMap:
    """The map that most likely fits these headers, from the shipped maps and those of earlier files."""
    shipped = sorted((seed_folder() / "column_maps").glob("*.csv"))
    maps = [read_column_map(), *map(read_column_map, [*shipped, *sorted(_maps_folder(settings).glob("*.csv"))])]
    best = max(maps, key=lambda one: len(known_columns(headers, one)))
    return make_map(guess_columns(headers, best), best.cells)


def remember_map(settings: Settings, file_hash: str, column_map: ColumnMap) -> None:
    """Keeps the map with which a file is read, for corrections of its rows and for the next file like it.

    Raises
    ------
    InputError
        When it cannot be written.
    """
    try:
        write_column_map(_maps_folder(settings) / f"{file_hash}.csv", column_map)
    except OSError as error:
        raise InputError(
            f"The column map cannot be kept ({error.strerror}); nothing was read in. Make room in the data folder."
        ) from error


def map_of_file(settings: Settings, file_hash: str, headers: list[str]) -> ColumnMap:
    """The map with which a file was read, guessed where none was kept."""
    kept = _maps_folder(settings) / f"{file_hash}.csv"
    return read_column_map(kept) if kept.exists() else guess_map(settings, headers)


@contextmanager
def laid_down(name: str, data: bytes) -> Iterator[Path]:
    """The bytes as a file of this name, for one with-block; a name with folders in it loses them."""
    with tempfile.TemporaryDirectory(prefix="faultodds-") as folder:
        last = name.replace("\\", "/").rsplit("/", 1)[-1].replace("\0", "")[-LONGEST_NAME:]
        path = Path(folder) / (last if last.strip(". ") else "tickets")
        try:
            path.write_bytes(data)
        except OSError as error:
            raise InputError(f"'{last}' cannot be laid down for reading ({error.strerror}). Free some space.") from None
        yield path


def _maps_folder(settings: Settings) -> Path:
    return settings.data_folder / "column_maps"
