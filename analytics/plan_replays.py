"""What the plan would have cost on machines whose suspect is known by now, beside what was done, at the same prices."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from analytics.advice import SENDOUT_MINUTES, expected_minutes_of
from analytics.case import Case, CheckResult
from analytics.plan_access import build_access
from analytics.plan_of_case import PlanOf, plan_of_case
from analytics.plan_steps import PlanEnds, list_ends
from analytics.posterior import Posterior
from analytics.suspects import belief
from analytics.vocabulary import Vocabulary

# Nine in ten of a normal distribution lie within so many standard deviations.
FAR = 1.645


@dataclass(frozen=True)
class DoneRepair:
    """A closed repair: the case as it came in, the checks with their outcomes in the order made, and how it ended.

    suspect : what it was, "" where nobody knows; a repair without one was not fixed, and was handed on in the end
    """

    case: Case
    results: tuple[CheckResult, ...]
    suspect: str = ""


def replay_plan(
    posterior: Posterior, repairs: Sequence[DoneRepair], vocabulary: Vocabulary, *, plan_of: PlanOf = plan_of_case
) -> np.ndarray:
    """Minutes (repair, 2): expected under the plan given what it was, and of the checks in the order made.

    Both pay the posterior's mean minutes of each check, the vocabulary's minutes for opening and closing, and the price
    of handing on. Where nobody knows what it was, the plan meets every suspect with the odds that the results leave it.
    Like cases are solved once.

    Raises
    ------
    InputError
        For a case, suspect or check that the vocabulary or the posterior does not know.
    """
    ends: dict[Case, PlanEnds] = {}
    for repair in repairs:
        if repair.case not in ends:
            ends[repair.case] = list_ends(plan_of(posterior, repair.case, vocabulary))
    minutes = expected_minutes_of(posterior)
    rows = []
    for repair in repairs:
        chance = ends[repair.case].by_column @ _odds(posterior, repair, vocabulary)
        rows.append((ends[repair.case].minutes @ chance / chance.sum(), _as_made(repair, minutes, vocabulary)))
    return np.array(rows, dtype=float).reshape(-1, 2)


def saved_share(minutes: np.ndarray) -> tuple[float, float, float]:
    """Share of the minutes made that the plan would have saved, and both ends of its 90 % interval (two repairs on).

    Parameters
    ----------
    minutes : (repair, 2) as `replay_plan` gives them

    Notes
    -----
    A ratio of two means with its usual large-sample error: Cochran, "Sampling Techniques" (3rd edition, 1977),
    section 2.11, from memory.
    """
    plan, made = minutes.T
    ratio = plan.mean() / made.mean()
    error = np.std(plan - ratio * made, ddof=1) / np.sqrt(len(plan)) / made.mean()
    return float(1.0 - ratio), float(1.0 - ratio - FAR * error), float(1.0 - ratio + FAR * error)


def _odds(posterior: Posterior, repair: DoneRepair, vocabulary: Vocabulary) -> np.ndarray:
    """(suspect,) what it was, as far as known."""
    if repair.suspect:
        suspects = vocabulary.suspects_of(repair.case.symptom)
        return np.eye(len(suspects))[suspects.index(repair.suspect)]
    told = belief(posterior, replace(repair.case, results=repair.results), vocabulary).mass
    mass = told.sum(axis=0) if told.ndim > 1 else told
    return np.asarray(mass / mass.sum())


def _as_made(repair: DoneRepair, minutes: dict[str, float], vocabulary: Vocabulary) -> float:
    """Minutes of the checks in the order made, opening and closing included, and handing on where it was not fixed."""
    made = [result.check for result in repair.results]
    checks = [vocabulary.checks[code] for code in dict.fromkeys(made)]
    expected = [minutes.get(check.code, check.minutes) for check in checks]
    access, opened = build_access(
        checks, vocabulary.access_groups, minutes=expected, open_groups=frozenset(), closed_for_retest=None
    )
    spent, names = 0.0 if repair.suspect else SENDOUT_MINUTES, [check.code for check in checks]
    for code in made:
        at = names.index(code)
        spent += float(access.minutes[at, opened])
        opened = int(access.after[at, opened])
    return spent
