"""The process behind `refit_start.start_background_refit`: fits, keeps the status file up to date, and ends."""

import os
import sys
import time
import traceback
from collections.abc import Callable
from dataclasses import replace

from analytics.errors import InputError
from pipelines.carried_refits import carry_last_fit
from pipelines.fit_question import FitReport
from pipelines.refit_status import RefitStatus, read_refit_status, write_refit_status
from pipelines.settings import Settings, read_settings

SECONDS_BETWEEN_REPORTS = 0.5
_FAILED = "The fit failed by an error of the program ({error}). The last good fit goes on being served. Details: {log}."


def main() -> int:
    """0 published or not published, 1 failed. The lock is inherited and goes with this process."""
    settings = read_settings()
    started = read_refit_status(settings)
    if started is None or not started.is_running:
        print("Start a refit from the program or with `faultodds fit`, not by hand.", file=sys.stderr)
        return 1
    try:
        report = _fit(settings, _reporter(settings, started))
    except InputError as error:
        return _end(settings, started, sentences=(str(error),))
    except Exception as error:
        traceback.print_exc()
        sentence = _FAILED.format(error=type(error).__name__, log="refit.log in the data folder")
        return _end(settings, started, sentences=(sentence,))
    done = replace(started, is_running=False, is_published=report.is_published, share=1.0, sentences=report.sentences())
    write_refit_status(settings, done)
    return 0


def _fit(settings: Settings, report: Callable[[float], None]) -> FitReport:
    """Seconds where the last fit can be carried on, else a full fit, whose imports alone take seconds."""
    carried = carry_last_fit(settings, progress=report)
    if carried is not None:
        return carried
    from pipelines.refits import refit

    return refit(settings, progress=report)


def _reporter(settings: Settings, started: RefitStatus) -> Callable[[float], None]:
    """Writes the share done, at most twice a second."""
    due = time.monotonic()

    def report(share: float) -> None:
        nonlocal due
        if time.monotonic() >= due:
            write_refit_status(settings, replace(started, share=share))
            due = time.monotonic() + SECONDS_BETWEEN_REPORTS

    return report


def _end(settings: Settings, started: RefitStatus, *, sentences: tuple[str, ...]) -> int:
    write_refit_status(settings, replace(started, is_running=False, sentences=sentences))
    return 1


if __name__ == "__main__":
    code = main()
    sys.stdout.flush()
    sys.stderr.flush()
    # after a failed start the sampler crashes while the interpreter winds down: leave at once
    os._exit(code)
