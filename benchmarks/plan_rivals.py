"""Ways to choose the next check that the planner is measured against, and what any way of choosing really costs."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from time import process_time
from typing import Any

import numpy as np

from analytics.plan_growth import lookahead_tables
from analytics.plan_kernels import look_one_step, order_remedies
from analytics.plan_solution import HAND_ON, expected_minutes, next_check, solve_from
from analytics.planning import PlanProblem

# The best fixed threshold differs by profile (0.3 to 0.6 elsewhere): a rule of thumb must take one.
SURE_ENOUGH = 0.6
TWO_STEP_WIDTH = 8
# Branches rarer than this are finished as planned (the planner) or in p/c order (rivals): walking them takes hours.
RARE_PLANNED = 2e-3
RARE = 1e-5


@dataclass(frozen=True)
class Situation:
    """What a method may look at."""

    problem: PlanProblem
    tables: tuple[Any, ...]
    told: np.ndarray
    done: np.ndarray
    opened: int

    @property
    def columns(self) -> np.ndarray:
        """(column,) belief, not normalised."""
        return np.asarray(self.problem.mass * self.told)


@dataclass(frozen=True)
class Walk:
    """Expected minutes of a whole plan, chosen anew after each result, and processor milliseconds by decision."""

    minutes: float
    first_ms: float
    later_ms: tuple[float, ...]


Chooser = Callable[[Situation], int]


def choose_ratio(at: Situation) -> int:
    """Remedies in descending P(cured) / minutes; never a look."""
    order = order_remedies(at.columns, at.done, at.opened, at.tables)[1]
    return int(order[0]) if len(order) else HAND_ON


def choose_information(at: Situation) -> int:
    """Most information about the suspect per minute until one is likely enough, then as `choose_ratio`."""
    belief = at.columns / at.columns.sum()
    if belief.max() >= SURE_ENOUGH:
        return choose_ratio(at)
    joint = at.problem.likelihood * belief
    chance = joint.sum(2)
    with np.errstate(divide="ignore", invalid="ignore"):
        after = np.where(joint > 0, joint * np.log(joint / chance[:, :, None]), 0.0).sum((1, 2))
    before = np.where(belief > 0, belief * np.log(np.maximum(belief, 1e-300)), 0.0).sum()
    gain = np.where(at.done, -np.inf, (after - before) / at.problem.access.minutes[:, at.opened])
    best = int(np.argmax(gain))
    return best if gain[best] > 1e-9 else choose_ratio(at)


def choose_one_step(at: Situation) -> int:
    """The check whose one step ahead, then p/c order, is cheapest."""
    bound, values = look_one_step(at.columns, at.done.copy(), at.opened, at.tables)
    return int(np.argmin(values)) if np.isfinite(values).any() and values.min() <= bound else choose_ratio(at)


def choose_two_steps(at: Situation) -> int:
    """As `choose_one_step`, the best checks looked into once more."""
    problem, mass = at.problem, at.columns.sum()
    _, values = look_one_step(at.columns, at.done.copy(), at.opened, at.tables)
    least, best = order_remedies(at.columns, at.done, at.opened, at.tables)[0], choose_ratio(at)
    for j in np.argsort(values)[:TWO_STEP_WIDTH]:
        if not np.isfinite(values[j]):
            break
        done = at.done.copy()
        done[j] = True
        value = problem.access.minutes[j, at.opened] * mass
        for result in range(1, len(problem.outcomes[j]) + 1):
            then = at.columns * problem.likelihood[j, result]
            value += look_one_step(then, done, int(problem.access.after[j, at.opened]), at.tables)[0]
        if value < least:
            least, best = value, int(j)
    return best


RIVALS: Mapping[str, Chooser] = {
    "p/c order": choose_ratio,
    "information per minute": choose_information,
    "one step ahead": choose_one_step,
    "two steps ahead": choose_two_steps,
}


def walk_choices(problem: PlanProblem, choose: Chooser) -> Walk:
    """What a method's plan costs when it chooses anew after each result."""
    total, spent_ms = 0.0, []
    todo = [_start(problem)]
    while todo:
        at = todo.pop()
        mass = float(at.columns.sum())
        if mass < RARE:
            total += float(order_remedies(at.columns, at.done, at.opened, at.tables)[0])
            continue
        began = process_time()
        check = choose(at)
        spent_ms.append(1e3 * (process_time() - began))
        total += mass * _price(at, check)
        todo += _after(at, check)
    return Walk(total, spent_ms[0], tuple(spent_ms[1:]))


def walk_planner(problem: PlanProblem) -> Walk:
    """The same for the project's planner; from where it is exact its value is what following it costs."""
    total, spent_ms = 0.0, []
    todo = [_start(problem)]
    while todo:
        at = todo.pop()
        mass = float(at.columns.sum())
        began = process_time()
        plan = solve_from(problem, told=at.told, done=at.done, opened=at.opened)
        check = next_check(plan)
        spent_ms.append(1e3 * (process_time() - began))
        if plan.is_exact or mass < RARE_PLANNED:
            total += mass * expected_minutes(plan)
            continue
        total += mass * _price(at, check)
        todo += _after(at, check)
    return Walk(total, spent_ms[0], tuple(spent_ms[1:]))


def _start(problem: PlanProblem) -> Situation:
    none_done = np.zeros(len(problem.checks), dtype=bool)
    return Situation(problem, lookahead_tables(problem), np.ones_like(problem.mass), none_done, 0)


def _price(at: Situation, check: int) -> float:
    return at.problem.sendout_minutes if check == HAND_ON else float(at.problem.access.minutes[check, at.opened])


def _after(at: Situation, check: int) -> list[Situation]:
    if check == HAND_ON:
        return []
    done = at.done.copy()
    done[check] = True
    opened = int(at.problem.access.after[check, at.opened])
    told = [at.told * at.problem.likelihood[check, r] for r in range(1, len(at.problem.outcomes[check]) + 1)]
    return [Situation(at.problem, at.tables, one, done, opened) for one in told if (at.problem.mass * one).any()]
