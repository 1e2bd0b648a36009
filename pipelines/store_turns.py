"""Whose turn it is to open the store: one asks for it at a time, so that no writer is overtaken for ever by readers."""

import fcntl
import os
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path


@contextmanager
def taking_turns(path: Path, deadline: float) -> Iterator[None]:
    """Waits for the turn, up to `deadline` (monotonic), and holds it for one with-block: while the store is opened.

    Who has the turn waits for those who have the store open, and nobody can come in before it. The turn is a lock on a
    file of no content beside the store; it goes with its process. Where no such file can be made, there are no turns.
    """
    try:
        number = os.open(path.with_name(f"{path.name}.turn"), os.O_RDWR | os.O_CREAT, 0o644)
    except OSError:
        yield
        return
    over = threading.Event()
    try:
        _wait_in_line(number, over, deadline)
        yield
    finally:
        over.set()


def _wait_in_line(number: int, over: threading.Event, deadline: float) -> None:
    """Returns when the lock is taken, or at the deadline. The file is closed, and so the turn given back, after `over`.

    The system keeps the line in the order of coming, but only for those who wait without a limit of time. So a thread
    waits, and one that comes too late gives the turn back at once.
    """
    taken = threading.Event()

    def wait() -> None:
        try:
            fcntl.flock(number, fcntl.LOCK_EX)
            taken.set()
            over.wait()
        except OSError:
            taken.set()  # a disk that knows no locks has no turns
        finally:
            os.close(number)

    threading.Thread(target=wait, daemon=True).start()
    taken.wait(max(0.0, deadline - time.monotonic()))
