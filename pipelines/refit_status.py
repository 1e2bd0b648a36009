"""How the refit in the background stands: one small file beside the store, and a lock that dies with its process."""

import fcntl
import json
import os
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import asdict, dataclass, replace
from pathlib import Path
from uuid import uuid4

from pipelines.settings import Settings

STATUS_FILE, LOCK_FILE, LOG_FILE = "refit_status.json", "refit.lock", "refit.log"
_DIED = (
    "The fit ended before it was done; perhaps the computer was switched off or ran out of memory. Nothing is lost: "
    "the last good fit goes on being served. Start it again."
)


@dataclass(frozen=True)
class RefitStatus:
    """One refit: `share` done (0 to 1); `sentences` when it is over, good or bad; `data_version` of its tickets.

    `is_running` and `is_published` exclude each other; a refit that is neither has failed, or its diagnostics have.
    """

    is_running: bool
    is_published: bool
    share: float
    sentences: tuple[str, ...]
    data_version: str
    started_at: str


def read_refit_status(settings: Settings) -> RefitStatus | None:
    """The refit that runs or ran last; None when there was none. A job that died without a word is told as such."""
    path = settings.data_folder / STATUS_FILE
    if not path.exists():
        return None
    status = _read(path)
    if status.is_running and not is_refit_running(settings):
        # it may have finished between the two looks
        status = _read(path)
        if status.is_running:
            return replace(status, is_running=False, sentences=(_DIED,))
    return status


def write_refit_status(settings: Settings, status: RefitStatus) -> None:
    """Replaces the file in one step, so that no reader meets half of it."""
    path = settings.data_folder / STATUS_FILE
    aside = path.with_name(f".{uuid4().hex}.json")
    try:
        aside.write_text(json.dumps(asdict(status), ensure_ascii=False), encoding="utf-8")
        aside.replace(path)
    finally:
        aside.unlink(missing_ok=True)


def is_refit_running(settings: Settings) -> bool:
    """Whether a process holds the lock."""
    with refit_lock(settings) as lock:
        return lock is None


@contextmanager
def refit_lock(settings: Settings) -> Iterator[int | None]:
    """The file number of the lock, or None while another process refits.

    The lock belongs to the open file: a child that inherits the number keeps it until it ends, however it ends. So
    there is no stale lock to clear away and no process id to mistake for another's.
    """
    settings.data_folder.mkdir(parents=True, exist_ok=True)
    number = os.open(settings.data_folder / LOCK_FILE, os.O_RDWR | os.O_CREAT, 0o644)
    try:
        yield number if _take(number) else None
    finally:
        os.close(number)


def log_path(settings: Settings) -> Path:
    """What the last refit printed, for whoever has to find out why it failed."""
    return settings.data_folder / LOG_FILE


def _read(path: Path) -> RefitStatus:
    facts = json.loads(path.read_text(encoding="utf-8"))
    return RefitStatus(**{**facts, "sentences": tuple(facts["sentences"])})


def _take(number: int) -> bool:
    try:
        fcntl.flock(number, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except BlockingIOError:
        return False
    return True
