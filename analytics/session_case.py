"""What a bench session asks of the odds and of the planner: its case, the bench as it stands, and the advice."""

from analytics.advice import SENDOUT_MINUTES, Advice, advise
from analytics.case import Case, CheckResult
from analytics.plan_access import group_path
from analytics.planning import BenchState
from analytics.posterior import Posterior
from analytics.session import LEFT_OUT, BenchEvent, Session
from analytics.vocabulary import OUTCOMES, SOMETHING_ELSE, Check, Vocabulary

# A fault that comes and goes is away in about so many retests though nothing was cured. Common practice, no source.
DECEIVE_WHEN_INTERMITTENT = 0.3
# What a machine costs that went home "cured" and comes back: fetching, opening and beginning again, beside handing it
# on. Common practice, no source.
COMEBACK_MINUTES = 60.0


def to_case(session: Session, vocabulary: Vocabulary) -> Case:
    """The case that the odds are asked about now.

    With a second fault in the machine it is about that one. What was clear stays clear, and a remedy that did not help
    did not repair the second fault either; but what the first suspect explains (a check that reveals it found a fault,
    the remedy that seemed to cure) says nothing about the second.
    """
    last_repair = len(session.events) - len(session.since_repair)
    results = [
        CheckResult(event.about, event.kind, event.minutes)
        for at, event in enumerate(session.events)
        if event.kind in OUTCOMES and not (at < last_repair and _is_explained(event, session, vocabulary))
    ]
    return Case(
        symptom=session.symptom,
        family=session.family,
        shop=session.shop,
        age_years=None if session.built_year is None else session.opened_on.year - session.built_year,
        results=tuple(results),
        also_present=session.about("present"),
        also_absent=session.about("absent"),
        complaint=session.complaint,
        last_repair=session.last_repair,
    )


def to_bench_state(session: Session, vocabulary: Vocabulary, *, sendout_minutes: float = SENDOUT_MINUTES) -> BenchState:
    """The bench as the planner needs it: what is open, what is left out, and whether a retest can deceive."""
    return BenchState(
        sendout_minutes=sendout_minutes,
        open_groups=find_open_groups(session, vocabulary),
        excluded=frozenset(event.about for event in session.events if event.kind in LEFT_OUT),
        deceive=DECEIVE_WHEN_INTERMITTENT if session.is_intermittent else 0.0,
        comeback_minutes=COMEBACK_MINUTES if session.is_intermittent else 0.0,
    )


def find_open_groups(session: Session, vocabulary: Vocabulary) -> frozenset[str]:
    """Access groups that are open now, what they lie inside of included.

    A check opens its group; a remedy or a swap then closes what a retest needs closed; `opened` and `closed` overrule.
    """
    groups = vocabulary.access_groups
    paths = {code: group_path(code, groups) for code in groups}
    shut = {code for code, path in paths.items() if any(groups[outer].must_close_for_retest for outer in path)}
    is_open: set[str] = set()
    for event in session.events:
        if event.kind == "opened":
            is_open |= set(paths[event.about])
        elif event.kind == "closed":
            is_open -= {code for code, path in paths.items() if event.about in path}
        elif event.kind in OUTCOMES:
            check = vocabulary.checks[event.about]
            is_open |= set(paths.get(check.access_group, ()))
            is_open -= shut if _is_retested(check) else set()
    return frozenset(is_open)


def advise_session(
    posterior: Posterior, session: Session, vocabulary: Vocabulary, *, sendout_minutes: float = SENDOUT_MINUTES
) -> Advice:
    """Suspects and plan for the machine as it stands on the bench.

    Raises
    ------
    InputError
        When the session names what the fit does not know, or its entries contradict each other.
    """
    return advise(
        posterior,
        to_case(session, vocabulary),
        vocabulary,
        bench=to_bench_state(session, vocabulary, sendout_minutes=sendout_minutes),
        # "something else" twice in one machine is two different things
        repaired=frozenset(session.repaired) - {SOMETHING_ELSE},
    )


def _is_retested(check: Check) -> bool:
    return check.is_remedy or check.kind == "swap"


def _is_explained(event: BenchEvent, session: Session, vocabulary: Vocabulary) -> bool:
    reveals = vocabulary.checks[event.about].reveals
    return event.kind == "cured" or (event.kind == "fault_found" and bool(set(reveals) & set(session.repaired)))
