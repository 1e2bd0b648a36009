"""What a plan tells a person: which check, what it costs, what another would cost, how sure all that is."""

from dataclasses import dataclass, replace

import numpy as np

from analytics.plan_solution import HAND_ON, Plan, check_minutes, expected_minutes, next_check, solve_from
from analytics.plan_steps import PlanEnds, PlanStep, list_ends, write_steps

# 90 %, as everywhere an interval is shown.
INTERVAL_TAILS = (0.05, 0.95)
# The crossing is piecewise straight: chords find it in a few rounds.
SLACK_ROUNDS = 12
CLOSE_ENOUGH = 1e-6


@dataclass(frozen=True)
class CheckChoice:
    """One check as the next one.

    expected_minutes : until the machine is fixed or handed on, this check first ("at most" unless the plan is exact)
    minutes_lost : expected minutes lost by making it next instead of the recommended one
    minutes : of the check now, opening (and closing for its retest) included
    chance_cured : P(it cures), 0 for a check that only looks
    """

    check: str
    expected_minutes: float
    minutes_lost: float
    minutes: float
    chance_cured: float


@dataclass(frozen=True)
class PlanAnswer:
    """Answers from one plan.

    check : code of the next check; "" = hand the machine on now
    expected_minutes : until the machine is fixed or handed on; exact, or at most that when `is_exact` is False
    interval : 90 % interval of the expected minutes over the draws of the belief (the plan kept)
    chance_fixed : P(fixed here before handing on)
    chance_deceived : P(it seems fixed and comes back)
    quantile_minutes : minutes that this machine takes at least in 9, 5 and 1 of ten cases (10, 50 and 90 % points)
    choices : every check that can be made next, best first
    first_step : the plan written out
    ends : every way the plan can end
    """

    check: str
    expected_minutes: float
    is_exact: bool
    interval: tuple[float, float]
    chance_fixed: float
    chance_deceived: float
    quantile_minutes: tuple[float, float, float]
    choices: tuple[CheckChoice, ...]
    first_step: PlanStep
    ends: PlanEnds


def answer_plan(plan: Plan) -> PlanAnswer:
    """Everything a bench page shows about a plan.

    Notes
    -----
    Three spreads are kept apart: the expected minutes, the interval of that expectation over draws (what the shop does
    not know about its machines) and the quantiles (what nobody can know about this machine).
    """
    ends, first = list_ends(plan), next_check(plan)
    problem = plan.problem
    # the bound of a grown plan is a little above what following it costs
    expected = expected_minutes(plan) if plan.is_exact else float(ends.minutes @ ends.chance)
    return PlanAnswer(
        check=problem.checks[first] if first != HAND_ON else "",
        expected_minutes=expected,
        is_exact=plan.is_exact,
        interval=_draw_interval(plan, ends),
        chance_fixed=float(ends.chance[ends.is_fixed].sum()),
        chance_deceived=float(ends.chance[ends.is_deceived].sum()),
        quantile_minutes=_quantiles(ends),
        choices=_choices(plan),
        first_step=write_steps(plan),
        ends=ends,
    )


def chance_fixed_by(ends: PlanEnds, minutes: np.ndarray) -> np.ndarray:
    """P(fixed within so many minutes), for an array of minutes; never more than P(fixed here)."""
    within = (ends.minutes[None, :] <= np.atleast_1d(minutes)[:, None]) & ends.is_fixed[None, :]
    return np.asarray(within @ ends.chance)


def slack_minutes(plan: Plan) -> float:
    """How many minutes dearer the next check may get before another one, or handing on, is better.

    Infinite when nothing else is left; 0 for a tie. For a plan that is not exact: at least so many.

    Notes
    -----
    With d more minutes the check first costs Q1 + d; the best other way costs Q2(d), which rises too where that way
    uses the check later. Q2(d) - Q1 - d is concave and falls: its chord, and a slope of -1, never overstep the
    crossing.
    """
    first = next_check(plan)
    if first == HAND_ON:
        return float("inf")
    low, low_gap = 0.0, _gap(plan, first)
    if not plan.is_exact or low_gap <= CLOSE_ENOUGH:
        return max(low_gap, 0.0)
    high = plan.problem.sendout_minutes
    high_gap = _gap(_dearer(plan, first, high), first)
    for _ in range(SLACK_ROUNDS):
        low += max(low_gap, low_gap * (high - low) / (low_gap - high_gap))
        low_gap = _gap(_dearer(plan, first, low), first)
        middle = (low + high) / 2.0
        middle_gap = _gap(_dearer(plan, first, middle), first)
        if middle_gap < 0:
            high, high_gap = middle, middle_gap
        else:
            low, low_gap = middle, middle_gap
        if low_gap < CLOSE_ENOUGH:
            break
    return low


def _gap(plan: Plan, first: int) -> float:
    """Expected minutes of the best other way, handing on included, less those of `first` next."""
    minutes = check_minutes(plan)
    own = minutes[first]
    minutes[first] = np.nan
    return float(np.nanmin([*minutes, plan.problem.sendout_minutes]) - own)


def _dearer(plan: Plan, check: int, minutes: float) -> Plan:
    table = plan.problem.access.minutes.copy()
    table[check] += minutes
    problem = replace(plan.problem, access=replace(plan.problem.access, minutes=table))
    return solve_from(problem, told=plan.told, done=plan.done, opened=plan.opened)


def _choices(plan: Plan) -> tuple[CheckChoice, ...]:
    problem, minutes = plan.problem, check_minutes(plan)
    belief = plan.columns / plan.columns.sum()
    works = problem.likelihood[:, 0] @ belief
    cured = np.clip((works - problem.deceive) / (1.0 - problem.deceive), 0.0, 1.0)
    least = float(np.nanmin([*minutes, problem.sendout_minutes]))
    listed = [at for at in np.argsort(minutes, kind="stable") if not plan.done[at]]
    return tuple(
        CheckChoice(
            check=problem.checks[at],
            expected_minutes=float(minutes[at]),
            minutes_lost=float(minutes[at]) - least,
            minutes=float(problem.access.minutes[at, plan.opened]),
            chance_cured=float(cured[at]),
        )
        for at in listed
    )


def _quantiles(ends: PlanEnds) -> tuple[float, float, float]:
    order = np.argsort(ends.minutes, kind="stable")
    reached = np.cumsum(ends.chance[order])
    at = np.searchsorted(reached, np.array([0.1, 0.5, 0.9]) - 1e-12)
    low, middle, high = ends.minutes[order][np.minimum(at, len(order) - 1)]
    return float(low), float(middle), float(high)


def _draw_interval(plan: Plan, ends: PlanEnds) -> tuple[float, float]:
    """Weighted 5 and 95 % points of the plan's expected minutes over the draws of the belief."""
    suspects = plan.problem.draws.shape[1]
    by_draw = plan.problem.draws * plan.told.reshape(-1, suspects)
    weight = by_draw.sum(1)
    minutes = (by_draw * (ends.minutes @ ends.by_column).reshape(-1, suspects)).sum(1) / np.maximum(weight, 1e-300)
    order = np.argsort(minutes)
    reached = np.cumsum(weight[order]) / weight.sum()
    at = np.minimum(np.searchsorted(reached, INTERVAL_TAILS), len(order) - 1)
    low, high = minutes[order][at]
    return float(low), float(high)
