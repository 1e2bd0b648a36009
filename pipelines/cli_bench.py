"""The verb `bench`: leads from the complaint to the working machine by plain questions; the ticket writes itself."""

from dataclasses import dataclass
from datetime import UTC, datetime

import click
import pandas as pd

from analytics.advice import Advice
from analytics.cautions import DEFER
from analytics.errors import InputError
from analytics.posterior import Posterior
from analytics.session import BenchEvent, Session, allowed_outcomes
from analytics.vocabulary import SOMETHING_ELSE, Vocabulary
from pipelines.advice_in_words import next_check_lines, say_last_repair, say_plan, suspect_lines
from pipelines.bench_advice import serve_advice
from pipelines.bench_closing import close_by_questions
from pipelines.bench_prompts import ask_choice, ask_code, ask_minutes, ask_needed_code, ask_text, ask_year
from pipelines.catalogue import read_vocabulary
from pipelines.live import load_live
from pipelines.matching import PhraseBook, phrase_books
from pipelines.session_scores import read_running_score
from pipelines.sessions import list_open_sessions, read_stored_session, record_event, start_session, undo_event
from pipelines.settings import Settings
from pipelines.tables import print_table

OUTCOME_WORDS = {
    "fault_found": "it found a fault",
    "clear": "clear, nothing found",
    "inconclusive": "it told nothing",
    "cured": "the machine works now",
    "not_cured": "done, but the complaint is still there",
}
CHECK_ACTIONS = {"s": "skip this check", "c": "this check cannot be done here"}
ACTIONS = {
    "o": "another check was made",
    "p": "another symptom is there too",
    "a": "another symptom was looked for and is not there",
    "i": "the fault comes and goes",
    "r": "a fault was found and repaired, but the complaint is still there",
    "u": "undo the last entry",
    "x": "close the session: write the ticket",
    "q": "leave it for later",
}
WORKING_ACTIONS = {
    "x": "it works: close the session and write the ticket",
    "r": "the complaint is still there: a second fault",
    "u": "undo the last entry",
    "q": "leave it for later",
}
RECORDED = {"s": "skipped", "c": "cannot_do", "p": "present", "a": "absent", "r": "repaired"}


@dataclass(frozen=True)
class Bench:
    """What every question needs: where the store is, the words, the fit."""

    settings: Settings
    vocabulary: Vocabulary
    books: dict[str, PhraseBook]
    posterior: Posterior


@click.command()
@click.option("--resume", metavar="CODE", help="Go on with the session that has this code.")
@click.option("--shop", default="", help="Workshop, so that it need not be typed.")
@click.option("--open", "show_open", is_flag=True, help="List the sessions that wait to be closed, and stop.")
@click.option("--score", "show_score", is_flag=True, help="Show how good the odds were over closed sessions, and stop.")
@click.pass_obj
def bench(settings: Settings, resume: str | None, shop: str, *, show_open: bool, show_score: bool) -> None:
    """Lead one machine from complaint to closed ticket, question by question."""
    if show_open or show_score:
        path = settings.store_path
        print_table(list_open_sessions(path) if show_open else score_rows(read_running_score(path)))
        return
    vocabulary = read_vocabulary(settings.vocabulary_folder)
    place = Bench(settings, vocabulary, phrase_books(vocabulary), load_live(settings, vocabulary).posterior)
    session = _resume(place, resume) if resume else _begin(place, shop)
    click.echo(f"\nSession {session.code}. Bring it up again anywhere with: faultodds bench --resume {session.code}")
    try:
        _go_on(place, session)
    except click.Abort:
        click.echo(f"\nSession {session.code} stays open; all entries are kept.", err=True)
        raise


def score_rows(score: pd.DataFrame) -> pd.DataFrame:
    """The running score as a person reads it; log loss of knowing only the list stands beside."""
    told = score.rename(
        columns={"log_loss": "log loss", "first_log_loss": "at first", "blind_log_loss": "list only", "brier": "Brier"}
    ).round({"log loss": 2, "at first": 2, "list only": 2, "Brier": 2})
    closed = pd.to_datetime(told["closed_at"]).dt.date.astype("str")
    return told.assign(closed_at=closed)[
        ["code", "closed_at", "sessions", "log loss", "at first", "list only", "Brier"]
    ]


def _begin(place: Bench, shop: str) -> Session:
    books = place.books
    facts = Session(
        code="",
        shop=shop or ask_text("Workshop"),
        machine=ask_text("Machine, by the name the shop calls it (blank = none)"),
        family=ask_code("Kind of machine (blank = as on its last ticket, or not known)", books["family"]),
        built_year=ask_year("Year of manufacture (blank = as on its last ticket, or not known)"),
        symptom=ask_needed_code("What it does wrong", books["symptom"]),
        complaint=ask_text("What the owner says, in the owner's words (blank = nothing)"),
        opened_on=datetime.now(UTC).date(),
    )
    return start_session(place.settings.store_path, facts, place.vocabulary)


