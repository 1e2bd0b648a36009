"""Verbs about the vocabulary: check, list, propose."""

from pathlib import Path

import click
import pandas as pd

from analytics.errors import InputError
from pipelines.catalogue import read_vocabulary, write_vocabulary
from pipelines.column_maps import find_column_map, read_column_map
from pipelines.proposals import propose_vocabulary
from pipelines.readers import read_raw
from pipelines.settings import Settings, seed_folder
from pipelines.tables import print_table

LISTS = ("families", "symptoms", "components", "failure_modes", "suspects", "checks", "access_groups", "hazards")


@click.group()
def vocabulary() -> None:
    """The shop's words: families, symptoms, suspects, checks and how they hang together."""


@vocabulary.command("check")
@click.argument("folder", required=False, type=click.Path(path_type=Path))
@click.pass_obj
def check_vocabulary(settings: Settings, folder: Path | None) -> None:
    """Say whether a vocabulary folder holds together; name file, line and reason where it does not."""
    place = folder or settings.vocabulary_folder
    found = read_vocabulary(place)
    counts = ", ".join(f"{len(getattr(found, name))} {name.replace('_', ' ')}" for name in LISTS)
    click.echo(f"{place} holds together: {counts}, {len(found.links)} links.")


@vocabulary.command("list")
@click.argument("what", type=click.Choice(LISTS))
@click.pass_obj
def list_words(settings: Settings, what: str) -> None:
    """List codes and names."""
    words = getattr(read_vocabulary(settings.vocabulary_folder), what)
    print_table(pd.DataFrame([(code, word.name) for code, word in words.items()], columns=["code", "name"]))


@vocabulary.command("propose")
@click.argument("file", type=click.Path(path_type=Path))
@click.option("--out", type=click.Path(path_type=Path), help="Folder to write (default: the shop's own vocabulary).")
@click.option("--columns", default="", help="Column map: a shipped one (open_repair), or a CSV with field,header.")
@click.pass_obj
def propose(settings: Settings, file: Path, out: Path | None, columns: str) -> None:
    """Draft a vocabulary from a shop's own ticket file, to be read over and edited."""
    target = out or settings.data_folder / "vocabulary"
    if target.exists() and any(target.iterdir()):
        raise InputError(f"{target} is not empty. Give another folder with --out, or move it away first.")
    base = read_vocabulary(seed_folder() / "vocabulary")
    draft = propose_vocabulary(read_raw(file), column_map=read_column_map(find_column_map(columns)), base=base)
    target.mkdir(parents=True, exist_ok=True)
    write_vocabulary(draft, target)
    click.echo(
        f"Drafted {len(draft.families)} families, {len(draft.symptoms)} symptoms, {len(draft.suspects)} suspects and "
        f"{len(draft.checks)} checks in {target}. Read them over: minutes, access and hazards are guesses."
    )
