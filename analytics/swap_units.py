"""What a known-good unit kept as a tool saves: the plan of every symptom with its swap and without it."""

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from analytics.advice import SENDOUT_MINUTES, expected_minutes_of, mean_rates
from analytics.case import Case
from analytics.plan_solution import Plan, solve_plan
from analytics.plan_steps import PlanStep, list_ends, write_steps
from analytics.planning import BenchState, make_plan_problem
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


def value_swaps(posterior: Posterior, arrivals: pd.DataFrame, vocabulary: Vocabulary) -> tuple[SwapWorth, ...]:
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
    bench = BenchState(sendout_minutes=SENDOUT_MINUTES, check_minutes=expected_minutes_of(posterior))
    base = {symptom: _planned(posterior, symptom, vocabulary, bench) for symptom in needed}
    found = []
    for code in swaps:
        if not bearing[code]:
            continue
        without = replace(bench, excluded=bench.excluded | {code})
        saved = np.zeros(posterior.draw_count)
        uses = 0.0
        for symptom in bearing[code]:
            plan, minutes = base[symptom]
            spared = _planned(posterior, symptom, vocabulary, without)[1] - minutes
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


def _planned(posterior: Posterior, symptom: str, vocabulary: Vocabulary, bench: BenchState) -> tuple[Plan, np.ndarray]:
    """The plan, and its expected minutes in every draw of the belief (the plan kept)."""
    found = belief(posterior, Case(symptom), vocabulary)
    problem = make_plan_problem(found.mass, vocabulary, symptom, bench=bench, rates=mean_rates(posterior))
    plan = solve_plan(problem)
    ends = list_ends(plan)
    return plan, _shares(found) @ (ends.minutes @ ends.by_column)


def _shares(found: Belief) -> np.ndarray:
    return found.mass / found.mass.sum(1, keepdims=True)
