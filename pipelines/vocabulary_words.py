"""The vocabulary's tables, rows and edits in the trade's words."""

import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

import pandas as pd

from analytics.vocabulary import SOMETHING_ELSE
from pipelines.catalogue_tables import Problem
from pipelines.prior_sources import RULES_NAME
from pipelines.vocabulary_frames import ALL_COLUMNS, KEYS, Frames
from pipelines.wording import counted, listed

TITLES: Mapping[str, str] = {
    "links.csv": "What points to what",
    "symptoms.csv": "Complaints",
    "suspects.csv": "Suspects",
    "checks.csv": "Checks",
    "reveals.csv": "What a check can show",
    "families.csv": "Machines",
    "components.csv": "Parts that fail",
    "failure_modes.csv": "Ways to fail",
    "access_groups.csv": "What must be opened",
    "hazards.csv": "Hazards",
    "age_bands.csv": "Ages",
    RULES_NAME: "Rules of thumb",
}
# Column that holds codes of another table -> that table.
CODES_IN: Mapping[str, str] = {
    "symptom": "symptoms.csv",
    "suspect": "suspects.csv",
    "check": "checks.csv",
    "component": "components.csv",
    "failure_mode": "failure_modes.csv",
    "access_group": "access_groups.csv",
    "inside": "access_groups.csv",
}
_FILE = re.compile("|".join(re.escape(file) for file in ALL_COLUMNS))
_LINE = re.compile(r"\bline (\d+)")
# A cell longer than this is not repeated word for word.
_LONGEST_CELL = 60


@dataclass(frozen=True)
class Change:
    """One row that an edit adds, takes out or changes; `sentence` says it."""

    file: str
    kind: Literal["added", "removed", "changed"]
    key: tuple[str, ...]
    sentence: str


def names_of(frames: Frames, file: str) -> dict[str, str]:
    """Code -> name of one table; `something_else` is always a suspect."""
    frame = frames[file]
    codes = frame[KEYS[file][0]]
    names = dict(zip(codes, frame.get("name", codes), strict=True))
    return {**names, SOMETHING_ELSE: names.get(SOMETHING_ELSE, "Something else")} if file == "suspects.csv" else names


def say_problem(problem: Problem, frames: Frames) -> str:
    """A refusal: table, row and what to do. The line of the problem is the row's number, from 1; 0 for the table."""
    reason = _LINE.sub(r"row \1", _FILE.sub(lambda found: f"'{TITLES[found.group()]}'", problem.reason))
    if problem.line < 1:
        return f"{TITLES[problem.file]}: {reason}"
    row = frames[problem.file].iloc[problem.line - 1]
    label = label_of(row.to_dict(), problem.file, frames)
    return f"{TITLES[problem.file]}, row {problem.line}{f' ({label})' if label else ''}: {reason}"


def label_of(cells: Mapping[str, str], file: str, frames: Frames) -> str:
    """What a person calls a row."""
    if file in ("links.csv", "reveals.csv", RULES_NAME):
        columns = [column for column in KEYS[file] if column in CODES_IN]
        names = [names_of(frames, CODES_IN[c]).get(cells[c]) or cells[c] for c in columns]
        who = cells.get("who", "")
        return " → ".join(filter(None, names)) + (f", said by {who}" if who else "")
    return cells.get("name") or cells[KEYS[file][0]]


def find_changes(before: Frames, after: Frames) -> tuple[Change, ...]:
    """What would be different, in the order of `TITLES`."""
    return tuple(change for file in TITLES for change in _changes_in(file, before, after))


def say_counts(changes: Sequence[Change]) -> str:
    """How much would change: "2 rows added, 1 row changed"."""
    kinds = [(kind, sum(change.kind == kind for change in changes)) for kind in ("added", "changed", "removed")]
    return listed([f"{counted(count, 'row')} {kind}" for kind, count in kinds if count])


def _changes_in(file: str, before: Frames, after: Frames) -> Iterator[Change]:
    old, new = _by_key(before[file], file), _by_key(after[file], file)
    for key, cells in new.items():
        label = _quoted(cells, file, after)
        if key not in old:
            told = _told_cells(cells, file)
            yield Change(file, "added", key, f"{TITLES[file]}: {label} added{told}.")
        elif cells != old[key]:
            told = listed([_told(c, old[key][c], cells[c], before, after) for c in cells if cells[c] != old[key][c]])
            yield Change(file, "changed", key, f"{TITLES[file]}: {label}, {told}.")
    for key, cells in old.items():
        if key not in new:
            yield Change(file, "removed", key, f"{TITLES[file]}: {_quoted(cells, file, before)} taken out.")


def _by_key(frame: pd.DataFrame, file: str) -> dict[tuple[str, ...], dict[str, str]]:
    return {tuple(cells[column] for column in KEYS[file]): cells for cells in frame.to_dict("records")}


def _quoted(cells: Mapping[str, str], file: str, frames: Frames) -> str:
    return f"'{label_of(cells, file, frames)}'"


def _told_cells(cells: Mapping[str, str], file: str) -> str:
    """What a new row says beside its name, where its name alone says little."""
    if file not in ("links.csv", "reveals.csv", RULES_NAME):
        return ""
    others = [column for column in ALL_COLUMNS[file] if column not in KEYS[file] and cells[column]]
    told = [f"{_short(column)} {_short(cells[column])}" for column in others]
    return f" ({', '.join(told)})"


def _told(column: str, old: str, new: str, before: Frames, after: Frames) -> str:
    if column in CODES_IN:
        old, new = (names_of(frames, CODES_IN[column]).get(x, x) for frames, x in ((before, old), (after, new)))
    name = column.replace("_", " ")
    return (
        f"{name} from {_short(old)} to {_short(new)}"
        if max(len(old), len(new)) <= _LONGEST_CELL
        else f"{name} reworded"
    )


def _short(text: str) -> str:
    return text.replace("_", " ") if text else "blank"
