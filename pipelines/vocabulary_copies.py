"""Dated copies of the shop's vocabulary, and the swap: at every moment, crash or not, one whole folder is read."""

import fcntl
import os
import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, datetime, timedelta
from pathlib import Path

from analytics.errors import InputError
from pipelines.catalogue import read_vocabulary
from pipelines.settings import COPIES, NEXT, OWN, Settings

# What is being written; it counts for nothing until it is whole.
WRITING = ".vocabulary_writing"
STAMP = "%Y-%m-%dT%H%M%SZ"
LOCK_FILE = "vocabulary.lock"


@contextmanager
def swapping(settings: Settings) -> Iterator[Path]:
    """An empty folder to write the next vocabulary into; what an earlier crash left half done is put right first.

    Raises
    ------
    InputError
        When another window or command is saving at this moment, or the data folder cannot be written.
    """
    with _folder_in_words(settings), _alone(settings):
        finish_swap(settings.data_folder)
        aside = settings.data_folder / WRITING
        aside.mkdir()
        try:
            yield aside
        finally:
            finish_swap(settings.data_folder)


def swap_in(settings: Settings, now: datetime) -> str:
    """What was written aside becomes the vocabulary; the one before keeps the date that is returned.

    `vocabulary_folder` finds a whole one between any two of these steps: the old one until the last, then the new one.
    """
    data_folder, stamp = settings.data_folder, _free_stamp(settings, now)
    own, aside, kept = data_folder / OWN, data_folder / NEXT, data_folder / COPIES / stamp
    for path in (data_folder / WRITING).rglob("*"):
        _flush(path)
    kept.parent.mkdir(exist_ok=True)
    if not own.is_dir():
        # the seeded vocabulary: it stays where it is, and its copy can be gone back to
        copy = kept.with_name(f".{stamp}")
        shutil.copytree(settings.vocabulary_folder, copy, dirs_exist_ok=True)
        copy.rename(kept)
    (data_folder / WRITING).rename(aside)
    if own.is_dir():
        own.rename(kept)
    aside.rename(own)
    _flush(data_folder)
    return stamp


def finish_swap(data_folder: Path) -> None:
    """After a swap that ended half way: the vocabulary that is being read takes its place again."""
    own, aside = data_folder / OWN, data_folder / NEXT
    kept = list_stamps(data_folder)
    if aside.is_dir() and not own.is_dir() and kept:
        (data_folder / COPIES / kept[0]).rename(own)
    for left_over in (aside, data_folder / WRITING):
        shutil.rmtree(left_over, ignore_errors=True)


def list_stamps(data_folder: Path) -> list[str]:
    """Dates of the copies, newest first."""
    folder = data_folder / COPIES
    names = [path.name for path in folder.iterdir() if not path.name.startswith(".")] if folder.is_dir() else []
    return sorted(names, reverse=True)


def copy_folder(settings: Settings, stamp: str) -> Path:
    """Where a dated copy lies; InputError when there is none of that date."""
    if stamp not in list_stamps(settings.data_folder):
        raise InputError(f"There is no copy of {stamp}. Choose one from the list.")
    return settings.data_folder / COPIES / stamp


def newest_good_copy(settings: Settings) -> str:
    """Date of the newest copy that can be read; "" when there is none."""
    return next((stamp for stamp in list_stamps(settings.data_folder) if _holds(copy_folder(settings, stamp))), "")


def moment_of(stamp: str) -> datetime:
    """The instant of a copy, UTC."""
    return datetime.strptime(stamp, STAMP).replace(tzinfo=UTC)


def _holds(folder: Path) -> bool:
    try:
        read_vocabulary(folder)
    except InputError:
        return False
    return True


def _free_stamp(settings: Settings, now: datetime) -> str:
    """A later date than any copy has, whatever the clock says: the newest is what was replaced last."""
    kept = list_stamps(settings.data_folder)
    earliest = moment_of(kept[0]) + timedelta(seconds=1) if kept else now
    return max(now, earliest).strftime(STAMP)


@contextmanager
def _alone(settings: Settings) -> Iterator[None]:
    settings.data_folder.mkdir(parents=True, exist_ok=True)
    number = os.open(settings.data_folder / LOCK_FILE, os.O_RDWR | os.O_CREAT, 0o644)
    try:
        try:
            fcntl.flock(number, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError:
            raise InputError("Another window is saving the vocabulary just now. Wait a moment and try again.") from None
        yield
    finally:
        os.close(number)


@contextmanager
def _folder_in_words(settings: Settings) -> Iterator[None]:
    try:
        yield
    except OSError as error:
        raise InputError(
            f"The vocabulary could not be saved in '{settings.data_folder.name}' ({error.strerror}). Nothing was "
            "changed. Free some space, or make the folder writable, and save again."
        ) from error


def _flush(path: Path) -> None:
    """To the disk: a rename that survives a power cut must not name a file that did not."""
    number = os.open(path, os.O_RDONLY)
    try:
        os.fsync(number)
    finally:
        os.close(number)
