"""The verb `ready`: a machine is put back together; will it work, and what is still worth checking?"""

from datetime import UTC, datetime
from pathlib import Path

import click
import pandas as pd

from analytics.cautions import DEFER
from analytics.errors import InputError
from analytics.readiness import CHANCE_OF_FAULT, Readiness, assess_readiness, fault_shares
from analytics.vocabulary import Vocabulary
from pipelines.catalogue import read_vocabulary
from pipelines.live import load_live
from pipelines.matching import PhraseBook, match_spellings, phrase_books
from pipelines.settings import Settings
from pipelines.store import reading, run_query
from pipelines.wording import in_ten, minutes_phrase, odds_phrase

# Tickets that the symptoms of all kinds together are worth beside those of the one kind, for kinds with few tickets.
ALL_KINDS_WORTH = 20.0
SHOWN_SUSPECTS, SHOWN_CHECKS = 5, 6


@click.command()
@click.option("--family", default="", help="Kind of machine, by code or name.")
@click.option("--year", type=int, default=None, help="Year of manufacture; leave out when unknown.")
@click.option("--passed", multiple=True, metavar="CHECK", help="A check that found nothing, or a remedy that was done.")
@click.option("--open", "opened", multiple=True, metavar="GROUP", help="An access group that is open anyway.")
@click.option("--fault-chance", default=CHANCE_OF_FAULT, show_default=True, help="P(any fault) before any check.")
@click.pass_obj
def ready(
    settings: Settings, family: str, year: int | None, passed: tuple[str, ...], opened: tuple[str, ...],
    fault_chance: float,
) -> None:  # fmt: skip
    """Odds that a machine just put together works when it is switched on, and which check raises them most."""
    vocabulary = read_vocabulary(settings.vocabulary_folder)
    books = phrase_books(vocabulary)
    kind = _code("family", family, books) if family else ""
    posterior = load_live(settings, vocabulary).posterior
    age = None if year is None else datetime.now(UTC).year - year
    weights = read_symptom_weights(settings.store_path, vocabulary, family=kind)
    answer = assess_readiness(
        posterior,
        vocabulary,
        fault_shares(posterior, vocabulary, weights, family=kind, age_years=age),
        passed=[_code("check", written, books) for written in passed],
        open_groups=_open_groups(opened, vocabulary),
        chance_of_fault=fault_chance,
    )
    click.echo(say_readiness(answer, vocabulary))


def read_symptom_weights(store_path: Path, vocabulary: Vocabulary, *, family: str) -> dict[str, float]:
    """Symptom -> how often it comes in with this kind of machine, as tickets; kinds with few borrow from all.

    Without any ticket every symptom weighs the same.
    """
    with reading(store_path) as con:
        counts = [_counts(run_query(con, "symptom_counts", family=kind)) for kind in (family, "")]
    own, every = ({symptom: float(found.get(symptom, 0.0)) for symptom in vocabulary.symptoms} for found in counts)
    total = sum(every.values())
    if not total:
        return dict.fromkeys(vocabulary.symptoms, 1.0)
    return {symptom: own[symptom] + ALL_KINDS_WORTH * every[symptom] / total for symptom in vocabulary.symptoms}


def say_readiness(answer: Readiness, vocabulary: Vocabulary) -> str:
    """The answer as a technician reads it."""
    lines = [f"Works when switched on: {odds_phrase(answer.probability, answer.low, answer.high)}.", ""]
    lines.append("What is still most likely to be wrong:")
    lines += [
        f"  {vocabulary.suspects[code].name}: {in_ten(share)}" for code, share in answer.suspects[:SHOWN_SUSPECTS]
    ]
    lines += ["", "What raises the odds most for its minutes, the machine still unplugged:"]
    for one in answer.further[:SHOWN_CHECKS]:
        name = vocabulary.checks[one.check].name
        lines.append(f"  {name}, {minutes_phrase(one.minutes)}: then {one.probability_after:.1%}")
    lines += [] if answer.further else ["  Nothing on the list raises them any more."]
    return "\n".join([*lines, "", DEFER])


def _counts(found: pd.DataFrame) -> dict[str, float]:
    return dict(zip(found["symptom"], found["tickets"], strict=True))


def _open_groups(opened: tuple[str, ...], vocabulary: Vocabulary) -> frozenset[str]:
    for code in opened:
        if code not in vocabulary.access_groups:
            raise InputError(f"No access group is called '{code}'. Known: {', '.join(vocabulary.access_groups)}.")
    return frozenset(opened)


def _code(field: str, written: str, books: dict[str, PhraseBook]) -> str:
    match = match_spellings([written], books[field])[written]
    if not match.code:
        raise InputError(f"No {field} is called '{written}'. Closest: {', '.join(match.closest)}.")
    return match.code
