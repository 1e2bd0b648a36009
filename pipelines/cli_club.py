"""Verbs of the club: bundle write, read, show, withdraw; pool fit, pack; pack install."""

import json
from dataclasses import asdict
from datetime import UTC, datetime
from pathlib import Path

import click

from analytics.errors import InputError
from analytics.rollup_cells import DEFAULT_THRESHOLD
from pipelines.bundle_files import load_bundle
from pipelines.bundle_in_words import about_bundle, tables_of
from pipelines.bundle_words import read_mapping, write_mapping
from pipelines.bundle_writing import Wish, write_bundle
from pipelines.bundles import missing_words, read_bundle, withdraw
from pipelines.catalogue import read_vocabulary
from pipelines.pack_installing import install_pack
from pipelines.packs import DEFAULT_WORTH, write_pack
from pipelines.pool import known_bundles, pool_members
from pipelines.progress import progress_bar
from pipelines.settings import Settings
from pipelines.tables import print_table
from pipelines.wording import counted

_FILE = click.Path(path_type=Path, dir_okay=False)
SIGN = click.option("--sign", is_flag=True, help="Sign it, so that nobody else can replace it.")


@click.group()
def bundle() -> None:
    """Share what a workshop has seen, as counts that show nobody: write, read, show, withdraw."""


@bundle.command()
@click.argument("file", type=_FILE)
@click.option("--shop", required=True, help="Workshop whose tickets to count; its name does not leave the store.")
@click.option("--threshold", type=int, default=DEFAULT_THRESHOLD, show_default=True,
              help="Fewest tickets in a cell; 1: none, all counts have noise.")  # fmt: skip
@click.option("--epsilon", type=float, default=0.0, help="Tell small counts by family too, with noise: 2 is usual.")
@SIGN
@click.option("--anew", is_flag=True, help="Count corrected tickets again; who has the earlier file can compare.")
@click.pass_obj
def write(settings: Settings, file: Path, shop: str, threshold: int, epsilon: float, *, sign: bool, anew: bool) -> None:
    """Write a workshop's bundle to FILE: whole years that are over, nothing finer."""
    today = datetime.now(UTC).date()
    wish = Wish(threshold=threshold, epsilon=epsilon, signed=int(sign), anew=int(anew))
    click.echo("\n".join(write_bundle(settings, file, shop=shop, today=today, wish=wish).sentences))


@bundle.command()
@click.argument("file", type=_FILE)
@click.option("--mapping", type=_FILE, help="CSV that says what the other shop's words are called here.")
@click.option("--propose", type=_FILE, help="Write such a CSV with proposals for unknown words, and read nothing yet.")
@click.pass_obj
def read(settings: Settings, file: Path, mapping: Path | None, propose: Path | None) -> None:
    """Take the bundle FILE of another shop into the pool."""
    vocabulary = read_vocabulary(settings.vocabulary_folder)
    if propose is not None:
        words = missing_words(load_bundle(file), vocabulary)
        write_mapping(propose, words)
        click.echo(f"{counted(len(words), 'unknown word')} in {propose.name}. Correct the column maps_to, then read "
                   f"{file.name} with --mapping {propose.name}.")  # fmt: skip
        return
    words_here = read_mapping(mapping, vocabulary) if mapping is not None else {}
    click.echo("\n".join(read_bundle(settings, file, mapping=words_here)))


@bundle.command()
@click.argument("file", type=_FILE, required=False)
@click.option("--json", "as_json", is_flag=True, help="Print the manifest of FILE as JSON.")
@click.pass_obj
def show(settings: Settings, file: Path | None, *, as_json: bool) -> None:
    """Show what FILE tells others, each count of it, or who is in the pool."""
    if file is None:
        known = known_bundles(settings)
        if known.empty:
            click.echo("The pool is empty. Write a bundle, or read one.")
            return
        years = known["from_year"].astype(str) + " to " + known["to_year"].astype(str)
        told = known.assign(years=years, tickets=known["ticket_count"])
        print_table(told[["contributor", "kind", "state", "years", "tickets", "shop"]])
        return
    found = load_bundle(file)
    if as_json:
        click.echo(json.dumps(asdict(found.manifest) | {"public_key": found.public_key}, indent=1))
        return
    click.echo("\n".join(about_bundle(found)))
    for heading, table in tables_of(found):
        click.echo(f"\n{heading}")
        print_table(table)


@bundle.command("withdraw")
@click.argument("contributor")
@click.pass_obj
def withdraw_bundle(settings: Settings, contributor: str) -> None:
    """Take the bundle of CONTRIBUTOR (a code) out of the pool; your own tickets stay."""
    click.echo(withdraw(settings, contributor))


@click.group()
def pool() -> None:
    """Learn from your tickets and all bundles together: fit, pack."""


@pool.command("fit")
@click.option("--seed", type=int, default=None, help="Seed of the sampler; the same seed gives the same fit.")
@click.pass_obj
def fit_pool(settings: Settings, seed: int | None) -> None:
    """Fit your own tickets together with every bundle in the pool (about a minute)."""
    from pipelines.refits import DEFAULT_SEED, refit

    members = pool_members(settings)
    if not members:
        raise InputError("No bundle of another shop is in the pool. Read one first: `faultodds bundle read FILE`.")
    with progress_bar("Fitting the pool") as advance:
        report = refit(settings, progress=advance, seed=DEFAULT_SEED if seed is None else seed)
    click.echo("\n".join((f"{counted(len(members), 'other contributor')} counted.", *report.sentences())))
    if not report.is_published:
        raise InputError("Try again with another --seed; if it fails again, look at the Model page.")


@pool.command("pack")
@click.argument("file", type=_FILE)
@click.option("--worth", type=int, default=DEFAULT_WORTH, show_default=True, help="Tickets it counts for elsewhere.")
@click.option("--seed", type=int, default=None, help="Seed of the sampler; the same seed gives the same fit.")
@SIGN
@click.pass_obj
def pack_pool(settings: Settings, file: Path, worth: int, seed: int | None, *, sign: bool) -> None:
    """Write FILE, from which a new shop can answer at once. Made from bundles only (about a minute)."""
    from pipelines.pool_fits import DEFAULT_SEED, fit_bundles

    with progress_bar("Fitting the bundles") as advance:
        posterior = fit_bundles(settings, progress=advance, seed=DEFAULT_SEED if seed is None else seed)
    click.echo("\n".join(write_pack(settings, file, posterior, worth=worth, signed=int(sign))))


@click.group()
def pack() -> None:
    """Begin with what the club knows: install."""


@pack.command()
@click.argument("file", type=_FILE)
@click.pass_obj
def install(settings: Settings, file: Path) -> None:
    """Install the pack FILE: odds at once, without a ticket and without a fit."""
    click.echo("\n".join(install_pack(settings, file)))
