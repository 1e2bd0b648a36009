"""Files that hold who may enter: readable by their owner only, replaced as a whole."""

import json
import os
import stat
from pathlib import Path
from typing import Any

from analytics.errors import InputError
from pipelines.settings import Settings

OWNER_ONLY = 0o600
OWNER_ONLY_FOLDER = 0o700


def access_folder(settings: Settings) -> Path:
    """Where hashes of tokens and pass phrases lie, inside the shop's data folder."""
    return settings.data_folder / "access"


def read_private(path: Path) -> list[dict[str, Any]]:
    """Entries of the file; [] while there is none.

    Raises
    ------
    InputError
        When the file is damaged, or other accounts of this machine may read it.
    """
    if not path.exists():
        return []
    refuse_open_file(path)
    try:
        entries = json.loads(path.read_text(encoding="utf-8"))
    except (OSError, ValueError) as error:
        raise InputError(f"'{path.name}' cannot be read. Delete it and set up access again.") from error
    if not isinstance(entries, list) or not all(isinstance(entry, dict) for entry in entries):
        raise InputError(f"'{path.name}' is not what faultodds wrote. Delete it and set up access again.")
    return entries


def write_private(path: Path, entries: list[dict[str, Any]]) -> None:
    """Writes the entries as JSON, for their owner only; InputError when the folder cannot be written."""
    write_owner_only(path, json.dumps(entries, ensure_ascii=False, indent=1))


def write_owner_only(path: Path, content: str) -> None:
    """Writes the text beside the file with mode 0600, then puts it in its place.

    Raises
    ------
    InputError
        When the folder cannot be written.
    """
    aside = path.with_name(f".{path.name}.{os.getpid()}")
    try:
        path.parent.mkdir(mode=OWNER_ONLY_FOLDER, parents=True, exist_ok=True)
        # the mode is given at creation: there is no moment in which others may read it
        handle = os.open(aside, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, OWNER_ONLY)
        with os.fdopen(handle, "w", encoding="utf-8") as text:
            text.write(content)
        aside.replace(path)
    except OSError as error:
        raise InputError(f"'{path.name}' cannot be written ({error.strerror}). Choose another data folder.") from error
    finally:
        aside.unlink(missing_ok=True)


def refuse_open_file(path: Path) -> None:
    """InputError when other accounts of this machine may read the file."""
    # Windows keeps no such bits; there the folder of the account protects the file.
    if os.name == "posix" and stat.S_IMODE(path.stat().st_mode) & 0o077:
        raise InputError(
            f"'{path.name}' can be read by other accounts of this machine. Run `chmod 600` on it, then try again."
        )
