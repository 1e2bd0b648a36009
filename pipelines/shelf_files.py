"""parts.csv in the shop's data folder: what is on the shelf, on order, what parts cost and how long they take."""

import math
from collections.abc import Mapping
from pathlib import Path
from uuid import uuid4

import pandas as pd

from analytics.errors import InputError
from analytics.part_needs import parts_of
from analytics.vocabulary import Vocabulary
from pipelines.catalogue_tables import Problem
from pipelines.readers import read_raw
from pipelines.settings import Settings
from pipelines.spreadsheet_cells import defuse_frame, restore

PARTS_NAME = "parts.csv"
# Column -> (least, most, whole numbers only, an example).
COLUMNS: Mapping[str, tuple[float, float, bool, str]] = {
    "on_shelf": (0, 100_000, True, "2"),
    "on_order": (0, 100_000, True, "0"),
    "price": (0.01, 1_000_000, False, "12.50"),
    "lead_days": (1, 3_650, True, "14"),
    "minimum_order": (1, 100_000, True, "1"),
}
PART_COLUMNS = ("part", *COLUMNS)


def parts_path(settings: Settings) -> Path:
    """Where the list of parts lies."""
    return settings.data_folder / PARTS_NAME


def read_parts(settings: Settings, vocabulary: Vocabulary) -> pd.DataFrame:
    """One row for every part of the vocabulary with `PART_COLUMNS`; what is blank or not listed is none (NaN).

    Raises
    ------
    InputError
        As for `read_parts_file`.
    """
    path = parts_path(settings)
    known = pd.DataFrame({"part": pd.array(list(parts_of(vocabulary)), "str")})
    listed = read_parts_file(path, vocabulary) if path.exists() else _frame([])
    return known.merge(listed, on="part", how="left")


def read_parts_file(path: Path, vocabulary: Vocabulary) -> pd.DataFrame:
    """Rows of a CSV or XLSX file with `PART_COLUMNS`; every cell but the part may be blank.

    Raises
    ------
    InputError
        One line for each row that cannot be used, with its line number and what to do.
    """
    table = read_raw(path)
    if set(table.frame.columns) != set(PART_COLUMNS):
        odd = ", ".join(repr(name) for name in sorted(set(PART_COLUMNS) ^ set(table.frame.columns)))
        raise InputError(
            f"{path.name}: missing or unknown column {odd}. It needs the columns {', '.join(PART_COLUMNS)}."
        )
    rows = [(line, {name: cells.get(name, "").strip() for name in PART_COLUMNS}) for line, cells in table.all_cells()]
    problems = [
        Problem(path.name, line, "it has more cells than the header. Take them out.") for line in table.odd_rows
    ]
    return _checked(rows, vocabulary, path.name, problems)


def save_parts(settings: Settings, rows: pd.DataFrame, vocabulary: Vocabulary) -> int:
    """Writes rows with `PART_COLUMNS` as parts.csv, wholly blank rows left out; returns how many parts it lists.

    Raises
    ------
    InputError
        As for `read_parts_file`; the old file is then left as it was.
    """
    frame = rows.reindex(columns=list(PART_COLUMNS))
    texts = [(line, {name: _text(row[name]) for name in PART_COLUMNS}) for line, row in _numbered(frame)]
    filled = [(line, cells) for line, cells in texts if any(cells[name] for name in COLUMNS)]
    checked = _checked(filled, vocabulary, PARTS_NAME, [])
    path = parts_path(settings)
    aside = path.with_name(f".{uuid4().hex}.csv")
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        aside.write_bytes(parts_as_csv(checked))
        aside.replace(path)
    except OSError as error:
        raise InputError(
            f"'{path.name}' cannot be written ({error.strerror}). Choose a folder you may write to."
        ) from error
    finally:
        aside.unlink(missing_ok=True)
    return len(checked)


def parts_as_csv(rows: pd.DataFrame) -> bytes:
    """Rows with `PART_COLUMNS` as CSV in UTF-8; blank where nothing is known, whole numbers without a point."""
    texts = pd.DataFrame({name: [_text(value) for value in rows[name]] for name in PART_COLUMNS})
    return defuse_frame(texts).to_csv(index=False, lineterminator="\n").encode("utf-8")


def _numbered(frame: pd.DataFrame) -> list[tuple[int, pd.Series]]:
    # line 1 is the header
    return [(at + 2, row) for at, (_, row) in enumerate(frame.iterrows())]


def _checked(
    rows: list[tuple[int, dict[str, str]]], vocabulary: Vocabulary, file: str, problems: list[Problem]
) -> pd.DataFrame:
    found: list[dict[str, object]] = []
    first_line: dict[str, int] = {}
    for line, cells in rows:
        try:
            row = _row(cells, vocabulary)
            before = first_line.setdefault(str(row["part"]), line)
            if before != line:
                raise InputError(f"'{row['part']}' is already in line {before}. Keep one of the two.")
            found.append(row)
        except InputError as error:
            problems.append(Problem(file, line, str(error)))
    if problems:
        raise InputError("\n".join(map(str, problems)))
    return _frame(found)


def _row(cells: Mapping[str, str], vocabulary: Vocabulary) -> dict[str, object]:
    part = restore(cells["part"])
    if part not in parts_of(vocabulary):
        raise InputError(f"no check fits a part called '{part}'. Known parts: {', '.join(parts_of(vocabulary))}.")
    return {"part": part, **{name: _number(cells[name], name) for name in COLUMNS}}


def _number(cell: str, column: str) -> float:
    if not cell:
        return math.nan
    least, most, whole, example = COLUMNS[column]
    try:
        value = float(cell)
    except ValueError:
        value = math.nan
    if not least <= value <= most or (whole and value != int(value)):
        kind = "a whole number" if whole else "a number, with a point,"
        raise InputError(
            f"{column} is '{cell}'. Allowed: {kind} from {least:g} to {most:,.0f}, like {example}, or blank if not "
            "known."
        )
    return value


def _text(value: object) -> str:
    if isinstance(value, float):
        return "" if math.isnan(value) else f"{value:.10g}"
    return "" if value is None or value is pd.NA else str(value).strip()


def _frame(rows: list[dict[str, object]]) -> pd.DataFrame:
    frame = pd.DataFrame(rows, columns=list(PART_COLUMNS))
    return frame.astype({"part": "str", **dict.fromkeys(COLUMNS, "float64")})
