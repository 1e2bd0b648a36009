"""A machine being put back together: the odds that it works when it is switched on, and which check raises them most.

Model: each suspect of the vocabulary is present or not, independently. The expected number of faults, -ln(1 - chance of
any fault), is shared out among the suspects in proportion to how often each is the fault of a ticket: posterior mean
odds within a symptom, symptoms weighted by their frequency. So P(k present) = 1 - exp(-share), and P(works) =
prod_k (1 - P(k present)) begins at 1 - chance of any fault. A check finds nothing with probability (1 - false alarm)
prod over the suspects present of (1 - detection) / (1 - false alarm), so one that passed multiplies the odds of each
suspect it reveals by that factor and leaves the others alone. A remedy takes each suspect away with the probability
that it cures it. Suspects that no check reveals ("something else") stay.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from analytics.advice import expected_minutes_of
from analytics.case import Case
from analytics.errors import InputError
from analytics.plan_access import build_access
from analytics.posterior import Posterior
from analytics.suspects import prior_belief, weighted_quantiles
from analytics.vocabulary import Check, Vocabulary

# Of machines just put together one in two does something wrong at the first try. Nothing in the tickets tells it,
# because nobody writes a ticket for a machine that worked: say your own. Common practice, no source.
CHANCE_OF_FAULT = 0.5
# A split test or a swap compares while the machine runs; the others can be made before it is switched on, unless they
# name no mains at all: those are made from outside on a running machine.
RUNNING_KINDS = ("split_test", "swap")
# A check that adds less is not worth naming.
LEAST_GAIN = 1e-4


@dataclass(frozen=True)
class FurtherCheck:
    """One more check: minutes with opening up, P(works) if it passes (a remedy: once done), and the gain per minute."""

    check: str
    minutes: float
    probability_after: float
    gain_per_minute: float


@dataclass(frozen=True)
class Readiness:
    """The answer.

    probability : P(works when switched on), with its 90 % interval over the draws
    suspects : (code, P(present)) by falling probability
    further : further checks, the one that raises P(works) most per minute first
    """

    probability: float
    low: float
    high: float
    suspects: tuple[tuple[str, float], ...]
    further: tuple[FurtherCheck, ...]


def assess_readiness(
    posterior: Posterior,
    vocabulary: Vocabulary,
    share: np.ndarray,
    *,
    passed: Sequence[str] = (),
    open_groups: frozenset[str] = frozenset(),
    chance_of_fault: float = CHANCE_OF_FAULT,
) -> Readiness:
    """Odds that a machine works when it is switched on.

    Parameters
    ----------
    share : (draw, suspect) from `fault_shares`
    passed : checks that found nothing, and remedies that were done (done after the looks)
    open_groups : access groups that are open while it is being put together
    chance_of_fault : P(any fault) before any check, between 0 and 1

    Raises
    ------
    InputError
        For an unknown check, or a chance that is none.
    """
    if not 0.0 < chance_of_fault < 1.0:
        raise InputError(f"A chance of {chance_of_fault:g} cannot be reckoned with. Give a number between 0 and 1.")
    for code in passed:
        if code not in vocabulary.checks:
            raise InputError(f"No check is called '{code}'. See `faultodds vocabulary list checks`.")
    absent, present, weight = _states(posterior, vocabulary, share, list(dict.fromkeys(passed)), chance_of_fault)
    now = _probability(absent, present, weight)
    works = np.exp(np.log(absent / (absent + present)).sum(1))
    by_draw = weight * np.exp(np.log(absent + present).sum(1))
    low, high = weighted_quantiles(works[:, None], by_draw, (0.05, 0.95))[:, 0]
    mean = by_draw @ (present / (absent + present)) / by_draw.sum()
    order = np.argsort(-mean, kind="stable")
    names = list(posterior.positions["suspect"])
    return Readiness(
        probability=now,
        low=float(low),
        high=float(high),
        suspects=tuple((names[at], float(mean[at])) for at in order),
        further=_rank(posterior, vocabulary, (absent, present, weight), passed=passed, open_groups=open_groups),
    )


def fault_shares(
    posterior: Posterior,
    vocabulary: Vocabulary,
    symptom_weights: Mapping[str, float],
    *,
    family: str = "",
    age_years: int | None = None,
) -> np.ndarray:
    """(draw, suspect) share of each suspect in all faults of this kind of machine; each row sums to 1.

    Parameters
    ----------
    symptom_weights : symptom -> how often it comes in (tickets, any scale); symptoms left out weigh nothing

    Raises
    ------
    InputError
        When all weights are 0.
    """
    total = sum(symptom_weights.values())
    if not total > 0:
        raise InputError("No symptom has any weight. Give a count above 0 for at least one symptom.")
    share = np.zeros((posterior.draw_count, posterior.draws.sizes["suspect"]))
    for symptom, weight in symptom_weights.items():
        if weight > 0:
            links = posterior.links_by_symptom[posterior.positions["symptom"][symptom]]
            case = Case(symptom=symptom, family=family, age_years=age_years)
            listed = posterior.arrays["link_suspect"][links]
            share[:, listed] += prior_belief(posterior, case, vocabulary) * weight / total
    return share


def is_made_before_power(check: Check) -> bool:
    """Whether a check can be made on a machine that has not been switched on yet."""
    return check.kind not in RUNNING_KINDS and "mains_present" in check.hazards


type _States = tuple[np.ndarray, np.ndarray, np.ndarray]


def _states(
    posterior: Posterior, vocabulary: Vocabulary, share: np.ndarray, passed: Sequence[str], chance: float
) -> _States:
    """(draw, suspect) P(absent, checks passed), P(present, checks passed), and (draw,) P(passed | no fault)."""
    present = -np.expm1(np.log1p(-chance) * share)
    states = (1.0 - present, present, np.ones(len(share)))
    looks = [code for code in passed if not vocabulary.checks[code].is_remedy]
    remedies = [code for code in passed if vocabulary.checks[code].is_remedy]
    for code in (*looks, *remedies):
        states = _after(posterior, vocabulary.checks[code], states)
    return states


def _after(posterior: Posterior, check: Check, states: _States) -> _States:
    """The states once the check passed, or the remedy was done."""
    absent, present, weight = states
    at, arrays = posterior.positions["check"][check.code], posterior.arrays
    factor = np.ones_like(present)
    if check.is_remedy:
        rows = arrays["remedy_check"] == at
        factor[:, arrays["remedy_suspect"][rows]] = 1.0 - arrays["cure"][:, rows]
        return absent + present * (1.0 - factor), present * factor, weight
    rows, quiet = arrays["reveal_check"] == at, 1.0 - arrays["false_alarm"][:, at]
    missed = (1.0 - arrays["detection"][:, rows]) / quiet[:, None]
    factor[:, arrays["reveal_suspect"][rows]] = np.minimum(missed, 1.0)
    return absent, present * factor, weight * quiet


def _probability(absent: np.ndarray, present: np.ndarray, weight: np.ndarray) -> float:
    """P(no suspect present | passed): masses summed over the draws, divided once."""
    works, any_state = np.exp(np.log(absent).sum(1)), np.exp(np.log(absent + present).sum(1))
    return float((weight * works).sum() / (weight * any_state).sum())


def _rank(
    posterior: Posterior,
    vocabulary: Vocabulary,
    states: _States,
    *,
    passed: Sequence[str],
    open_groups: frozenset[str],
) -> tuple[FurtherCheck, ...]:
    now = _probability(*states)
    checks = [c for c in vocabulary.checks.values() if c.code not in passed and is_made_before_power(c)]
    expected = expected_minutes_of(posterior)
    access, open_mask = build_access(
        checks,
        vocabulary.access_groups,
        minutes=[expected[check.code] for check in checks],
        open_groups=open_groups,
        closed_for_retest=frozenset(),
    )
    further = []
    for check, spent in zip(checks, access.minutes[:, open_mask], strict=True):
        then = _probability(*_after(posterior, check, states))
        if then - now >= LEAST_GAIN:
            further.append(FurtherCheck(check.code, float(spent), then, (then - now) / float(spent)))
    return tuple(sorted(further, key=lambda one: -one.gain_per_minute))
