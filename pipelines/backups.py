"""A dated copy of everything a shop would miss: store, fits, vocabulary and tables."""

import shutil
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from datetime import UTC, datetime
from importlib.metadata import version
from pathlib import Path
from uuid import uuid4

from analytics.errors import InputError
from pipelines.backup_files import (
    FOLDERS,
    LAYOUT,
    Manifest,
    checksum,
    copy_whole,
    files_beside_store,
    flush,
    secrets_left_out,
    write_manifest,
)
from pipelines.settings import Settings
from pipelines.store import copy_store, data_version, newest_version, reading, run_query
from pipelines.vocabulary_copies import swapping
from pipelines.wording import counted

STAMP = "%Y-%m-%dT%H%M%SZ"


def make_backup(settings: Settings, folder: Path, now: datetime) -> tuple[Path, tuple[str, ...]]:
    """Writes a new dated folder inside `folder`; gives it, and sentences that say what is in it and what is not.

    Written under another name and renamed when whole: what is there under its date is a backup.

    Raises
    ------
    InputError
        When there is no store, the folder lies where it would be backed up itself, cannot be written, or is full.
    """
    if not settings.store_path.exists():
        raise InputError(f"There is no store in '{settings.data_folder.name}', so there is nothing to back up.")
    for name in FOLDERS:
        if folder.resolve().is_relative_to((settings.data_folder / name).resolve()):
            raise InputError(f"'{folder.name}' is itself part of the backup ({name}). Choose a folder elsewhere.")
    aside = folder / f".{uuid4().hex}"
    with in_words(folder):
        aside.mkdir(parents=True)
        try:
            manifest = _fill(settings, aside, now)
            target = _free_name(folder, now)
            aside.rename(target)
            flush(folder)
        finally:
            shutil.rmtree(aside, ignore_errors=True)
    return target, _sentences(settings, target, manifest)


@contextmanager
def in_words(folder: Path) -> Iterator[None]:
    """What the system refuses becomes a sentence."""
    try:
        yield
    except OSError as error:
        raise InputError(
            f"'{folder.name}' could not be written or read ({error.strerror}). Nothing that was there is lost. Free "
            "some space, or choose a folder you may write to, and do it again."
        ) from error


def count_store(path: Path) -> tuple[Mapping[str, int], str]:
    """How many of each thing the store holds, and its data version."""
    with reading(path) as con:
        found = run_query(con, "count_store")
        return dict(zip(found["thing"], map(int, found["row_count"]), strict=True)), data_version(con)


def _fill(settings: Settings, aside: Path, now: datetime) -> Manifest:
    """The store first: a fit's file is written before its row, so every fit in the copy finds its file afterwards."""
    store = aside / settings.store_path.name
    copy_store(settings.store_path, store)
    counts, tickets = count_store(store)
    flush(store)
    files = {store.name: checksum(store)}
    with swapping(settings):  # nobody saves the vocabulary meanwhile
        for path in files_beside_store(settings):
            name = path.relative_to(settings.data_folder)
            files[name.as_posix()] = copy_whole(path, aside / name)
    moment = now.astimezone(UTC).isoformat(timespec="seconds")
    manifest = Manifest(LAYOUT, moment, version("faultodds"), newest_version(), tickets, counts, files)
    write_manifest(aside, manifest)
    return manifest


def _free_name(folder: Path, now: datetime) -> Path:
    """The date, with a number behind it when there is a backup of that second."""
    stamp = now.astimezone(UTC).strftime(STAMP)
    names = (folder / name for name in (stamp, *(f"{stamp}-{at}" for at in range(2, 1_000))))
    return next(path for path in names if not path.exists())


def _sentences(settings: Settings, target: Path, manifest: Manifest) -> tuple[str, ...]:
    counts = manifest.counts
    said = (
        f"Backup {target.name}: {counted(counts['tickets'], 'ticket')}, {counted(counts['fits'], 'fit')}, "
        f"{counted(counts['bench_sessions'], 'bench session')}, {counted(len(manifest.files), 'file')}, each with its "
        "checksum.",
        f"To put it back: `faultodds restore {target}`.",
    )
    secrets = secrets_left_out(settings)
    if not secrets:
        return said
    return (*said, f"Left out, because they hold secrets: {' and '.join(secrets)}. Keep a copy of them where only you "
                   "can read it, or set up access anew after a restore.")  # fmt: skip
