"""Verbs that show: serve the dashboard, and the whole demo in one go."""

import shutil
import time

import click

from analytics.case import Case
from analytics.errors import InputError
from pipelines.cli_history import ingest_files
from pipelines.cli_suspects import show_case
from pipelines.dashboard_server import run_dashboard
from pipelines.invented import demo_files
from pipelines.posteriors import has_published_fit
from pipelines.progress import progress_bar
from pipelines.serving import LOOPBACK, Place
from pipelines.settings import Settings

DEFAULT_PORT = 8765
DEMO_CASE = Case(symptom="place_found_no_action", family="crane_grab", shop="Saltmarsh Pier", age_years=58)


@click.command()
@click.option("--port", type=click.IntRange(1024, 65535), default=DEFAULT_PORT, show_default=True)
@click.option("--address", default=LOOPBACK, show_default=True, help="Address to listen on; 0.0.0.0 for all.")
@click.option("--host-name", multiple=True, help="A name under which others reach this machine; may be repeated.")
@click.option("--certificate", type=click.Path(dir_okay=False), help="Certificate file, to serve encrypted.")
@click.option("--key", type=click.Path(dir_okay=False), help="Key file of the certificate.")
@click.pass_obj
def serve(
    settings: Settings, port: int, address: str, host_name: tuple[str, ...], certificate: str | None, key: str | None
) -> None:
    """Serve the dashboard, on this machine only unless --address says otherwise (stop it with Ctrl-C).

    Beyond this machine it takes a sign-in: `faultodds access passphrase --role lead`.
    """
    run_dashboard(settings, Place(address, port, host_name, certificate, key))


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
        run_dashboard(place, Place(LOOPBACK, port))


def fit_demo(place: Settings) -> None:
    """Fits the demo store, with a bar."""
    from pipelines.refits import refit

    with progress_bar("Fitting the model") as advance:
        report = refit(place, progress=advance)
    click.echo("\n".join(report.sentences()), err=True)
    if not report.is_published:
        raise InputError("The demo fit did not hold. Run `faultodds demo` again.")
