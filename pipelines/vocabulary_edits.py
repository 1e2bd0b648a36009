"""Edited tables -> what is wrong with them, what they change, the saved vocabulary; a save can be taken back."""

import shutil
import tempfile
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

import pandas as pd

from analytics.errors import InputError
from pipelines.catalogue import read_vocabulary
from pipelines.catalogue_rules import find_contradictions
from pipelines.prior_sources import RULES_NAME
from pipelines.rules import read_rules
from pipelines.settings import Settings
from pipelines.store import reading, run_query
from pipelines.vocabulary_copies import copy_folder, swap_in, swapping
from pipelines.vocabulary_frames import ALL_COLUMNS, Frames, hash_folder, open_vocabulary, tables_of, tidy, write_frames
from pipelines.vocabulary_words import TITLES, Change, find_changes, names_of, say_problem
from pipelines.wording import counted, listed

# Field of a stored ticket -> the table of its codes.
_STORED_FIELDS = {"family": "families.csv", "symptom": "symptoms.csv", "suspect": "suspects.csv", "check": "checks.csv"}
# What an event of an open session can be about.
_BENCH_FILES = ("access_groups.csv", *_STORED_FIELDS.values())
_LINE = "line "
CHANGED_MEANWHILE = (
    "Somebody else saved the vocabulary since you opened it, so yours was not saved over it. Note down your changes, "
    "open the page anew and make them again."
)


@dataclass(frozen=True)
class Look:
    """What saving would do: `refusals` forbid it, `cautions` do not."""

    refusals: tuple[str, ...]
    changes: tuple[Change, ...]
    cautions: tuple[str, ...]

    @property
    def may_be_saved(self) -> bool:
        """Whether there is something to save, and nothing wrong with it."""
        return bool(self.changes) and not self.refusals


def look_at_edit(settings: Settings, before: Frames, edited: Frames) -> Look:
    """What is wrong with edited tables, and what they change."""
    after = tidy_all(edited)
    changes = find_changes(before, after)
    refusals = [say_problem(problem, after) for problem in find_contradictions(tables_of(after))]
    refusals += _codes_still_used(settings, before, changes)
    refusals = refusals or _refused_rules(after)
    return Look(tuple(refusals), changes, tuple(_links_still_used(settings, before, changes)))


def save_edit(settings: Settings, edited: Frames, *, opened_hash: str, now: datetime) -> str:
    """Make the edited tables the shop's vocabulary; the date of the copy that keeps the one before.

    Parameters
    ----------
    opened_hash : `OpenedVocabulary.folder_hash` of what was edited
    now : the present instant, UTC

    Raises
    ------
    InputError
        When the tables contradict themselves, a code that tickets use is gone, nothing changed, or somebody else has
        saved meanwhile. Nothing is changed then.
    """
    after = tidy_all(edited)
    with swapping(settings) as aside:
        present = settings.vocabulary_folder
        if hash_folder(present) != opened_hash:
            raise InputError(CHANGED_MEANWHILE)
        look = look_at_edit(settings, open_vocabulary(present).frames, after)
        if look.refusals:
            raise InputError("\n".join(look.refusals))
        if not look.changes:
            raise InputError("Nothing was changed, so there is nothing to save.")
        _copy_other_files(present, aside)
        write_frames(after, aside)
        _read_back(aside)
        return swap_in(settings, now)


def restore_copy(settings: Settings, stamp: str, *, now: datetime) -> str:
    """Make a dated copy the vocabulary again, as `save_edit` would; the present one is kept under the date returned.

    Raises
    ------
    InputError
        When the copy cannot be read, or lacks a code that stored tickets use.
    """
    with swapping(settings) as aside:
        folder = copy_folder(settings, stamp)
        shutil.copytree(folder, aside, dirs_exist_ok=True)
        _read_back(aside)
        _refuse_lost_codes(settings, open_vocabulary(aside).frames)
        return swap_in(settings, now)


def tidy_all(edited: Frames) -> dict[str, pd.DataFrame]:
    """Every table as its file would give it back."""
    return {file: tidy(edited[file], file) for file in ALL_COLUMNS}


