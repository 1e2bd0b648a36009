"""Verbs that show: serve the dashboard, and the whole demo in one go."""

import csv
import os
import shutil
import subprocess
import sys
import time
from pathlib import Path

import click

from analytics.case import Case
from analytics.errors import InputError
from pipelines.cli_history import ingest_files
from pipelines.cli_suspects import show_case
from pipelines.posteriors import has_published_fit
from pipelines.progress import progress_bar
from pipelines.settings import DATA_VARIABLE, Settings, seed_folder

DEFAULT_PORT = 8765
DEMO_CASE = Case(symptom="place_found_no_action", family="crane_grab", shop="Saltmarsh Pier", age_years=58)


@click.command()
@click.option("--port", type=click.IntRange(1024, 65535), default=DEFAULT_PORT, show_default=True)
@click.pass_obj
def serve(settings: Settings, port: int) -> None:
    """Serve the dashboard on this machine only (stop it with Ctrl-C)."""
    start_dashboard(settings, port)


@click.command()
@click.option("--port", type=click.IntRange(1024, 65535), default=DEFAULT_PORT, show_default=True)
@click.option("--no-serve", is_flag=True, help="Stop after the answer in the terminal.")
@click.option("--fresh", is_flag=True, help="Throw the demo store away and begin again.")
@click.pass_obj
def demo(settings: Settings, port: int, *, no_serve: bool, fresh: bool) -> None:
    """Ingest the invented demo tickets, fit, show one case, serve the dashboard."""
    place = Settings(settings.data_folder / "demo")
    if fresh and place.data_folder.exists():
        shutil.rmtree(place.data_folder)
    started = time.perf_counter()
    for report in ingest_files(place, demo_files()):
        click.echo(report.sentences()[0], err=True)
    click.echo(f"Tickets are in the store ({time.perf_counter() - started:.0f} s).", err=True)
    if not has_published_fit(place):
        fit_demo(place)
    click.echo()
    click.echo(show_case(place, DEMO_CASE))
    click.echo()
    if not no_serve:
        start_dashboard(place, port)


def demo_files() -> list[tuple[Path, str, Path | None]]:
    """(file, shop, column map) of the six invented workshops."""
    folder = seed_folder() / "demo"
    with (folder / "shops.csv").open(encoding="utf-8", newline="") as text:
        rows = list(csv.DictReader(text))
    return [
        (folder / row["file"], row["shop"], folder / row["column_map"] if row["column_map"] else None) for row in rows
    ]


def fit_demo(place: Settings) -> None:
    """Fits the demo store, with a bar."""
    from pipelines.refits import refit

    with progress_bar("Fitting the model") as advance:
        report = refit(place, progress=advance)
    click.echo("\n".join(report.sentences()), err=True)
    if not report.is_published:
        raise InputError("The demo fit did not hold. Run `faultodds demo` again.")


def start_dashboard(settings: Settings, port: int) -> None:
    """Runs Streamlit on the loopback address until it is stopped."""
    page = Path(__file__).resolve().parents[1] / "dashboards" / "app.py"
    click.echo(f"The dashboard is at http://127.0.0.1:{port} (stop it with Ctrl-C).", err=True)
    command = [sys.executable, "-m", "streamlit", "run", str(page), "--server.port", str(port)]
    command += ["--server.headless", "true", "--server.address", "127.0.0.1"]
    environment = {**os.environ, DATA_VARIABLE: str(settings.data_folder)}
    stopped = subprocess.run(command, env=environment, stdin=subprocess.DEVNULL, check=False)
    if stopped.returncode not in (0, 130, -2):
        raise InputError(f"The dashboard stopped by itself. Is port {port} in use? Try --port {port + 1}.")
