"""The command `faultodds`. Answers go to standard output, progress to standard error."""

import sys
from collections.abc import Sequence
from pathlib import Path

import click

from analytics.errors import InputError
from pipelines.cli_access import access, token
from pipelines.cli_api import api
from pipelines.cli_backtest import backtest
from pipelines.cli_backup import backup, restore
from pipelines.cli_bench import bench
from pipelines.cli_card import card, discharge
from pipelines.cli_club import bundle, pack, pool
from pipelines.cli_export import export
from pipelines.cli_history import check, ingest, quarantine
from pipelines.cli_model import fit, fits
from pipelines.cli_proof import checks, priors, proof
from pipelines.cli_ready import ready
from pipelines.cli_remote import remote
from pipelines.cli_review import review
from pipelines.cli_serve import demo, serve
from pipelines.cli_shelf import shelf
from pipelines.cli_suspects import suspects
from pipelines.cli_vocabulary import vocabulary
from pipelines.settings import Settings, read_settings


@click.group(context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100})
@click.option(
    "--data",
    type=click.Path(file_okay=False, path_type=Path),
    help="Folder with this shop's store, fits and own vocabulary (default: FAULTODDS_DATA, else ./data).",
)
@click.version_option(package_name="faultodds")
@click.pass_context
def faultodds(context: click.Context, data: Path | None) -> None:
    """Repair history turned into odds: which suspect is likely, how sure that is, which check to make first."""
    context.obj = Settings(data) if data is not None else read_settings()


for verb in (
    *(bundle, pool, pack),
    *(ingest, quarantine, check, export, fit, fits, backtest, suspects, bench),
    *(card, ready, review, shelf, discharge, priors, checks, proof, vocabulary, serve, demo),
    *(api, token, access, remote),
    *(backup, restore),
):
    faultodds.add_command(verb)


def main(arguments: Sequence[str] | None = None) -> None:
    """0: done; 1: refused, with a sentence on standard error; 2: not understood."""
    try:
        faultodds.main(args=arguments, prog_name="faultodds", standalone_mode=False)
    except click.exceptions.Exit as stop:
        sys.exit(stop.exit_code)
    except click.ClickException as problem:
        problem.show()
        sys.exit(2)
    except (click.Abort, KeyboardInterrupt):
        click.echo("Stopped. Nothing half-done was kept.", err=True)
        sys.exit(130)
    except InputError as problem:
        click.echo(str(problem), err=True)
        sys.exit(1)
