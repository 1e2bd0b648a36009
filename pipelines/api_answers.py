"""Answers of the JSON API: each body is turned into what the command line asks too."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from functools import lru_cache
from pathlib import Path

from analytics.advice import Advice, advise
from analytics.case import Case
from analytics.cautions import DEFER, cautions_for
from analytics.errors import InputError
from analytics.posterior import Posterior
from analytics.session import allowed_outcomes
from analytics.vocabulary import Vocabulary
from pipelines import api_bodies as bodies
from pipelines.advice_in_words import next_check_lines, next_choice, say_last_repair
from pipelines.api_words import codes_of, known_code
from pipelines.bench_tickets import TicketRow
from pipelines.catalogue import read_vocabulary
from pipelines.cli_review import as_document
from pipelines.history import count_like_tickets
from pipelines.intake import read_bench_ticket, store_bench_ticket
from pipelines.last_repairs import Visit, find_last_repair
from pipelines.live import ServingState, load_live, serving_state
from pipelines.matching import PhraseBook, phrase_books
from pipelines.reviews import PARTS, review_shop
from pipelines.settings import Settings
from pipelines.store import last_ticket_order, writing
from pipelines.ticket_search import count_waiting_rows
from pipelines.wording import counted, odds_phrase

type Stamp = tuple[tuple[str, int, int], ...]


@dataclass(frozen=True, eq=False)
class Served:
    """One fit, the vocabulary it is asked in, and the spellings of its words."""

    vocabulary: Vocabulary
    books: Mapping[str, PhraseBook]
    posterior: Posterior


def answer_suspects(settings: Settings, body: bodies.CaseBody, *, today: date) -> bodies.SuspectsAnswer:
    """Suspects of a case by falling odds; InputError for what the vocabulary or the fit does not know."""
    advice = _advise(settings, body, today=today)
    last = advice.case.last_repair
    counts = count_like_tickets(settings.store_path, symptom=advice.case.symptom, family=advice.case.family)
    lines = [
        bodies.SuspectLine(
            suspect=odds.suspect,
            name=odds.name,
            probability=odds.probability,
            low_90=odds.low,
            high_90=odds.high,
            in_words=odds_phrase(min(odds.probability, 1.0), odds.low, min(odds.high, 1.0)),
        )
        for odds in advice.suspects
    ]
    return bodies.SuspectsAnswer(
        symptom=advice.case.symptom,
        family=advice.case.family,
        came_back=say_last_repair(last, served(settings).vocabulary) if last else "",
        like_tickets_symptom=counts.same_symptom,
        like_tickets_symptom_and_family=counts.same_both,
        suspects=lines,
    )


def answer_next_check(settings: Settings, body: bodies.CaseBody, *, today: date) -> bodies.NextCheckAnswer:
    """The check to make next, with its cautions; InputError as for `answer_suspects`."""
    advice, vocabulary = _advise(settings, body, today=today), served(settings).vocabulary
    check = vocabulary.checks[advice.next_check] if advice.next_check else None
    return bodies.NextCheckAnswer(
        check=advice.next_check,
        name=check.name if check else "",
        instruction=check.instruction if check else "",
        minutes=next_choice(advice).minutes if check else None,
        cautions=[*cautions_for(check, vocabulary), DEFER] if check else [],
        expected_minutes=advice.answer.expected_minutes,
        chance_fixed=advice.answer.chance_fixed,
        in_words="\n".join(next_check_lines(advice, vocabulary)),
    )


def answer_ticket(settings: Settings, body: bodies.TicketBody, *, today: date) -> tuple[bodies.TicketAnswer, bool]:
    """Stores the ticket; the answer, and whether it was new. InputError says why it is no ticket."""
    vocabulary = read_vocabulary(settings.vocabulary_folder)
    ticket = ticket_row(body, phrase_books(vocabulary))
    rows = read_bench_ticket(ticket, vocabulary, today=today)
    with writing(settings.store_path) as con:
        before = last_ticket_order(con)
        ticket_id = store_bench_ticket(con, rows)
        is_new = last_ticket_order(con) > before
    told = f"Ticket {ticket.ticket_number} of {ticket.shop} is"
    answer = bodies.TicketAnswer(
        ticket_id=ticket_id,
        state="stored" if is_new else "duplicate",
        symptom=ticket.symptom,
        family=ticket.family,
        suspects=list(ticket.suspects),
        checks=[made.check for made in ticket.checks],
        sentence=f"{told} stored." if is_new else f"{told} known already and says the same. Nothing was changed.",
    )
    return answer, is_new


def ticket_row(body: bodies.TicketBody, books: Mapping[str, PhraseBook]) -> TicketRow:
    """The ticket in codes; InputError for a word that the vocabulary does not have."""
    return TicketRow(
        shop=body.shop,
        ticket_number=body.ticket_number,
        opened_on=date.fromisoformat(body.opened_on),
        closed_on=date.fromisoformat(body.closed_on) if body.closed_on else None,
        symptom=known_code(books["symptom"], "symptom", body.symptom),
        machine=body.machine,
        family=known_code(books["family"], "family", body.family) if body.family else "",
        built_year=body.built_year,
        also_present=codes_of(books, "symptom", body.also_present),
        also_absent=codes_of(books, "symptom", body.also_absent),
        complaint=body.complaint,
        suspects=codes_of(books, "suspect", body.suspects),
        confirmation=body.confirmation,
        result=body.result,
        checks=tuple(made.as_result(known_code(books["check"], "check", made.check)) for made in body.checks),
        minutes=body.minutes,
    )


def answer_quarantine(settings: Settings) -> bodies.QuarantineAnswer:
    """How many rows wait for a correction."""
    waiting = count_waiting_rows(settings.store_path)
    return bodies.QuarantineAnswer(waiting_rows=waiting, sentence=f"{counted(waiting, 'row')} in quarantine.")


def answer_words(settings: Settings) -> bodies.WordsAnswer:
    """Codes and names of the shop's vocabulary."""
    vocabulary = read_vocabulary(settings.vocabulary_folder)
    fields = ("families", "symptoms", "suspects", "checks")
    lines = {
        field: [bodies.WordLine(code=term.code, name=term.name) for term in getattr(vocabulary, field).values()]
        for field in fields
    }
    return bodies.WordsAnswer(**lines)


