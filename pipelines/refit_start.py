"""Refits in a process of their own: nobody waits for a fit, and a fit that crashes takes nobody along."""

import os
import subprocess
import sys
import threading
from datetime import UTC, datetime
from pathlib import Path

from pipelines.refit_status import RefitStatus, log_path, read_refit_status, refit_lock, write_refit_status
from pipelines.settings import DATA_VARIABLE, Settings
from pipelines.store import data_version, reading


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


def refit_unless_tried(settings: Settings) -> bool:
    """Starts a refit, but not of the same tickets twice: if their fit failed, the next ticket is the next chance."""
    with reading(settings.store_path) as con:
        version = data_version(con)
    before = read_refit_status(settings)
    return (before is None or before.data_version != version) and start_background_refit(settings)


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