def _resume(place: Bench, code: str) -> Session:
    stored = read_stored_session(place.settings.store_path, code)
    if stored.ticket_id:
        raise InputError(f"Session {stored.session.code} is closed: its ticket is stored. Start a new one.")
    return stored.session


def _go_on(place: Bench, session: Session) -> None:
    """Advice, one entry, advice, until the session is closed or left."""
    while True:
        advice = _show(place, session)
        key = _ask_action(place, session, advice)
        if key == "q":
            click.echo(f"Session {session.code} stays open.")
            return
        try:
            if key == "x":
                ticket = close_by_questions(place.settings.store_path, session, advice, vocabulary=place.vocabulary,
                                            book=place.books["suspect"])  # fmt: skip
                click.echo(f"Ticket {ticket.ticket_number} is stored.")
                return
            session = _record(place, session, advice, key)
        except InputError as problem:
            click.echo(f"Not recorded. {problem}")


def _show(place: Bench, session: Session) -> Advice | None:
    """Print suspects and next check; None when the entries contradict each other."""
    click.echo()
    try:
        advice = serve_advice(
            place.settings.store_path, session, posterior=place.posterior, vocabulary=place.vocabulary
        )
    except InputError as problem:
        click.echo(str(problem))
        return None
    came_back = advice.case.last_repair
    notes = [say_last_repair(came_back, place.vocabulary)] if came_back else []
    click.echo("\n".join([_headline(place, session), *notes, *suspect_lines(advice)]))
    if not session.is_working:
        click.echo("\n".join(["", *next_check_lines(advice, place.vocabulary), say_plan(advice.answer), DEFER]))
    return advice


def _headline(place: Bench, session: Session) -> str:
    vocabulary = place.vocabulary
    family = vocabulary.families[session.family].name if session.family else "kind of machine not known"
    notes = [session.machine, family, f"built {session.built_year}" if session.built_year else "year not known"]
    notes += ["comes and goes"] if session.is_intermittent else []
    notes += [f"repaired already: {vocabulary.suspects[code].name}" for code in session.repaired]
    return f"{vocabulary.symptoms[session.symptom].name} ({', '.join(filter(None, notes))})"


def _ask_action(place: Bench, session: Session, advice: Advice | None) -> str:
    """A letter of the actions, or an outcome of the next check."""
    click.echo()
    if session.is_working:
        return ask_choice("The machine works", WORKING_ACTIONS)
    if advice is None or not advice.next_check:
        return ask_choice("What now", ACTIONS)
    outcomes = allowed_outcomes(place.vocabulary.checks[advice.next_check])
    numbers = {str(number): outcome for number, outcome in enumerate(outcomes, start=1)}
    words = {number: OUTCOME_WORDS[outcome] for number, outcome in numbers.items()}
    key = ask_choice("What happened", {**words, **CHECK_ACTIONS, **ACTIONS})
    return numbers.get(key, key)


def _record(place: Bench, session: Session, advice: Advice | None, key: str) -> Session:
    path = place.settings.store_path
    if key == "u":
        return undo_event(path, session)
    event = _event(place, session, advice, key)
    return session if event is None else record_event(path, session, event, place.vocabulary)


def _event(place: Bench, session: Session, advice: Advice | None, key: str) -> BenchEvent | None:
    """The entry that a choice makes, after its further questions; None when they were left blank."""
    if key in OUTCOME_WORDS or key in CHECK_ACTIONS:
        assert advice is not None  # only offered with a next check
        return BenchEvent(RECORDED.get(key, key), advice.next_check, ask_minutes("Minutes (blank = not noted)"))
    if key == "i":
        return BenchEvent("comes_and_goes")
    if key == "o":
        return _other_check(place)
    field = "suspect" if key == "r" else "symptom"
    if key == "r" and session.is_working and advice is not None:
        click.echo(f"Most likely repaired: {_likely_repaired(place, session, advice)}")
    code = ask_code(f"Which {field} (blank = back)", place.books[field])
    return BenchEvent(RECORDED[key], code) if code else None


def _other_check(place: Bench) -> BenchEvent | None:
    code = ask_code("Which check (blank = back)", place.books["check"])
    if not code:
        return None
    outcomes = allowed_outcomes(place.vocabulary.checks[code])
    numbers = {str(number): OUTCOME_WORDS[outcome] for number, outcome in enumerate(outcomes, start=1)}
    outcome = outcomes[int(ask_choice("What happened", numbers)) - 1]
    return BenchEvent(outcome, code, ask_minutes("Minutes (blank = not noted)"))


def _likely_repaired(place: Bench, session: Session, advice: Advice) -> str:
    remedy = next(event.about for event in reversed(session.events) if event.kind == "cured")
    cures = place.vocabulary.checks[remedy].cures
    names = (odds.name for odds in advice.suspects if odds.suspect in cures)
    return next(names, place.vocabulary.suspects[SOMETHING_ELSE].name)
