"""Refits in a process of their own: nobody waits for a fit, and a fit that crashes takes nobody along."""

import os
import subprocess
import sys
import threading
from datetime import UTC, datetime
from pathlib import Path

from analytics.errors import InputError
from analytics.vocabulary import Vocabulary
from pipelines.live import load_live
from pipelines.refit_status import RefitStatus, log_path, read_refit_status, refit_lock, write_refit_status
from pipelines.settings import DATA_VARIABLE, Settings
from pipelines.store import data_version, last_ticket_order, reading


def start_background_refit(settings: Settings) -> bool:
    """Starts `python -m pipelines.refit_job`, unless a refit runs already; whether it was started.

    Follow it with `refit_status.read_refit_status`. The job inherits the lock, so there are never two.
    """
    with refit_lock(settings) as lock:
        if lock is None:
            return False
        write_refit_status(settings, _just_started(settings))
        with log_path(settings).open("wb") as log:
            job = subprocess.Popen(
                [sys.executable, "-m", "pipelines.refit_job"],
                cwd=Path(__file__).resolve().parents[1],
                env={**os.environ, DATA_VARIABLE: str(settings.data_folder.resolve())},
                stdin=subprocess.DEVNULL,
                stdout=log,
                stderr=subprocess.STDOUT,
                pass_fds=(lock,),
                start_new_session=True,
            )
    # somebody has to take note of its end, or the system keeps its remains
    threading.Thread(target=job.wait, daemon=True).start()
    return True


def refit_if_due(settings: Settings, vocabulary: Vocabulary) -> bool:
    """Starts a refit when there is none yet or the tickets since have used up the last one; whether it was started.

    The same tickets are not fitted twice: if their fit failed, the next ticket is the next chance.
    """
    with reading(settings.store_path) as con:
        version, tickets = data_version(con), last_ticket_order(con)
    before = read_refit_status(settings)
    if tickets == 0 or (before is not None and before.data_version == version):
        return False
    try:
        is_due = load_live(settings, vocabulary).is_spent
    except InputError:
        is_due = True  # nothing is fitted yet, or the draws are missing
    return is_due and start_background_refit(settings)


def _just_started(settings: Settings) -> RefitStatus:
    with reading(settings.store_path) as con:
        version = data_version(con)
    return RefitStatus(
        is_running=True,
        is_published=False,
        share=0.0,
        sentences=(),
        data_version=version,
        started_at=datetime.now(UTC).isoformat(timespec="seconds"),
    )
