"""Which header of a file means which field of the ticket template; the maps are data, a shop may bring its own."""

import csv
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

import pandas as pd
from rapidfuzz import fuzz, process

from analytics.errors import InputError
from pipelines.settings import seed_folder
from pipelines.spreadsheet_cells import defuse, restore

FIELDS = (
    *("ticket", "shop", "machine", "family", "built_year", "opened_on", "closed_on", "symptom", "complaint"),
    *("suspect", "confirmation", "result", "checks", "minutes"),
)
REQUIRED_FIELDS = ("ticket", "opened_on", "symptom")
# Below this likeness (0..100) a header is not worth naming as a guess. Judged by eye on the headers of this file.
GUESS_THRESHOLD = 60


@dataclass(frozen=True)
class ColumnMap:
    """Field -> headers that mean it, compared without case, blanks, `_` and `-`; and field -> cell as written -> what
    it is taken as, for files that have other words for the same thing.
    """

    headers: Mapping[str, tuple[str, ...]]
    cells: Mapping[str, Mapping[str, str]]


def read_column_map(path: Path | None = None) -> ColumnMap:
    """The headers of the ticket template; for fields that the file at `path` lists, its headers instead.

    The file is CSV with the columns field and header, one row a spelling. Rows that fill in a third column, written,
    say what a cell of the field is taken as (fourth column, taken_as; blank: as if nothing were written).

    Raises
    ------
    InputError
        When the file is missing, has other columns, or names a field that a ticket does not have.
    """
    template = _read_map(seed_folder() / "column_maps" / "ticket_template.csv")
    if path is None:
        return template
    own = _read_map(path)
    return ColumnMap({**template.headers, **own.headers}, own.cells)


def find_column_map(given: str) -> Path | None:
    """File of a shipped map called by its name (`open_repair`) or of one called by its path; None for ""."""
    if not given:
        return None
    shipped = {path.stem: path for path in sorted((seed_folder() / "column_maps").glob("*.csv"))}
    path = shipped.get(given, Path(given))
    if not path.exists():
        raise InputError(
            f"There is no column map '{given}'. Give the path of a CSV file, or one of: {', '.join(shipped)}."
        )
    return path


def match_columns(headers: Sequence[str], column_map: ColumnMap) -> dict[str, str]:
    """Field -> header, for the fields that have one; InputError when two headers mean the same field."""
    columns: dict[str, str] = {}
    for field, spellings in column_map.headers.items():
        known = {_key(spelling) for spelling in spellings}
        found = [header for header in headers if _key(header) in known]
        if len(found) > 1:
            twice = " and ".join(f"'{header}'" for header in found)
            raise InputError(f"The columns {twice} both mean {field}. Rename one, or give a column map that chooses.")
        if found:
            columns[field] = found[0]
    return columns


def find_columns(headers: Sequence[str], column_map: ColumnMap) -> dict[str, str]:
    """Field -> header of a whole file, which must have the required fields.

    Raises
    ------
    InputError
        When a required field has no column (with the headers found and the closest guess), or a field has two.
    """
    columns = match_columns(headers, column_map)
    missing = [field for field in REQUIRED_FIELDS if field not in columns]
    if missing:
        raise InputError(_describe_missing(missing, [h for h in headers if h not in columns.values()], column_map))
    return columns


def known_columns(headers: Sequence[str], column_map: ColumnMap) -> dict[str, str]:
    """Field -> header that means it; the first one where several do."""
    columns: dict[str, str] = {}
    for field, spellings in column_map.headers.items():
        known = {_key(spelling) for spelling in spellings}
        found = [header for header in headers if _key(header) in known]
        columns.update({field: found[0]} if found else {})
    return columns


def guess_columns(headers: Sequence[str], column_map: ColumnMap) -> dict[str, str]:
    """Field -> header: those that mean it, and for the fields left over the one most like it; for a person to judge."""
    columns = known_columns(headers, column_map)
    for field in FIELDS:
        spare = [header for header in headers if header not in columns.values()]
        guess = "" if field in columns else _guess(field, spare, column_map)
        columns.update({field: guess} if guess else {})
    return columns


