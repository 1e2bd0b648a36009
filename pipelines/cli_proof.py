"""Verbs that show what stands behind the answers: proof, priors, checks."""

import click

from analytics.advice import advise
from analytics.case import Case
from analytics.check_knowledge import know_checks
from analytics.errors import InputError
from analytics.posterior import Posterior
from analytics.suspects import belief, rank_suspects
from analytics.vocabulary import Vocabulary
from pipelines.catalogue import read_vocabulary
from pipelines.checks_in_words import say_check
from pipelines.cli_suspects import say_advice
from pipelines.history import TicketCounts, count_checks_made
from pipelines.matching import match_spellings, phrase_books
from pipelines.posteriors import has_published_fit, load_newest
from pipelines.prior_sources import load_prior
from pipelines.progress import progress_bar
from pipelines.proof_files import save_proof
from pipelines.proof_in_words import say_proof
from pipelines.settings import Settings
from pipelines.wording import odds_phrase

FIRST_SUSPECTS = 3
NO_TICKETS = TicketCounts(0, 0, 0, 0)


@click.command()
@click.option(
    "--compare", is_flag=True, help="Fit simpler models too: no age, no kind of machine, no workshop (minutes)."
)
@click.pass_obj
def proof(settings: Settings, *, compare: bool) -> None:
    """Say how far the newest fit can be believed; the figures are kept in proof.json in the data folder."""
    # ArviZ takes seconds to import, and only this verb needs it.
    from pipelines.proof import compare_simpler, prove_fit

    vocabulary = read_vocabulary(settings.vocabulary_folder)
    found = prove_fit(settings, vocabulary)
    if compare:
        with progress_bar("Fitting simpler models") as advance:
            found = compare_simpler(settings, vocabulary, found, progress=advance)
    save_proof(settings, found)
    click.echo(say_proof(found, vocabulary))


@click.command()
@click.argument("symptom", required=False)
@click.pass_obj
def priors(settings: Settings, symptom: str | None) -> None:
    """Show what would be answered before the first ticket: from seeded strengths, rules of thumb and handbook rows."""
    vocabulary = read_vocabulary(settings.vocabulary_folder)
    code = find_symptom(vocabulary, symptom) if symptom else ""
    posterior = load_prior(settings, vocabulary)
    click.echo("Before any ticket, from the lists and rules alone:\n")
    if code:
        click.echo(say_advice(advise(posterior, Case(code), vocabulary), NO_TICKETS, vocabulary))
        return
    for each in vocabulary.symptoms:
        click.echo(_say_first(posterior, each, vocabulary))
    click.echo("\nName a symptom to see all its suspects and the first check, e.g. `faultodds priors "
               f"{next(iter(vocabulary.symptoms))}`.")  # fmt: skip


@click.command()
@click.option("--symptom", default="", help="Only checks that bear on this symptom.")
@click.pass_obj
def checks(settings: Settings, symptom: str) -> None:
    """Show what each check can do: how often it finds, cures and raises a false alarm, and how long it takes."""
    vocabulary = read_vocabulary(settings.vocabulary_folder)
    code = find_symptom(vocabulary, symptom) if symptom else ""
    if has_published_fit(settings):
        posterior = load_newest(settings)
    else:
        posterior = load_prior(settings, vocabulary)
        click.echo("There is no fit yet, so these are the seeded figures and how unsure they are.\n")
    for known in know_checks(posterior, vocabulary, symptom=code, made=count_checks_made(settings.store_path, code)):
        click.echo(say_check(known, vocabulary))


def find_symptom(vocabulary: Vocabulary, written: str) -> str:
    """Code of a symptom by code, name or another spelling; InputError with the closest ones."""
    match = match_spellings([written], phrase_books(vocabulary)["symptom"])[written]
    if not match.code:
        raise InputError(
            f"No symptom is called '{written}'. Closest: {', '.join(match.closest)}. "
            "`faultodds vocabulary list symptoms` lists them all."
        )
    return match.code


def _say_first(posterior: Posterior, symptom: str, vocabulary: Vocabulary) -> str:
    """A symptom with its first suspects."""
    ranked = rank_suspects(belief(posterior, Case(symptom), vocabulary), vocabulary)[:FIRST_SUSPECTS]
    lines = [f"  {odds.name}: {odds_phrase(odds.probability, odds.low, odds.high)}" for odds in ranked]
    return "\n".join([vocabulary.symptoms[symptom].name, *lines])
