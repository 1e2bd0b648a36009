"""A backup put back: checked first, the present store set aside with its date, one readable store at every moment."""

import os
import shutil
from datetime import UTC, datetime
from pathlib import Path

from analytics.errors import InputError
from pipelines.backup_files import (
    Manifest,
    copy_whole,
    files_beside_store,
    flush,
    read_manifest,
)
from pipelines.backups import count_store, in_words
from pipelines.invented import ASIDE
from pipelines.refit_status import STATUS_FILE, refit_lock
from pipelines.settings import COPIES, OWN, Settings
from pipelines.store import StoreInUseError, reading, writing
from pipelines.vocabulary_copies import swap_in, swapping
from pipelines.wording import counted

# Copies of a backup's files until they are put in place; a crash leaves it, the next restore clears it away.
STAGE = ".restoring"
_SAY_REPLACE = "Say --replace to set it aside (dated, nothing deleted) and put the backup in its place."


def restore_backup(settings: Settings, backup: Path, now: datetime) -> tuple[str, ...]:
    """Puts a backup in place of what is there; sentences that say so.

    What was there goes to a dated folder below `set_aside`. Fits and tables come first, then the vocabulary, then, in
    one rename, the store: a crash leaves the old store or the new one, and restoring once more finishes the work.

    Raises
    ------
    InputError
        When the backup is no backup or damaged, or a fit runs; nothing is changed then.
    """
    manifest = read_manifest(backup)
    with in_words(settings.data_folder), refit_lock(settings) as lock:
        if lock is None:
            raise InputError("A fit runs on the present store. Wait until it is over (about a minute).")
        stage = settings.data_folder / STAGE
        shutil.rmtree(stage, ignore_errors=True)
        try:
            _stage(manifest, backup, stage)
            went = _put_in_place(settings, manifest, Settings(stage), now)
        finally:
            shutil.rmtree(stage, ignore_errors=True)
    counts = manifest.counts
    said = (
        f"Restored the backup of {manifest.made_at[:16].replace('T', ' ')} UTC: {counted(counts['tickets'], 'ticket')}"
    )
    told = f"{said}, {counted(counts['fits'], 'fit')}, {counted(counts['bench_sessions'], 'bench session')}."
    return (told, f"What was there before is in {went}; nothing was deleted.") if went else (told,)


def refuse_overwriting(settings: Settings) -> None:
    """InputError when the present store holds tickets or bench sessions, or cannot be read, so that nobody knows."""
    if not settings.store_path.exists():
        return
    try:
        counts, _ = count_store(settings.store_path)
    except StoreInUseError:
        raise
    except InputError as error:
        raise InputError(f"{error} {_SAY_REPLACE}") from error
    if counts["tickets"] or counts["bench_sessions"]:
        raise InputError(
            f"The store in '{settings.data_folder.name}' holds {counted(counts['tickets'], 'ticket')} and "
            f"{counted(counts['bench_sessions'], 'bench session')}. Nothing was changed. {_SAY_REPLACE}"
        )


def _stage(manifest: Manifest, backup: Path, stage: Path) -> None:
    """A checked copy beside the store, so that the renames that follow stay on one disk and cannot run out of space."""
    for name, expected in manifest.files.items():
        if copy_whole(backup / name, stage / name) != expected:
            raise InputError(f"'{name}' of the backup could not be copied whole. Nothing was changed. Do it again.")
    counts, tickets = count_store(Settings(stage).store_path)
    if tickets != manifest.data_version or any(counts.get(name) != rows for name, rows in manifest.counts.items()):
        raise InputError("The backup's store is not what its list says. Nothing was changed. Use an earlier one.")


def _put_in_place(settings: Settings, manifest: Manifest, staged: Settings, now: datetime) -> Path | None:
    """Gives the folder with what was there before, None where there was nothing."""
    aside = _free_folder(settings, now)
    before = list(files_beside_store(settings))
    for path in before:
        _keep(path, aside / path.relative_to(settings.data_folder))
    for name in manifest.files:
        if Path(name).parts[0] != OWN and name != settings.store_path.name:
            target = settings.data_folder / name
            target.parent.mkdir(parents=True, exist_ok=True)
            (staged.data_folder / name).replace(target)
    _place_vocabulary(settings, staged, now)
    _place_store(settings.store_path, staged.store_path, aside)
    _clear_away(settings, manifest, before)
    return aside if aside.exists() else None


def _place_vocabulary(settings: Settings, staged: Settings, now: datetime) -> None:
    own, restored = settings.data_folder / OWN, staged.data_folder / OWN
    if restored.is_dir():
        with swapping(settings) as next_one:
            shutil.copytree(restored, next_one, dirs_exist_ok=True)
            swap_in(settings, now)
    elif own.is_dir():
        own.rename(staged.data_folder / f"{OWN}_kept_aside")


def _place_store(place: Path, staged: Path, aside: Path) -> None:
    """One rename; the old file gets its second name before, so that neither store is ever without one."""
    try:
        while place.exists():
            with writing(place):
                pass  # closing puts into the file what a crash had left beside it
            with reading(place):  # and nobody writes while the names change
                if not _log(place).exists():
                    _replace(place, staged, aside)
                    return
    except StoreInUseError:
        raise
    except InputError:
        # it cannot be opened, and neither can anybody else open it
        aside.mkdir(parents=True, exist_ok=True)
        if _log(place).exists():
            _log(place).rename(aside / _log(place).name)
    _replace(place, staged, aside)


def _replace(place: Path, staged: Path, aside: Path) -> None:
    if place.exists():
        aside.mkdir(parents=True, exist_ok=True)
        try:
            os.link(place, aside / place.name)
        except OSError:
            place.rename(aside / place.name)  # a disk without second names
    staged.replace(place)
    flush(place.parent)


def _clear_away(settings: Settings, manifest: Manifest, before: list[Path]) -> None:
    """What the backup does not have has been kept aside; the dated copies of older vocabularies may stay."""
    restored = {settings.data_folder / name for name in manifest.files}
    for path in before:
        if path not in restored and path.relative_to(settings.data_folder).parts[0] not in (OWN, COPIES):
            path.unlink(missing_ok=True)
    (settings.data_folder / STATUS_FILE).unlink(missing_ok=True)


def _keep(path: Path, target: Path) -> None:
    target.parent.mkdir(parents=True, exist_ok=True)
    try:
        os.link(path, target)
    except OSError:
        shutil.copyfile(path, target)


def _log(place: Path) -> Path:
    """What DuckDB has not yet put into the file lies here."""
    return place.with_name(f"{place.name}.wal")


def _free_folder(settings: Settings, now: datetime) -> Path:
    stamp = f"{now.astimezone(UTC):%Y-%m-%dT%H%M%S.%fZ}"
    names = (stamp, *(f"{stamp}-{at}" for at in range(2, 1_000)))
    return next(path for path in (settings.data_folder / ASIDE / name for name in names) if not path.exists())