def answer_review(settings: Settings, part: str, *, today: date) -> bodies.ReviewAnswer:
    """Figures of one part of the review, or of all for ""; InputError for a part that is not there."""
    known = PARTS
    if part and part not in known:
        raise InputError(f"The review has no part '{part}'. Parts: {', '.join(known)}.")
    document = as_document(review_shop(settings, (part,) if part else known, today=today))
    return bodies.ReviewAnswer.model_validate({"parts": document})


def served(settings: Settings) -> Served:
    """The newest fit moved by the tickets since, kept in memory until fit, tickets or vocabulary change."""
    path = settings.store_path
    return _served(settings, _stamp([path, path.with_name(f"{path.name}.wal")]), _vocabulary_stamp(settings))


@lru_cache(maxsize=4)
def _served(settings: Settings, store_stamp: Stamp, words_stamp: Stamp) -> Served:  # noqa: ARG001 - part of the key
    return _served_by(settings, serving_state(settings), words_stamp)


@lru_cache(maxsize=2)
def _served_by(settings: Settings, state: ServingState, words_stamp: Stamp) -> Served:  # noqa: ARG001 - the key
    vocabulary = read_vocabulary(settings.vocabulary_folder)
    return Served(vocabulary, phrase_books(vocabulary), load_live(settings, vocabulary).posterior)


def _vocabulary_stamp(settings: Settings) -> Stamp:
    return _stamp(sorted(settings.vocabulary_folder.glob("*.csv")))


def _stamp(paths: list[Path]) -> Stamp:
    found = [(path, path.stat()) for path in paths if path.exists()]
    return tuple((str(path), stat.st_mtime_ns, stat.st_size) for path, stat in found)


def _advise(settings: Settings, body: bodies.CaseBody, *, today: date) -> Advice:
    if body.built_year is not None and body.built_year > today.year:
        raise InputError(f"built_year {body.built_year} is after this year, {today.year}. Correct it or leave it out.")
    if body.machine and not body.shop:
        raise InputError(f"machine '{body.machine}' is known by its workshop only. Send its shop too.")
    using = served(settings)
    books = using.books
    symptom = known_code(books["symptom"], "symptom", body.symptom)
    visit = Visit(body.shop, body.machine, symptom, today)
    case = Case(
        symptom=symptom,
        family=known_code(books["family"], "family", body.family) if body.family else "",
        shop=body.shop,
        age_years=None if body.built_year is None else today.year - body.built_year,
        results=tuple(made.as_result(known_code(books["check"], "check", made.check)) for made in body.checks),
        also_present=codes_of(books, "symptom", body.also_present),
        also_absent=codes_of(books, "symptom", body.also_absent),
        complaint=body.complaint,
        last_repair=find_last_repair(settings.store_path, visit, using.vocabulary) if body.machine else None,
    )
    refuse_contradictions(case, using.vocabulary)
    return advise(using.posterior, case, using.vocabulary)


def refuse_contradictions(case: Case, vocabulary: Vocabulary) -> None:
    """InputError when a check has an outcome it cannot have, or a symptom is there and not there."""
    both = set(case.also_absent) & {case.symptom, *case.also_present}
    if both:
        raise InputError(f"'{sorted(both)[0]}' is given as there and as not there. Say one of the two.")
    for made in case.results:
        allowed = allowed_outcomes(vocabulary.checks[made.check])
        if made.outcome not in allowed:
            raise InputError(f"'{made.check}' cannot end in '{made.outcome}'. Allowed: {', '.join(allowed)}.")
