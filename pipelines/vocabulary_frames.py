"""The vocabulary's tables as frames of text that a page can edit, and back to files; rules of thumb are one of them."""

import hashlib
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path

import pandas as pd

from analytics.errors import InputError
from pipelines.catalogue_rules import find_contradictions
from pipelines.catalogue_tables import COLUMNS, Problem, Row, read_tables, write_tables
from pipelines.prior_sources import RULES_NAME
from pipelines.rules import RULE_COLUMNS
from pipelines.spreadsheet_cells import defuse_frame, restore

ALL_COLUMNS: Mapping[str, tuple[str, ...]] = {**COLUMNS, RULES_NAME: RULE_COLUMNS}
# What makes a row the same row after an edit.
KEYS: Mapping[str, tuple[str, ...]] = {
    **{file: columns[:1] for file, columns in COLUMNS.items()},
    "links.csv": ("symptom", "suspect"),
    "reveals.csv": ("check", "suspect"),
    RULES_NAME: ("symptom", "suspect", "who"),
}

# File -> its rows, all cells text, missing ones "".
Frames = Mapping[str, pd.DataFrame]


@dataclass(frozen=True, eq=False)
class OpenedVocabulary:
    """Tables as they were when somebody began to edit; `folder_hash` is of all bytes they were read from."""

    frames: Frames
    folder_hash: str
    problems: tuple[Problem, ...]


def open_vocabulary(folder: Path) -> OpenedVocabulary:
    """Tables of a folder, which may contradict each other (`problems`), so that they can be mended.

    Raises
    ------
    InputError
        When a file is missing or cannot be read as a table.
    """
    folder_hash = hash_folder(folder)
    tables, unreadable = read_tables(folder)
    if unreadable:
        raise InputError("\n".join(map(str, unreadable)))
    frames = {file: frame_of((row.cells for row in rows), file) for file, rows in tables.items()}
    rules = folder / RULES_NAME
    frames[RULES_NAME] = _read_rules_text(rules) if rules.exists() else frame_of((), RULES_NAME)
    return OpenedVocabulary(frames, folder_hash, tuple(find_contradictions(tables)))


def frame_of(rows: Iterator[Mapping[str, str]] | tuple[Mapping[str, str], ...], file: str) -> pd.DataFrame:
    """Rows as a frame with the columns of a file, in their order."""
    columns = ALL_COLUMNS[file]
    return pd.DataFrame([[row[column] for column in columns] for row in rows], columns=list(columns), dtype="str")


def tidy(frame: pd.DataFrame, file: str) -> pd.DataFrame:
    """The frame as its file would give it back: text without outer blanks, no blank row, rows renumbered."""
    texts = frame.reindex(columns=list(ALL_COLUMNS[file])).astype("object").map(_text).astype("str")
    return texts[texts.ne("").any(axis=1)].reset_index(drop=True)


def tables_of(frames: Frames) -> dict[str, tuple[Row, ...]]:
    """Rows for `find_contradictions`; `line` of a row is its number on the page, from 1."""
    return {
        file: tuple(Row(file, at + 1, dict(cells)) for at, cells in enumerate(frames[file].to_dict("records")))
        for file in COLUMNS
    }


def write_frames(frames: Frames, folder: Path) -> None:
    """All files into an existing folder; no file of rules when there is no rule."""
    write_tables({file: frames[file].to_dict("records") for file in COLUMNS}, folder)
    if len(frames[RULES_NAME]):
        defuse_frame(frames[RULES_NAME]).to_csv(folder / RULES_NAME, index=False, encoding="utf-8", lineterminator="\n")


def hash_folder(folder: Path) -> str:
    """Text that changes when a table in the folder does."""
    found = hashlib.sha256()
    for path in sorted(folder.glob("*.csv")):
        found.update(path.name.encode() + b"\0" + hashlib.sha256(path.read_bytes()).digest())
    return found.hexdigest()


def _read_rules_text(path: Path) -> pd.DataFrame:
    try:
        frame = pd.read_csv(path, dtype="str", keep_default_na=False, encoding="utf-8-sig")
    except (ValueError, UnicodeDecodeError) as error:
        raise InputError(
            f"{path.name}: this is not readable as CSV UTF-8. Save the file again, or move it away."
        ) from error
    odd = sorted(set(frame.columns) ^ set(RULE_COLUMNS))
    if odd:
        raise InputError(f"{path.name}: missing or unknown column '{odd[0]}'. It needs {', '.join(RULE_COLUMNS)}.")
    return tidy(frame.map(restore), path.name)


def _text(cell: object) -> str:
    if cell is None or (isinstance(cell, float) and cell != cell):
        return ""
    return str(cell).strip()
