"""What a known-good unit kept as a tool saves: the plan of every symptom with its swap and without it."""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import pandas as pd

from analytics.case import Case
from analytics.plan_of_case import PlanOf, plan_of_case
from analytics.plan_solution import Plan
from analytics.plan_steps import PlanStep, list_ends, write_steps
from analytics.posterior import Posterior
from analytics.suspects import Belief, belief
from analytics.vocabulary import Vocabulary

SWAP_KIND = "swap"
# Branches rarer than this are not looked into for uses of a swap.
RARE_BRANCH = 0.005


@dataclass(frozen=True)
class SwapWorth:
    """What one swap saves in a year.

    Parameters
    ----------
    check : code of the swap
    symptoms : symptoms it bears on that came in
    machines : machines a year with one of them
    uses : how often a year the plan would make the swap
    minutes, low, high : bench minutes saved a year, with a 90 % interval over the draws of the belief
    """

    check: str
    symptoms: tuple[str, ...]
    machines: float
    uses: float
    minutes: float
    low: float
    high: float


def value_swaps(
    posterior: Posterior, arrivals: pd.DataFrame, vocabulary: Vocabulary, *, plan_of: PlanOf = plan_of_case
) -> tuple[SwapWorth, ...]:
    """Every swap of the vocabulary that bears on a symptom that came in, the most minutes saved first.

    Parameters
    ----------
    arrivals : frame with symptom and per_year (machines a year); one row a symptom

    Notes
    -----
    The plan is that of a machine of unknown kind and age. Long lists are planned by search, "at most" so many minutes:
    where the plan with the swap comes out dearer than the one without, the swap is not made and saves nothing.
    """
    per_year = dict(zip(arrivals["symptom"], arrivals["per_year"], strict=True))
    swaps = [check.code for check in vocabulary.checks.values() if check.kind == SWAP_KIND]
    bearing = {code: _symptoms_of(code, per_year, posterior, vocabulary) for code in swaps}
    needed = dict.fromkeys(symptom for symptoms in bearing.values() for symptom in symptoms)
    base = {symptom: plan_of(posterior, Case(symptom), vocabulary) for symptom in needed}
    shares = {symptom: _shares(belief(posterior, Case(symptom), vocabulary)) for symptom in needed}
    found = []
    for code in swaps:
        if not bearing[code]:
            continue
        saved = np.zeros(posterior.draw_count)
        uses = 0.0
        for symptom in bearing[code]:
            plan = base[symptom]
            without = plan_of_case(posterior, Case(symptom), vocabulary, excluded=frozenset({code}))
            spared = shares[symptom] @ (_minutes_by_suspect(without) - _minutes_by_suspect(plan))
            if spared.mean() > 0:
                saved += per_year[symptom] * spared
                uses += per_year[symptom] * chance_made(write_steps(plan, chance_floor=RARE_BRANCH), code)
        low, high = np.quantile(saved, (0.05, 0.95))
        machines = sum(per_year[symptom] for symptom in bearing[code])
        found.append(
            SwapWorth(code, bearing[code], machines, uses, float(saved.mean()), float(max(low, 0.0)), float(high))
        )
    return tuple(sorted(found, key=lambda worth: -worth.minutes))


def chance_made(step: PlanStep, check: str) -> float:
    """P(the plan makes the check) by its written steps."""
    own = step.chance if step.check == check else 0.0
    return own + sum(chance_made(after, check) for _, after in step.after)


def _symptoms_of(
    code: str, per_year: Mapping[str, float], posterior: Posterior, vocabulary: Vocabulary
) -> tuple[str, ...]:
    known = posterior.positions["symptom"]
    bears = (s for s in vocabulary.symptoms if code in {check.code for check in vocabulary.checks_for(s)})
    return tuple(symptom for symptom in bears if per_year.get(symptom, 0.0) > 0 and symptom in known)


def _minutes_by_suspect(plan: Plan) -> np.ndarray:
    """(suspect,) what the plan takes if it is this one."""
    ends = list_ends(plan)
    return np.asarray(ends.minutes @ ends.by_column)


def _shares(found: Belief) -> np.ndarray:
    return found.mass / found.mass.sum(1, keepdims=True)
