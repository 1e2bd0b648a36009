"""Which checks of a long list a sweep should hold, and in which orders the others may follow it."""

import heapq
from typing import Any

import numpy as np

from analytics.plan_lookahead import look_two_steps, order_remedies
from analytics.plan_sweep import Tails, count_states, no_tail
from analytics.planning import PlanProblem

# A branch rarer than this decides nothing.
BRANCH_FLOOR = 0.003
BRANCH_LIMIT = 150
# A check within this share of the best one is credited too: the sweep sees further than the two steps that rank it.
NEAR_BEST = 0.05
TAIL_LIMIT = 12


def shortlist_checks(
    problem: PlanProblem, tables: tuple[Any, ...], *, columns: np.ndarray, done: np.ndarray, opened: int, state_limit: int
) -> tuple[np.ndarray, list[tuple[np.ndarray, float]]]:
    """Checks worth a digit, at most `state_limit` states, and the (belief, probability) of branches on the way.

    The plan of two steps ahead is walked; every check that is best or nearly best on a branch is credited with the
    branch's probability, and checks enter in the order of their credit.
    """
    credit = np.zeros(len(done))
    branches: list[tuple[np.ndarray, float]] = []
    total = columns.sum()
    heap: list[tuple[float, int, np.ndarray, np.ndarray, int]] = [(-total, 0, columns, done.copy(), opened)]
    serial = 0
    while heap and len(branches) < BRANCH_LIMIT:
        negative_mass, _, here, gone, mask = heapq.heappop(heap)
        mass = -negative_mass
        branches.append((here, mass / total))
        value, values = look_two_steps(here, gone, mask, tables)
        credit += (mass / total) * (values <= value * (1.0 + NEAR_BEST))
        check = int(np.argmin(values))
        if not values[check] <= value * (1.0 + 1e-9):
            # no single step beats remedies in p/c order: credit them, and walk on with the first
            order = order_remedies(here, gone, mask, tables)[1]
            credit[order] += 0.5 * mass / total
            if not len(order):
                continue
            check = int(order[0])
        then_gone = gone.copy()
        then_gone[check] = True
        for result in range(1, len(problem.outcomes[check]) + 1):
            then = here * problem.likelihood[check, result]
            serial += 1
            if then.sum() > BRANCH_FLOOR * total:
                heapq.heappush(heap, (-then.sum(), serial, then, then_gone, int(problem.access.after[check, mask])))
    return _fit_states(problem, credit, done, opened, state_limit), branches


def _fit_states(problem: PlanProblem, credit: np.ndarray, done: np.ndarray, opened: int, state_limit: int) -> np.ndarray:
    listed: list[int] = []
    for check in np.argsort(-credit, kind="stable"):
        if credit[check] > 0 and not done[check] and count_states(problem, [*listed, check], opened) <= state_limit:
            listed.append(int(check))
    return np.array(sorted(listed), dtype=np.int64)


def tail_orders(
    problem: PlanProblem, tables: tuple[Any, ...], *, listed: np.ndarray, done: np.ndarray, opened: int,
    branches: list[tuple[np.ndarray, float]],
) -> Tails:  # fmt: skip
    """Orders of the remedies that are not listed, one for each kind of branch, the likeliest kinds first."""
    closed = done.copy()
    closed[listed] = True
    start = opened & ~problem.access.volatile
    weight: dict[tuple[int, ...], float] = {}
    for belief, probability in branches:
        order = tuple(int(j) for j in order_remedies(belief, closed, start, tables)[1])
        if order:
            weight[order] = weight.get(order, 0.0) + probability
    kept = sorted(weight, key=lambda order: -weight[order])[:TAIL_LIMIT]
    none = no_tail(problem)
    minutes = [_column_minutes(problem, order, start) for order in kept]
    return Tails((*none.orders, *(np.array(order, dtype=np.int64) for order in kept)), np.vstack([none.column_minutes, *minutes]))


def _column_minutes(problem: PlanProblem, order: tuple[int, ...], opened: int) -> np.ndarray:
    left, minutes = np.ones(len(problem.mass)), np.zeros(len(problem.mass))
    for check in order:
        minutes += left * problem.access.minutes[check, opened]
        left = left * problem.likelihood[check, 1:].sum(0)
        if problem.access.retests[check]:
            minutes += problem.comeback_price * left
        opened = int(problem.access.after[check, opened])
    return minutes + left * problem.sendout_minutes
