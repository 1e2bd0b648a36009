"""Verbs against loss: backup, restore."""

from datetime import UTC, datetime
from pathlib import Path

import click

from pipelines.backups import make_backup
from pipelines.restores import refuse_overwriting, restore_backup
from pipelines.settings import Settings

_FOLDER = click.Path(path_type=Path, file_okay=False)


@click.command()
@click.argument("folder", type=_FOLDER)
@click.pass_obj
def backup(settings: Settings, folder: Path) -> None:
    """Write a dated copy of store, fits, vocabulary and tables into FOLDER, best on another disk.

    Pages and other commands may go on meanwhile. Pass phrases, tokens and signing keys are not copied.
    """
    _, told = make_backup(settings, folder, datetime.now(UTC))
    click.echo("\n".join(told))


@click.command()
@click.argument("folder", type=_FOLDER)
@click.option("--replace", is_flag=True, help="Set the present store aside (dated, nothing deleted).")
@click.pass_obj
def restore(settings: Settings, folder: Path, *, replace: bool) -> None:
    """Put the backup in FOLDER (one dated folder) in place, after checking every file in it.

    A restore that was cut short is finished by restoring once more, with --replace.
    """
    if not replace:
        refuse_overwriting(settings)
    click.echo("\n".join(restore_backup(settings, folder, datetime.now(UTC))))
