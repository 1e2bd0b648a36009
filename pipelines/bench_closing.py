"""The questions that close a session: result, suspects, how sure, minutes; each with what the entries speak for."""

from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

import click

from analytics.advice import Advice
from analytics.session import Session
from analytics.session_closing import Closing, suggest_closing, total_minutes
from analytics.vocabulary import CONFIRMATIONS, RESULTS, SOMETHING_ELSE, Vocabulary
from pipelines.bench_prompts import ask_code, ask_minutes, ask_numbered
from pipelines.bench_tickets import TicketRow
from pipelines.matching import PhraseBook
from pipelines.sessions import close_session
from pipelines.wording import listed, minutes_phrase

RESULT_WORDS = {
    "fixed": "fixed",
    "not_fixed": "not fixed",
    "no_fault_found": "no fault found: it never failed here",
    "handed_on": "handed on to somebody else",
}
CONFIRMATION_WORDS = {
    "reproduced_and_cured": "surely: the fault was seen, and the repair cured it",
    "cured": "fairly: the repair cured it",
    "symptom_went_away": "hardly: the symptom went away",
}


def close_by_questions(
    store_path: Path, session: Session, advice: Advice | None, *, vocabulary: Vocabulary, book: PhraseBook
) -> TicketRow:
    """Ask how it ended, close the session, and return its ticket."""
    suggested = suggest_closing(session, advice.suspects if advice else (), vocabulary)
    words = [RESULT_WORDS[result] for result in RESULTS]
    result = RESULTS[ask_numbered("How did it end", words, suggested=RESULTS.index(suggested.result))]
    closing = replace(suggested, result=result)
    closing = Closing(result) if result == "no_fault_found" else _ask_suspects(closing, session, vocabulary, book)
    spent = total_minutes(session, closing)
    known = "none were noted" if spent is None else f"blank = {minutes_phrase(spent)}, as noted"
    closing = replace(closing, minutes=ask_minutes(f"Minutes of the whole repair ({known})"))
    return close_session(store_path, session, closing, vocabulary=vocabulary, today=datetime.now(UTC).date())


def _ask_suspects(closing: Closing, session: Session, vocabulary: Vocabulary, book: PhraseBook) -> Closing:
    names = [vocabulary.suspects[code].name for code in closing.suspects]
    click.echo(f"It was: {listed(names)}." if names else "What it was is not known yet.")
    keep = "as said" if names else "not known"
    last = ask_code(f"What it really was (blank = {keep}; '{SOMETHING_ELSE}' for what is on no list)", book)
    # another name corrects the guess; what was recorded as repaired on the way stays
    suspects = tuple(dict.fromkeys((*session.repaired, last))) if last else closing.suspects
    if not suspects:
        return replace(closing, suspects=(), confirmation="")
    sure = CONFIRMATIONS.index(closing.confirmation or "cured")
    words = [CONFIRMATION_WORDS[code] for code in CONFIRMATIONS]
    return replace(
        closing, suspects=suspects, confirmation=CONFIRMATIONS[ask_numbered("How sure", words, suggested=sure)]
    )
