"""The verb `export`: tickets in an open format."""

from pathlib import Path

import click

from pipelines.catalogue import read_vocabulary
from pipelines.exports import export_open_repair
from pipelines.settings import Settings


@click.command()
@click.argument("file", type=click.Path(dir_okay=False, path_type=Path))
@click.option("--format", "written_as", type=click.Choice(["open-repair"]), default="open-repair", show_default=True)
@click.option("--country", default="", help="Country of the workshops, three letters (GBR).")
@click.pass_obj
def export(settings: Settings, file: Path, written_as: str, country: str) -> None:
    """Write all tickets to FILE as CSV in the Open Repair Data Standard."""
    vocabulary = read_vocabulary(settings.vocabulary_folder)
    count = export_open_repair(file, store_path=settings.store_path, vocabulary=vocabulary, country=country)
    click.echo(f"{count:,} tickets written to {file} ({written_as}). Machines and ticket numbers are not in it.")
    click.echo("The column problem holds the owners' own words: read it for names before you hand the file on.")
