"""One bench session: what is known of the machine, and what was done to it, in order."""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import date

from analytics.case import LastRepair
from analytics.errors import InputError
from analytics.vocabulary import OUTCOMES, Check, Vocabulary

LOOK_OUTCOMES = ("fault_found", "clear", "inconclusive")
REMEDY_OUTCOMES = ("cured", "not_cured")
LEFT_OUT = ("skipped", "cannot_do")

# What an event is about, by its kind; "" = the machine as a whole.
ABOUT: Mapping[str, str] = {
    **dict.fromkeys((*OUTCOMES, *LEFT_OUT), "check"),
    **dict.fromkeys(("opened", "closed"), "access group"),
    **dict.fromkeys(("present", "absent"), "symptom"),
    "repaired": "suspect",
    "comes_and_goes": "",
}
_LISTS = {"check": "checks", "access group": "access_groups", "symptom": "symptoms", "suspect": "suspects"}
# Nobody works longer on one check than a working day; more is a slip of the pen. Common practice, no source.
MOST_MINUTES = 600.0


@dataclass(frozen=True)
class BenchEvent:
    """One thing that happened at the bench.

    kind : an outcome of a check, or `skipped`, `cannot_do` (a check), `opened`, `closed` (an access group), `present`,
        `absent` (another symptom), `repaired` (a suspect that it really was, while the complaint remains),
        `comes_and_goes` (the fault does)
    about : code of the check, access group, symptom or suspect; "" for `comes_and_goes`
    minutes : spent on it, where known
    """

    kind: str
    about: str = ""
    minutes: float | None = None


@dataclass(frozen=True)
class Session:
    """A machine on the bench: facts of the case ("" or None where unknown) and `events` in the order they happened.

    `last_repair` is set when the machine came back with the same symptom.
    """

    code: str
    shop: str
    symptom: str
    opened_on: date
    machine: str = ""
    family: str = ""
    built_year: int | None = None
    complaint: str = ""
    events: tuple[BenchEvent, ...] = ()
    last_repair: LastRepair | None = None

    @property
    def is_intermittent(self) -> bool:
        """Whether the fault is known to come and go."""
        return any(event.kind == "comes_and_goes" for event in self.events)

    @property
    def is_working(self) -> bool:
        """Whether the last remedy cured and nothing was said against it since."""
        tried = [event.kind for event in self.events if event.kind in (*REMEDY_OUTCOMES, "repaired")]
        return bool(tried) and tried[-1] == "cured"

    @property
    def repaired(self) -> tuple[str, ...]:
        """Suspects that were found and repaired while the complaint remained, in order."""
        return tuple(event.about for event in self.events if event.kind == "repaired")

    @property
    def since_repair(self) -> tuple[BenchEvent, ...]:
        """Events after the last `repaired`: what was seen of the fault that is still there."""
        last = max((at for at, event in enumerate(self.events, start=1) if event.kind == "repaired"), default=0)
        return self.events[last:]

    def about(self, kind: str) -> tuple[str, ...]:
        """What the events of one kind are about, each once, in order."""
        return tuple(dict.fromkeys(event.about for event in self.events if event.kind == kind))


def apply_event(session: Session, event: BenchEvent, vocabulary: Vocabulary) -> Session:
    """The session after one more event.

    Raises
    ------
    InputError
        When the event names what the vocabulary does not have, cannot happen to that check, or comes after the cure.
    """
    if event.kind not in ABOUT:
        raise InputError(f"'{event.kind}' is nothing that can be recorded. Allowed: {', '.join(ABOUT)}.")
    _refuse_unknown(event, vocabulary)
    if event.minutes is not None and not 0 <= event.minutes <= MOST_MINUTES:
        raise InputError(f"{event.minutes:g} minutes cannot be right. Give 0 to {MOST_MINUTES:g}, or leave them out.")
    if session.is_working and ABOUT[event.kind] == "check":
        raise InputError(
            "The machine works since the last remedy. Close the session; or, if the complaint is still there, record "
            "the suspect as repaired and go on; or undo the last entry."
        )
    if event.kind in OUTCOMES:
        _refuse_outcome(session, event, vocabulary)
    if event.kind == "repaired" and event.about in session.repaired:
        raise InputError(f"'{event.about}' is recorded as repaired already. Close the session, or undo that entry.")
    after = replace(session, events=(*session.events, event))
    validate_facts(after, vocabulary)
    return after


def undo(session: Session) -> Session:
    """The session without its last event."""
    if not session.events:
        raise InputError("There is nothing to undo: no entry was made yet.")
    return replace(session, events=session.events[:-1])


def allowed_outcomes(check: Check) -> tuple[str, ...]:
    """Outcomes that a check can have: a remedy cures or not, a look finds or clears, either may tell nothing."""
    if not check.is_remedy:
        return LOOK_OUTCOMES
    return (*REMEDY_OUTCOMES, "fault_found", "inconclusive") if check.reveals else (*REMEDY_OUTCOMES, "inconclusive")


def validate_facts(session: Session, vocabulary: Vocabulary) -> None:
    """InputError when the facts of a session cannot be: no shop, unknown codes, built after it came in."""
    if not session.shop.strip():
        raise InputError("A session needs the name of the workshop, because its ticket does. Give the shop.")
    vocabulary.suspects_of(session.symptom)
    if session.family and session.family not in vocabulary.families:
        raise InputError(f"No family is called '{session.family}'. Known: {', '.join(vocabulary.families)}.")
    if session.built_year is not None and not 1800 <= session.built_year <= session.opened_on.year:
        raise InputError(
            f"Built in {session.built_year} cannot be: it came in on {session.opened_on}. Correct the year, or leave "
            "it out."
        )
    present, absent = session.about("present"), session.about("absent")
    both = set(present) & set(absent) or {session.symptom} & {*present, *absent}
    if both:
        raise InputError(f"'{sorted(both)[0]}' is recorded already. Undo that entry if it was wrong.")


def _refuse_unknown(event: BenchEvent, vocabulary: Vocabulary) -> None:
    known: Mapping[str, Mapping[str, object]] = {
        "check": vocabulary.checks,
        "access group": vocabulary.access_groups,
        "symptom": vocabulary.symptoms,
        "suspect": vocabulary.suspects,
        "": {"": None},
    }
    field = ABOUT[event.kind]
    if event.about not in known[field]:
        if not field:
            raise InputError(f"'{event.kind}' is about the whole machine; leave out '{event.about}'.")
        raise InputError(f"No {field} is called '{event.about}'. See `faultodds vocabulary list {_LISTS[field]}`.")


def _refuse_outcome(session: Session, event: BenchEvent, vocabulary: Vocabulary) -> None:
    check = vocabulary.checks[event.about]
    allowed = allowed_outcomes(check)
    if event.kind not in allowed:
        raise InputError(f"'{event.kind}' is no outcome of '{check.name}'. Allowed: {', '.join(allowed)}.")
    since = [one.kind for one in session.since_repair if one.about == event.about]
    if event.kind in ("fault_found", "clear") and event.kind in since:
        raise InputError(f"'{check.name}' gave {event.kind} already, and a look repeated tells nothing new.")
