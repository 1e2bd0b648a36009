"""The counts of a bundle as plain Parquet tables. Rows and columns are counted before a value is read."""

import io
import re
from dataclasses import dataclass, fields
from pathlib import Path

import numpy as np
import pandas as pd
import pyarrow as pa
import pyarrow.parquet as pq

from analytics.errors import InputError
from analytics.rollup_cells import BUNDLE_COLUMNS, FAMILY_COLUMNS
from analytics.rollup_checks import AT_FAULT, CHECK_COLUMNS, CURES, ELSEWHERE, MINUTES_COLUMNS, SHOWS
from analytics.vocabulary import CONFIRMATIONS

CELLS = "cells.parquet"
SIDES = {"families": "families.parquet", "checks": "checks.parquet", "minutes": "minutes.parquet"}
COLUMNS = {"cells": BUNDLE_COLUMNS, "families": FAMILY_COLUMNS, "checks": CHECK_COLUMNS, "minutes": MINUTES_COLUMNS}
NUMBERS, LISTS = ("tickets", "mean_log", "spread_log"), ("results", "others", "possible")
MOST_ROWS = 100_000
_CODE = re.compile(r"[a-z0-9_]{0,80}")
_RESULTS = re.compile(r"[a-z0-9_:=;]{0,4000}")
# Words of these columns are ours, not the vocabulary's.
_OWN_WORDS = {
    "confirmation": {"", *CONFIRMATIONS},
    "place": {AT_FAULT, ELSEWHERE},
    "outcome": {*SHOWS, *CURES},
}
# No check takes longer than e^10 minutes (two weeks), or less than e^-10.
_LONGEST_LOG = 10.0


@dataclass(frozen=True, eq=False)
class Counts:
    """All that is counted: cells and families as in `rollup_cells.RolledUp`, checks and minutes as in `rollup_checks`.

    `tickets` is whole in a bundle; in a pack it is what may be expected (see `analytics.unrolling`).
    """

    cells: pd.DataFrame
    families: pd.DataFrame
    checks: pd.DataFrame
    minutes: pd.DataFrame


def cells_alone(cells: pd.DataFrame) -> Counts:
    """Counts of which nothing is told but the cells."""
    return Counts(cells, *(pd.DataFrame(columns=list(COLUMNS[side])).astype({"tickets": int}) for side in SIDES))


def pack_sides(counts: Counts) -> dict[str, bytes]:
    """File name -> content, of all but the cells."""
    return {file: pack_table(side, getattr(counts, side)) for side, file in SIDES.items()}


def pack_table(name: str, frame: pd.DataFrame) -> bytes:
    """One table as uncompressed Parquet; the same rows give the same bytes."""
    columns = list(COLUMNS[name])
    ordered = frame[columns].sort_values([c for c in columns if c not in NUMBERS], ignore_index=True)
    whole = pd.api.types.is_integer_dtype(ordered["tickets"])
    kinds = {c: pa.float64() if c in NUMBERS else pa.string() for c in columns} | (
        {"tickets": pa.int64()} if whole else {}
    )
    out = io.BytesIO()
    pq.write_table(
        pa.Table.from_pandas(ordered, schema=pa.schema(kinds), preserve_index=False).replace_schema_metadata(None),
        out,
        compression="none",
        use_dictionary=False,
    )
    return out.getvalue()


def read_counts(path: Path, entries: dict[str, bytes]) -> Counts:
    """All tables of a file; those that an older one lacks are empty."""
    found = cells_alone(read_table(path, "cells", entries[CELLS]))
    told = {side: read_table(path, side, entries[file]) for side, file in SIDES.items() if file in entries}
    return Counts(**{field.name: told.get(field.name, getattr(found, field.name)) for field in fields(Counts)})


def read_table(path: Path, name: str, content: bytes) -> pd.DataFrame:
    """One table whose rows, columns and codes have been checked; a small file must not grow in memory."""
    columns = COLUMNS[name]
    try:
        file = pq.ParquetFile(io.BytesIO(content))
        about = file.metadata
        if about.num_rows > MOST_ROWS or about.num_row_groups > 10 or about.num_columns != len(columns):
            raise no_bundle(path, f"it has more than {MOST_ROWS:,} rows or other columns")
        chunks = [about.row_group(g).column(c) for g in range(about.num_row_groups) for c in range(about.num_columns)]
        if any(chunk.compression != "UNCOMPRESSED" or chunk.has_dictionary_page for chunk in chunks):
            raise no_bundle(path, "its counts are compressed")
        kinds = {field.name: str(field.type) for field in file.schema_arrow}
        if tuple(kinds) != columns or any(kinds[c] not in _kinds_of(c) for c in columns):
            raise no_bundle(path, "its columns are others than they must be")
        frame: pd.DataFrame = file.read().to_pandas()
    except (pa.ArrowException, OSError) as error:
        raise no_bundle(path, f"its {name} are no Parquet") from error
    _check_values(path, frame)
    return frame


def _kinds_of(column: str) -> tuple[str, ...]:
    if column == "tickets":
        return ("int64", "double")
    return ("double",) if column in NUMBERS else ("string",)


def _check_values(path: Path, frame: pd.DataFrame) -> None:
    if frame.isna().any(axis=None):
        raise no_bundle(path, "some of its cells are empty")
    for column in frame.columns:
        if column in NUMBERS:
            most = 1e9 if column == "tickets" else _LONGEST_LOG
            if not np.isfinite(frame[column]).all() or frame[column].abs().gt(most).any():
                raise no_bundle(path, f"it holds an impossible number (column {column})")
            continue
        pattern = _RESULTS if column in LISTS else _CODE
        bad = [value for value in frame[column].unique() if not pattern.fullmatch(value)]
        if bad:
            raise no_bundle(path, f"'{bad[0]:.30}' is no code (column {column})")
        if column in _OWN_WORDS and not set(frame[column]) <= _OWN_WORDS[column]:
            raise no_bundle(path, f"it names a {column} that does not exist")
    if frame.duplicated([c for c in frame.columns if c not in NUMBERS]).any():
        raise no_bundle(path, "it counts the same cell twice")
    if "spread_log" in frame and frame["spread_log"].lt(0).any():
        raise no_bundle(path, "it holds an impossible number (column spread_log)")


def no_bundle(path: Path, reason: str) -> InputError:
    """The refusal of a file, with its reason."""
    return InputError(
        f"'{path.name}' is refused: {reason}. Ask its contributor to write it again with `faultodds bundle write`."
    )