def take_fields(frame: pd.DataFrame, columns: Mapping[str, str]) -> pd.DataFrame:
    """A column of text for each of `FIELDS`, blank where the file has none; index as `frame`."""
    blank = pd.Series("", index=frame.index, dtype="str")
    return pd.DataFrame({field: frame[columns[field]] if field in columns else blank for field in FIELDS})


def translate_cells(texts: pd.DataFrame, column_map: ColumnMap) -> pd.DataFrame:
    """The fields of `take_fields` with cells that the map has words for replaced, whatever their case and blanks."""
    translated = {}
    for field, words in column_map.cells.items():
        keys = {cell: _key(cell) for cell in texts[field].unique()}
        translated[field] = texts[field].map({cell: words.get(key, cell) for cell, key in keys.items()}).astype("str")
    return texts.assign(**translated)


def write_column_map(path: Path, column_map: ColumnMap) -> None:
    """Writes a map as `read_column_map` reads it; a field without a header is listed too, for it has none."""
    rows = [(field, header, "", "") for field, headers in column_map.headers.items() for header in headers or ("",)]
    rows += [(field, "", *pair) for field, words in column_map.cells.items() for pair in words.items()]
    path.parent.mkdir(parents=True, exist_ok=True)
    with path.open("w", encoding="utf-8", newline="") as stream:
        csv.writer(stream).writerows([("field", "header", "written", "taken_as"), *(map(defuse, row) for row in rows)])


def _describe_missing(missing: list[str], spare: list[str], column_map: ColumnMap) -> str:
    guesses = [_guess(field, spare, column_map) for field in missing]
    hints = [f"for {field} perhaps '{guess}'" for field, guess in zip(missing, guesses, strict=True) if guess]
    found = ", ".join(f"'{header}'" for header in spare[:30]) or "none"
    plural = "columns are" if len(missing) > 1 else "column is"
    return (
        f"The required {plural} missing: {', '.join(missing)}. Headers not understood: {found}."
        + (f" Closest: {'; '.join(hints)}." if hints else "")
        + " Rename the header, or give a column map (CSV with the columns field,header)."
    )


def _guess(field: str, headers: list[str], column_map: ColumnMap) -> str:
    """The header most like any spelling of the field; "" when none is."""
    scored = [
        (score, header)
        for spelling in column_map.headers.get(field, (field,))
        for header, score, _ in process.extract(spelling, headers, scorer=fuzz.ratio, processor=_key, limit=1)
    ]
    score, header = max(scored, default=(0.0, ""))
    return header if score >= GUESS_THRESHOLD else ""


def _read_map(path: Path) -> ColumnMap:
    try:
        with path.open(encoding="utf-8-sig", newline="") as stream:
            rows = [
                {name: restore((cell or "").strip()) for name, cell in row.items()} for row in csv.DictReader(stream)
            ]
        pairs = [(row["field"], row["header"]) for row in rows]
    except (OSError, UnicodeDecodeError, csv.Error, KeyError, AttributeError):
        raise InputError(
            f"'{path.name}' is no column map. Give a CSV file in UTF-8 with the columns field,header, one row a header."
        ) from None
    unknown = [field for field, _ in pairs if field not in FIELDS]
    if unknown:
        raise InputError(f"'{path.name}' names the field '{unknown[0]}'. A ticket has the fields {', '.join(FIELDS)}.")
    cells: dict[str, dict[str, str]] = {}
    for row in rows:
        if row.get("written"):
            cells.setdefault(row["field"], {})[_key(row["written"])] = row.get("taken_as", "")
    named = {field: dict.fromkeys(h for f, h in pairs if f == field and h) for field, _ in pairs}
    return ColumnMap({field: tuple(headers) for field, headers in named.items()}, cells)


def _key(header: str) -> str:
    return "".join(sign for sign in header.casefold() if sign not in " _-")
