"""Why a suspect stands where it stands: one contribution for each thing known, in log odds, exact by construction."""

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np

from analytics.case import Case
from analytics.complaint import words_that_moved
from analytics.errors import InputError
from analytics.posterior import Posterior
from analytics.suspects import belief
from analytics.vocabulary import STRENGTH_WEIGHTS, Vocabulary

# In the order in which they are told.
SOURCES = (
    "list",
    "seeded",
    "tickets",
    "shop",
    "family",
    "age",
    "last_repair",
    "present",
    "absent",
    "complaint",
    "check",
)


@dataclass(frozen=True)
class Contribution:
    """What one thing known did to the odds of one suspect.

    source : one of `SOURCES`; code, outcome : the shop, family, age band, symptom or check, and the check's outcome
    log_odds : how far it moved log(p / (1 - p)); before, after : P(suspect) without and with it
    words : for the complaint, words and pairs with their log odds against the list's geometric mean, strongest first
    """

    source: str
    code: str
    outcome: str
    log_odds: float
    before: float
    after: float
    words: tuple[tuple[str, float], ...] = ()


def explain(posterior: Posterior, case: Case, vocabulary: Vocabulary, suspect: str) -> tuple[Contribution, ...]:
    """What each thing known did to the odds of a suspect against all others of the list, one after the other.

    The order is fixed: the list (an even chance for each), the seeded strengths, what the tickets (and rules of thumb)
    taught about a machine and a shop nobody knows, then this shop, family and age, the last repair of a machine that
    came back, other symptoms, the complaint, and every check in the order made. Each contribution is the difference it
    makes to log(p / (1 - p)) of the mean belief, given all before it. The first one starts at even odds, so they sum to
    the log odds of `belief`; another order would share them out otherwise. Things not known, and checks that tell
    nothing, have none.

    Raises
    ------
    InputError
        As `belief` does, and when the suspect is not in the symptom's list.
    """
    listed = belief(posterior, Case(case.symptom), vocabulary).suspects
    if suspect not in listed:
        raise InputError(f"'{suspect}' is not in the list of '{case.symptom}'. Listed: {', '.join(listed)}.")
    told, before = [], 0.0
    for source, code, outcome, mass in _stages(posterior, case, vocabulary, listed=listed):
        after = _log_odds(mass, listed.index(suspect))
        if after != before or source == "list":
            words = _words(posterior, case, suspect, listed=listed) if source == "complaint" else ()
            told.append(Contribution(source, code, outcome, after - before, _chance(before), _chance(after), words))
        before = after
    return tuple(told)


def _stages(
    posterior: Posterior, case: Case, vocabulary: Vocabulary, *, listed: tuple[str, ...]
) -> Iterator[tuple[str, str, str, np.ndarray]]:
    """Source, code, outcome, and (suspect,) masses when all up to here is known."""
    yield "list", "", "", np.ones(len(listed))
    strengths = [vocabulary.links.get((case.symptom, code), "rarely") for code in listed]
    yield "seeded", "", "", np.array([STRENGTH_WEIGHTS[strength] for strength in strengths])
    for source, code, outcome, known in _growing_cases(case, vocabulary):
        yield source, code, outcome, belief(posterior, known, vocabulary).mean


def _growing_cases(case: Case, vocabulary: Vocabulary) -> Iterator[tuple[str, str, str, Case]]:
    """The case as it becomes known."""
    known = Case(case.symptom)
    yield "tickets", "", "", known
    known = replace(known, shop=case.shop)
    yield "shop", case.shop, "", known
    known = replace(known, family=case.family)
    yield "family", case.family, "", known
    known = replace(known, age_years=case.age_years)
    yield "age", vocabulary.age_band_of(case.age_years), "", known
    if case.last_repair is not None:
        known = replace(known, last_repair=case.last_repair)
        yield "last_repair", case.last_repair.suspect, "", known
    for symptom in case.also_present:
        known = replace(known, also_present=(*known.also_present, symptom))
        yield "present", symptom, "", known
    for symptom in case.also_absent:
        known = replace(known, also_absent=(*known.also_absent, symptom))
        yield "absent", symptom, "", known
    known = replace(known, complaint=case.complaint)
    yield "complaint", "", "", known
    for result in case.results:
        known = known.with_result(result)
        yield "check", result.check, result.outcome, known


def _words(posterior: Posterior, case: Case, suspect: str, *, listed: tuple[str, ...]) -> tuple[tuple[str, float], ...]:
    return words_that_moved(posterior.text, case.complaint, suspect, suspects=listed) if posterior.text else ()


def _log_odds(mass: np.ndarray, at: int) -> float:
    """Against all others together; these are summed, since 1 - p would lose digits near certainty."""
    return float(np.log(mass[at]) - np.log(np.delete(mass, at).sum()))


def _chance(log_odds: float) -> float:
    return float(1.0 / (1.0 + np.exp(-log_odds)))