def _copy_other_files(present: Path, aside: Path) -> None:
    """What else somebody keeps beside the tables stays beside them."""
    for path in present.iterdir():
        if path.name not in ALL_COLUMNS and not path.name.startswith("."):
            (shutil.copytree if path.is_dir() else shutil.copy2)(path, aside / path.name)


def _read_back(folder: Path) -> None:
    vocabulary = read_vocabulary(folder)
    if (folder / RULES_NAME).exists():
        read_rules(folder / RULES_NAME, vocabulary)


def _refused_rules(after: Frames) -> list[str]:
    """What `read_rules` refuses, in the words of the page; needs tables without contradictions."""
    if after[RULES_NAME].empty:
        return []
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        write_frames(after, folder)
        try:
            _read_back(folder)
        except InputError as error:
            return [_say_rule_line(line) for line in str(error).splitlines()]
    return []


def _say_rule_line(told: str) -> str:
    """ "rules.csv, line 3: reason" with the row's number; the header is line 1."""
    place, _, reason = told.partition(": ")
    _, _, line = place.partition(_LINE)
    if not line.isdigit():
        return f"{TITLES[RULES_NAME]}: {told}"
    before, _, other = reason.partition(f"already in {_LINE}")
    if other:
        number, dot, rest = other.partition(".")
        reason = f"{before}already in row {int(number) - 1}{dot}{rest}"
    return f"{TITLES[RULES_NAME]}, row {int(line) - 1}: {reason}"


def _codes_still_used(settings: Settings, before: Frames, changes: tuple[Change, ...]) -> Iterator[str]:
    """Codes that an edit takes out although tickets or open sessions have them."""
    gone = {(change.file, change.key[0]) for change in changes if change.kind == "removed"}
    if not gone or not settings.store_path.exists():
        return
    with reading(settings.store_path) as con:
        used = run_query(con, "codes_in_use")
    for row in used.itertuples():
        for file in [_STORED_FIELDS[row.field]] if row.field in _STORED_FIELDS else _BENCH_FILES:
            if (file, row.code) in gone:
                yield _still_used(file, row.code, before, tickets=int(row.tickets), sessions=int(row.sessions))


def _still_used(file: str, code: str, before: Frames, *, tickets: int, sessions: int) -> str:
    name = names_of(before, file).get(code, code)
    users = [counted(tickets, "stored ticket")] if tickets else []
    users += [counted(sessions, "open session") + " on the bench"] if sessions else []
    verb = "uses" if tickets + sessions == 1 else "use"
    return (
        f"{TITLES[file]}: '{name}' ({code}) cannot be taken out, because {listed(users)} {verb} it. Put the row back; "
        "its name may change, its code may not."
    )


def _links_still_used(settings: Settings, before: Frames, changes: tuple[Change, ...]) -> Iterator[str]:
    """Links taken out although tickets ended so; their suspect stays known, so this forbids nothing."""
    gone = {change.key for change in changes if change.file == "links.csv" and change.kind == "removed"}
    if not gone or not settings.store_path.exists():
        return
    with reading(settings.store_path) as con:
        used = run_query(con, "links_in_use")
    symptoms, suspects = names_of(before, "symptoms.csv"), names_of(before, "suspects.csv")
    for row in used.itertuples():
        if (row.symptom, row.suspect) in gone:
            tickets = counted(int(row.tickets), "stored ticket")
            pair = f"'{symptoms.get(row.symptom)}' ended with '{suspects.get(row.suspect)}'"
            yield f"{tickets} of {pair}. Without this link the next fit counts them as something else."


def _refuse_lost_codes(settings: Settings, restored: Frames) -> None:
    present = settings.vocabulary_folder
    try:
        before = open_vocabulary(present).frames
    except InputError:
        before = None  # broken: what it knew cannot be told, and any readable copy is better
    refused = list(_codes_still_used(settings, before, find_changes(before, restored))) if before else []
    if refused:
        raise InputError("\n".join(["This copy cannot come back as it is:", *refused]))
