"""What of a data folder belongs in a backup, and the manifest by which damage shows."""

import hashlib
import json
import os
import shutil
from collections.abc import Iterator, Mapping
from dataclasses import asdict, dataclass
from datetime import datetime
from pathlib import Path, PurePosixPath
from typing import Any

from analytics.errors import InputError
from pipelines.access_files import access_folder
from pipelines.backtest_files import FILE_NAME as BACKTEST_NAME
from pipelines.invented import MARK
from pipelines.machines_kept import NAME as MACHINES_NAME
from pipelines.proof_files import PROOF_NAME
from pipelines.settings import COPIES, OWN, Settings
from pipelines.shelf_files import PARTS_NAME
from pipelines.signatures import KEY_FOLDER
from pipelines.store import newest_version

MANIFEST_NAME, LAYOUT = "backup.json", 1
COLUMN_MAPS = "column_maps"
FOLDERS = ("posteriors", OWN, COPIES, COLUMN_MAPS)
SINGLE_FILES = (PARTS_NAME, MACHINES_NAME, PROOF_NAME, BACKTEST_NAME, MARK)
_BLOCK = 1 << 20


@dataclass(frozen=True)
class Manifest:
    """layout of the backup, moment (ISO, UTC), store_version, data_version, counts (thing -> rows), files
    (path with / -> sha256).
    """

    layout: int
    made_at: str
    program: str
    store_version: int
    data_version: str
    counts: Mapping[str, int]
    files: Mapping[str, str]


def files_beside_store(settings: Settings) -> Iterator[Path]:
    """Every file that belongs in a backup beside the store, in `settings.data_folder`; no secrets, no passing files."""
    folder = settings.data_folder
    for name in FOLDERS:
        for path in sorted((folder / name).rglob("*")):
            inside = path.relative_to(folder).parts
            if path.is_file() and not path.is_symlink() and not any(part.startswith(".") for part in inside):
                yield path
    yield from (folder / name for name in SINGLE_FILES if (folder / name).is_file())


def secrets_left_out(settings: Settings) -> tuple[str, ...]:
    """Names of the folders with secrets that are there and do not go into a backup."""
    folders = (access_folder(settings), settings.data_folder / KEY_FOLDER)
    return tuple(folder.name for folder in folders if folder.is_dir())


def copy_whole(source: Path, target: Path) -> str:
    """Copies one file, made sure to be on the disk, and gives the checksum of what was written."""
    target.parent.mkdir(parents=True, exist_ok=True)
    shutil.copyfile(source, target)
    flush(target)
    return checksum(target)


def checksum(path: Path) -> str:
    """sha256 of a file. Never of the store itself: closing the file would drop its lock."""
    total = hashlib.sha256()
    with path.open("rb") as file:
        while block := file.read(_BLOCK):
            total.update(block)
    return total.hexdigest()


def flush(path: Path) -> None:
    """To the disk, a file or the names in a folder."""
    number = os.open(path, os.O_RDONLY)
    try:
        os.fsync(number)
    finally:
        os.close(number)


def write_manifest(folder: Path, manifest: Manifest) -> None:
    """The last file of a backup: a folder without it is not one."""
    path = folder / MANIFEST_NAME
    path.write_text(json.dumps(asdict(manifest), indent=1, ensure_ascii=False) + "\n", encoding="utf-8")
    flush(path)


def read_manifest(folder: Path) -> Manifest:
    """The manifest of a backup that is whole: every file is there and has its checksum.

    Raises
    ------
    InputError
        When the folder is no backup, comes from a newer faultodds, or a file is missing or damaged.
    """
    manifest = _parse(folder)
    if manifest.layout > LAYOUT or manifest.store_version > newest_version():
        raise InputError(f"The backup '{folder.name}' was written by a newer faultodds. Update it, then restore again.")
    for name, expected in manifest.files.items():
        path = folder / name
        if not _is_inside(name) or path.is_symlink() or not path.is_file():
            raise InputError(f"The backup '{folder.name}' is not whole: '{name}' is missing. {_UNCHANGED}")
        if checksum(path) != expected:
            raise InputError(f"The backup '{folder.name}' is damaged: '{name}' is not as it was written. {_UNCHANGED}")
    return manifest


_UNCHANGED = "Nothing was changed. Restore an earlier backup."


def _parse(folder: Path) -> Manifest:
    try:
        told: dict[str, Any] = json.loads((folder / MANIFEST_NAME).read_text(encoding="utf-8"))
        found = Manifest(**told)
        if not all(isinstance(part, dict) for part in (found.files, found.counts)):
            raise TypeError
        datetime.fromisoformat(found.made_at)
        return Manifest(**{**told, "layout": int(found.layout), "store_version": int(found.store_version)})
    except FileNotFoundError:
        raise InputError(
            f"'{folder.name}' is no backup of faultodds: there is no whole {MANIFEST_NAME} in it. Give the dated "
            "folder that `faultodds backup` named."
        ) from None
    except (OSError, ValueError, TypeError) as error:
        raise InputError(
            f"The backup '{folder.name}' is damaged: its {MANIFEST_NAME} is unreadable. {_UNCHANGED}"
        ) from error


def _is_inside(name: str) -> bool:
    path = PurePosixPath(name)
    return not path.is_absolute() and ".." not in path.parts
