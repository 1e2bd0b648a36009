"""Verbs about tickets: ingest, quarantine, check."""

from datetime import UTC, datetime
from pathlib import Path

import click

from analytics.errors import InputError
from pipelines.catalogue import read_vocabulary
from pipelines.column_maps import find_column_map, read_column_map
from pipelines.history import read_quarantine
from pipelines.intake import IngestReport, ingest_file
from pipelines.invented import refuse_mixing
from pipelines.progress import progress_bar
from pipelines.settings import Settings
from pipelines.store_checks import check_store
from pipelines.tables import print_table


@click.command()
@click.argument("files", nargs=-1, required=True, type=click.Path(path_type=Path))
@click.option("--shop", default="", help="Workshop the tickets come from, where the rows do not say.")
@click.option("--columns", default="", help="Column map: a shipped one (open_repair), or a CSV with field,header.")
@click.option("--matches/--no-matches", default=False, help="Print what each spelling was taken for.")
@click.pass_obj
def ingest(settings: Settings, files: tuple[Path, ...], shop: str, columns: str, *, matches: bool) -> None:
    """Read repair tickets from CSV or XLSX files (columns: see seed_data/README.md).

    Nothing is lost: a row becomes a ticket, is kept in quarantine with its reason, or is named as already known.
    """
    refuse_mixing(settings)
    column_map = find_column_map(columns)
    reports = ingest_files(settings, [(path, shop, column_map) for path in files])
    for report in reports:
        click.echo("\n".join(report.sentences()))
        if matches:
            print_table(report.matches)
    if any(report.quarantined for report in reports):
        click.echo("See the rows in quarantine with `faultodds quarantine`.")


def ingest_files(settings: Settings, files: list[tuple[Path, str, Path | None]]) -> list[IngestReport]:
    """Ingests (file, shop, column map) one after the other, with a bar; a refused file stores nothing."""
    vocabulary, today = read_vocabulary(settings.vocabulary_folder), datetime.now(UTC).date()
    reports = []
    with progress_bar("Reading tickets", total=len(files)) as advance:
        for path, shop, columns in files:
            if not path.exists():
                raise InputError(f"There is no file '{path}'. Give the path of a CSV or XLSX file.")
            reports.append(
                ingest_file(
                    path,
                    store_path=settings.store_path,
                    vocabulary=vocabulary,
                    shop=shop,
                    column_map=read_column_map(columns),
                    today=today,
                )
            )
            advance(len(reports) / len(files))
    return reports


@click.command()
@click.pass_obj
def quarantine(settings: Settings) -> None:
    """List the rows that could not become tickets, each with its reason."""
    rows = read_quarantine(settings.store_path)
    if rows.empty:
        click.echo("Nothing is in quarantine.")
        return
    print_table(rows[["name", "line", "reason"]].rename(columns={"name": "file"}))
    click.echo(f"{len(rows)} rows. Correct them in the file and ingest it again, or release them on the Tickets page.")


@click.command()
@click.pass_obj
def check(settings: Settings) -> None:
    """Prove that the store is complete: every row read is a ticket, in quarantine or a known duplicate."""
    problems = check_store(settings.store_path, read_vocabulary(settings.vocabulary_folder))
    if problems.empty:
        click.echo("The store holds together: every row is accounted for and every code is known.")
        return
    print_table(problems)
    raise InputError(f"{len(problems)} things do not fit together; they are listed above.")
