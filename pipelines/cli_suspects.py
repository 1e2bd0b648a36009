"""The verb `suspects`: one case in words, or many cases from a file as JSON, CSV or Parquet."""

import json
from datetime import UTC, datetime
from pathlib import Path

import click

from analytics.advice import Advice, advise
from analytics.case import Case, CheckResult
from analytics.cautions import DEFER
from analytics.errors import InputError
from analytics.posterior import Posterior
from analytics.vocabulary import Vocabulary
from pipelines.advice_in_words import next_check_lines, say_last_repair, say_plan, suspect_lines
from pipelines.batches import answer_cases, read_cases
from pipelines.catalogue import read_vocabulary
from pipelines.history import TicketCounts, count_like_tickets
from pipelines.last_repairs import Visit, find_last_repair
from pipelines.matching import match_spellings, phrase_books
from pipelines.posteriors import PACK_FIT, load_newest
from pipelines.settings import Settings
from pipelines.wording import counted, salt_phrase

# Below this many like tickets the answer says how little it has seen.
FEW_TICKETS = 10


@click.command()
@click.argument("symptom", required=False)
@click.option("--family", default="", help="Kind of machine, by code or name.")
@click.option("--shop", default="", help="Workshop.")
@click.option("--year", type=int, default=None, help="Year of manufacture; leave out when unknown.")
@click.option("--done", multiple=True, metavar="CHECK=OUTCOME", help="A check already made; may be given many times.")
@click.option("--complaint", default="", help="The owner's own words.")
@click.option("--machine", default="", help="The shop's name of the machine (with --shop), to know its last repair.")
@click.option(
    "--cases", type=click.Path(path_type=Path), help="CSV of many cases: case, symptom, family, shop, built_year."
)
@click.option("--out", type=click.Path(path_type=Path), help="With --cases: a .csv, .json or .parquet file to write.")
@click.option("--json", "as_json", is_flag=True, help="Print JSON instead of sentences.")
@click.pass_obj
def suspects(
    settings: Settings,
    symptom: str | None,
    family: str,
    shop: str,
    year: int | None,
    done: tuple[str, ...],
    complaint: str,
    machine: str,
    cases: Path | None,
    out: Path | None,
    *,
    as_json: bool,
) -> None:
    """Show which suspects are likely for SYMPTOM, how sure that is, and which check to make first."""
    vocabulary, posterior = read_vocabulary(settings.vocabulary_folder), load_newest(settings)
    today = datetime.now(UTC).date()
    if cases is not None:
        answers = answer_cases(posterior, read_cases(cases, vocabulary, today=today), vocabulary)
        click.echo(answers.write(out) if out is not None else answers.as_json())
        return
    if not symptom:
        raise InputError("Name a symptom, e.g. `faultodds suspects will_not_park`, or give a file with --cases. "
                         "`faultodds vocabulary list symptoms` lists them.")  # fmt: skip
    if machine and not shop:
        raise InputError(f"Machine '{machine}' is known by its workshop only. Add --shop NAME.")
    code = _code(vocabulary, "symptom", symptom)
    visit = Visit(shop, machine, code, today)
    case = Case(
        symptom=code,
        family=_code(vocabulary, "family", family) if family else "",
        shop=shop,
        age_years=None if year is None else today.year - year,
        results=tuple(_result(text) for text in done),
        complaint=complaint,
        last_repair=find_last_repair(settings.store_path, visit, vocabulary) if machine else None,
    )
    if not as_json:
        click.echo(show_case(settings, case))
        return
    advice = advise(posterior, case, vocabulary)
    counts = count_like_tickets(settings.store_path, symptom=case.symptom, family=case.family)
    click.echo(json.dumps(advice_as_data(advice, counts), indent=2))


def show_case(settings: Settings, case: Case) -> str:
    """The answer to one case in words, from the newest fit."""
    vocabulary = read_vocabulary(settings.vocabulary_folder)
    posterior = load_newest(settings)
    advice = advise(posterior, case, vocabulary)
    counts = count_like_tickets(settings.store_path, symptom=case.symptom, family=case.family)
    return say_advice(advice, counts, vocabulary, beside=_say_pack(posterior))


def say_advice(advice: Advice, counts: TicketCounts, vocabulary: Vocabulary, *, beside: str = "") -> str:
    """The answer as a technician reads it; `beside`: what else than the shop's own tickets stands behind it."""
    case, answer = advice.case, advice.answer
    family = vocabulary.families[case.family].name if case.family in vocabulary.families else "any kind of machine"
    age = "year unknown" if case.age_years is None else f"{case.age_years} years old"
    notes = [say_last_repair(case.last_repair, vocabulary)] if case.last_repair else []
    lines = [f"{vocabulary.symptoms[case.symptom].name} ({family}, {age})", *notes, "", *suspect_lines(advice)]
    behind = f"{_say_counts(counts)} {beside}".rstrip()
    lines += ["", behind, "", *next_check_lines(advice, vocabulary), say_plan(answer), "", DEFER]
    return "\n".join(lines)


def advice_as_data(advice: Advice, counts: TicketCounts) -> dict[str, object]:
    """The same for scripts; probabilities from 0 to 1, minutes."""
    answer = advice.answer
    return {
        "symptom": advice.case.symptom,
        "family": advice.case.family,
        "shop": advice.case.shop,
        "age_years": advice.case.age_years,
        "like_tickets": {"symptom": counts.same_symptom, "symptom_and_family": counts.same_both},
        "suspects": [
            {"suspect": odds.suspect, "probability": odds.probability, "low_90": odds.low, "high_90": odds.high}
            for odds in advice.suspects
        ],
        "next_check": advice.next_check or None,
        "expected_minutes": answer.expected_minutes,
        "chance_fixed": answer.chance_fixed,
    }


def _say_counts(counts: TicketCounts) -> str:
    like = f"{counted(counts.same_symptom, 'ticket')} with this symptom, {counts.same_both:,} on this kind of machine"
    return (
        f"Behind this: {like}; {salt_phrase(counts.same_both)}." if counts.same_both < 10 else f"Behind this: {like}."
    )


def _say_pack(posterior: Posterior) -> str:
    """What to say of odds that came with a pack, "" of any other."""
    if not posterior.fit_id.startswith(PACK_FIT):
        return ""
    return f"The odds came with the club's pack, from {counted(posterior.ticket_count, 'ticket')} of other workshops."


def _result(text: str) -> CheckResult:
    check, _, outcome = text.partition("=")
    return CheckResult(check.strip(), outcome.strip())


def _code(vocabulary: Vocabulary, field: str, written: str) -> str:
    match = match_spellings([written], phrase_books(vocabulary)[field])[written]
    if not match.code:
        raise InputError(f"No {field} is called '{written}'. Closest: {', '.join(match.closest)}.")
    return match.code
