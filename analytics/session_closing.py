"""How a bench session ends: the suspects it was, how sure that is, and the result."""

from dataclasses import dataclass

from analytics.case import CheckResult
from analytics.errors import InputError
from analytics.session import Session
from analytics.suspects import SuspectOdds
from analytics.vocabulary import CONFIRMATIONS, OUTCOMES, RESULTS, Vocabulary


@dataclass(frozen=True)
class Closing:
    """The end of a repair.

    result : one of `RESULTS`
    suspects : what it really was, in the order found; () when unresolved or no fault found
    confirmation : one of `CONFIRMATIONS`; "" without suspects
    minutes : of the whole repair; None = those recorded with the events
    """

    result: str
    suspects: tuple[str, ...] = ()
    confirmation: str = ""
    minutes: float | None = None


def suggest_closing(session: Session, odds: tuple[SuspectOdds, ...], vocabulary: Vocabulary) -> Closing:
    """The end that the entries speak for, to be looked over by the technician.

    A cure names the most probable suspect among those that the remedy is for; of a fault that comes and goes it is
    only known that it went away. Without a cure the repair is not fixed, with what was repaired on the way.
    """
    found = list(session.repaired)
    if session.is_working:
        remedy = next(event.about for event in reversed(session.events) if event.kind == "cured")
        cures = vocabulary.checks[remedy].cures
        found += [one.suspect for one in odds if one.suspect in cures and one.suspect not in found][:1]
    sure = "symptom_went_away" if session.is_intermittent else "cured"
    result = "fixed" if session.is_working and found else "not_fixed"
    return Closing(result, tuple(found), confirmation=sure if found else "")


def validate_closing(session: Session, closing: Closing, vocabulary: Vocabulary) -> None:
    """InputError when result, suspects and confirmation do not fit each other."""
    if closing.result not in RESULTS:
        raise InputError(f"'{closing.result}' is no result. Allowed: {', '.join(RESULTS)}.")
    listed = vocabulary.suspects_of(session.symptom)
    for suspect in closing.suspects:
        if suspect not in listed:
            raise InputError(
                f"'{suspect}' is no suspect of '{session.symptom}'. Choose one of {', '.join(listed)}; the last one "
                "stands for whatever is not listed."
            )
    if closing.result == "no_fault_found" and (closing.suspects or session.repaired):
        raise InputError("No fault was found, yet a suspect is named. Leave the suspect out, or give another result.")
    if closing.result == "fixed" and not closing.suspects:
        raise InputError("A fixed machine had a suspect. Name it; 'something_else' if it is on no list.")
    missing = [suspect for suspect in session.repaired if suspect not in closing.suspects]
    if missing:
        raise InputError(f"'{missing[0]}' was recorded as repaired. Name it too, or undo that entry.")
    if closing.suspects and closing.confirmation not in CONFIRMATIONS:
        raise InputError(
            f"'{closing.confirmation}' does not say how sure the suspect is. Allowed: {', '.join(CONFIRMATIONS)}."
        )


def checks_made(session: Session) -> tuple[CheckResult, ...]:
    """Every check with an outcome, in order; what was skipped or could not be done is none."""
    return tuple(CheckResult(e.about, e.kind, e.minutes) for e in session.events if e.kind in OUTCOMES)


def total_minutes(session: Session, closing: Closing) -> float | None:
    """Minutes of the whole repair: as given, else the sum of those recorded, None when none was."""
    if closing.minutes is not None:
        return closing.minutes
    spent = [event.minutes for event in session.events if event.minutes is not None]
    return round(sum(spent), 2) if spent else None
