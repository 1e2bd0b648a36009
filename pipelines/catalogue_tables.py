"""The vocabulary's CSV files as rows that know their file and line."""

import csv
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from pathlib import Path

from pipelines.spreadsheet_cells import defuse, restore

COLUMNS: Mapping[str, tuple[str, ...]] = {
    "families.csv": ("family", "name", "aliases", "note"),
    "symptoms.csv": ("symptom", "name", "aliases", "note"),
    "components.csv": ("component", "name", "aliases", "note"),
    "failure_modes.csv": ("failure_mode", "name", "aliases", "note"),
    "suspects.csv": ("suspect", "name", "component", "failure_mode", "aliases"),
    "access_groups.csv": ("access_group", "name", "open_minutes", "close_minutes", "inside", "must_close_for_retest"),
    "hazards.csv": ("hazard", "name", "note"),
    "checks.csv": (
        *("check", "name", "kind", "minutes", "access_group", "hazards", "false_alarm"),
        *("part", "tool", "aliases", "instruction"),
    ),
    "links.csv": ("symptom", "suspect", "strength"),
    "reveals.csv": ("check", "suspect", "detection", "cure"),
    "age_bands.csv": ("age_band", "from_age", "to_age"),
}
LIST_SEPARATOR = "|"


@dataclass(frozen=True)
class Row:
    """One row of one file: header -> text without outer blanks. `line` is where it starts; the header is line 1."""

    file: str
    line: int
    cells: Mapping[str, str]

    def items(self, column: str) -> tuple[str, ...]:
        """The entries of a list cell."""
        return tuple(item.strip() for item in self.cells[column].split(LIST_SEPARATOR) if item.strip())


@dataclass(frozen=True)
class Problem:
    """One thing that is wrong with the files, worded for the person who edits them. Line 0: the file as a whole."""

    file: str
    line: int
    reason: str

    def __str__(self) -> str:
        place = f"{self.file}, line {self.line}" if self.line else self.file
        return f"{place}: {self.reason}"


Tables = Mapping[str, tuple[Row, ...]]


def read_tables(folder: Path) -> tuple[Tables, list[Problem]]:
    """Rows of every file of `COLUMNS`, and what stopped a file or a row from being read."""
    tables: dict[str, tuple[Row, ...]] = {}
    problems: list[Problem] = []
    for file, columns in COLUMNS.items():
        try:
            with (folder / file).open(encoding="utf-8-sig", newline="") as stream:
                tables[file] = tuple(_read_rows(stream, file, columns, problems=problems))
        except FileNotFoundError:
            problems.append(Problem(file, 0, f"the file is missing. It needs the columns {', '.join(columns)}."))
        except UnicodeDecodeError:
            problems.append(Problem(file, 0, "the text is not UTF-8. Save the file again as CSV UTF-8."))
        except csv.Error as error:
            problems.append(Problem(file, 0, f"this is not readable as CSV ({error}). Save the file again as CSV."))
    return tables, problems


def _read_rows(stream: Iterable[str], file: str, columns: tuple[str, ...], *, problems: list[Problem]) -> list[Row]:
    reader = csv.reader(stream)
    header = [cell.strip() for cell in next(reader, [])]
    header_problem = _describe_header(header, columns)
    if header_problem:
        problems.append(Problem(file, 1, header_problem))
        return []
    rows: list[Row] = []
    line = reader.line_num + 1
    for cells in reader:
        texts = [cell.strip() for cell in cells]
        if any(texts) and len(texts) != len(header):
            counts = f"it has {len(texts)} cells, the header has {len(header)}"
            problems.append(Problem(file, line, f'{counts}. Put text that contains a comma between double quotes (").'))
        elif any(texts):
            rows.append(Row(file, line, dict(zip(header, map(restore, texts), strict=True))))
        line = reader.line_num + 1
    return rows


def _describe_header(header: list[str], columns: tuple[str, ...]) -> str:
    missing = [column for column in columns if column not in header]
    unknown = [column for column in header if column not in columns]
    repeated = sorted({column for column in header if header.count(column) > 1})
    allowed = f"Columns of this file, separated by commas: {', '.join(columns)}."
    if missing:
        return f"column '{missing[0]}' is missing. {allowed}"
    if unknown:
        return f"column '{unknown[0]}' is not known. {allowed} Take it out or rename it."
    if repeated:
        return f"column '{repeated[0]}' is there twice. {allowed}"
    return ""


def write_tables(tables: Mapping[str, Iterable[Mapping[str, str]]], folder: Path) -> None:
    """Write every file of `COLUMNS` into an existing folder."""
    for file, columns in COLUMNS.items():
        with (folder / file).open("w", encoding="utf-8", newline="") as stream:
            writer = csv.DictWriter(stream, columns, lineterminator="\n")
            writer.writeheader()
            writer.writerows({name: defuse(cell) for name, cell in row.items()} for row in tables[file])
