"""The exact plan: one backward pass over every (check, result) state, then a look-up after each result.

What is believed depends on which checks had which results, not on their order. So a state is a mixed-radix number,
digit j = 0 (check j not made) or its result 1, 2; every successor has a larger number, and one pass from the last state
to the first is exact. With m = probability of a state's results, V = expected minutes still to come, times m:

    V(s) = min( sendout m(s), min over checks j not made: minutes(j, open) m(s) + sum over r of V(s with digit j = r) )
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numba
import numpy as np

from analytics.planning import PlanProblem

# Above this many states the pass takes longer than somebody at the bench should wait.
STATE_LIMIT = 2_000_000


@dataclass(frozen=True)
class Sweep:
    """Every state of some checks, solved.

    listed : (digit,) positions of the checks in the problem
    stride : (digit,) what result 1 of the check adds to the number of a state
    mass : (state,) probability of the state's results, on the scale of the belief
    open_base : (state,) groups open because of the checks made, those closed for a retest left out
    volatile_sets : (open set,) masks of groups that a retest closes and that can be open together; entry 0 is none
    value : (state, open set) expected minutes still to come, times mass
    best : (state, open set) position in the problem of the check to make, -1: hand on
    """

    listed: np.ndarray
    stride: np.ndarray
    mass: np.ndarray
    open_base: np.ndarray
    volatile_sets: np.ndarray
    value: np.ndarray
    best: np.ndarray


def count_states(problem: PlanProblem, listed: Sequence[int] | np.ndarray, open_mask: int) -> int:
    """States of a sweep over the checks `listed` (positions), open sets included."""
    results = [len(problem.outcomes[j]) + 1 for j in listed]
    product = 1
    for count in results:
        product *= count
    return product * len(_volatile_sets(problem, np.asarray(listed, dtype=np.int64), open_mask))


def sweep_states(problem: PlanProblem, *, listed: np.ndarray, columns: np.ndarray, open_mask: int) -> Sweep:
    """Solve every state of the checks `listed`, starting from a belief and what is open.

    Parameters
    ----------
    listed : (digit,) positions of checks in the problem; their `count_states` should not exceed `STATE_LIMIT`
    columns : (column,) belief, any scale
    open_mask : groups open now
    """
    access, volatile = problem.access, problem.access.volatile
    sets = _volatile_sets(problem, listed, open_mask)
    result_count = np.array([len(problem.outcomes[j]) for j in listed], dtype=np.int64)
    stride = np.concatenate([np.cumprod((result_count + 1)[::-1])[::-1][1:], [1]]).astype(np.int64)[: len(listed)]
    upper, lower, base = _half_tables(problem, listed, result_count, (columns, open_mask & ~volatile))
    mass = (upper @ lower.T).ravel()
    price = np.where(access.retests[listed], problem.comeback_price, 0.0)
    minutes = np.ascontiguousarray(access.minutes[listed].T)
    value, best = _sweep_back(
        (mass, base),
        (stride, result_count, price),
        (minutes, sets, _next_sets(problem, listed, sets)),
        problem.sendout_minutes,
    )
    positions = np.concatenate([np.asarray(listed, dtype=np.int64), [0]])
    return Sweep(
        listed=listed,
        stride=stride,
        mass=mass,
        open_base=base,
        volatile_sets=sets,
        value=value,
        best=np.where(best >= 0, positions[np.maximum(best, 0)], best).astype(np.int16),
    )


def _volatile_sets(problem: PlanProblem, listed: np.ndarray, open_mask: int) -> np.ndarray:
    volatile, access = problem.access.volatile, problem.access
    seen = {0, open_mask & volatile}
    for need in {int(access.need[j]) & volatile for j in listed if not access.retests[j]} - {0}:
        seen |= {mask | need for mask in seen}
    return np.array(sorted(seen), dtype=np.int64)


def _next_sets(problem: PlanProblem, listed: np.ndarray, sets: np.ndarray) -> np.ndarray:
    """(digit, open set) position of the open set that a check leaves."""
    access = problem.access
    joined = np.where(access.retests[listed][:, None], 0, sets[None] | (access.need[listed] & access.volatile)[:, None])
    return np.asarray(np.searchsorted(sets, joined))


def _half_tables(
    problem: PlanProblem, listed: np.ndarray, result_count: np.ndarray, start: tuple[np.ndarray, int]
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Beliefs of the first and the last digits (state, column), and the open groups of every state."""
    columns, open_mask = start
    sizes = np.cumprod(np.concatenate([[1], result_count + 1]).astype(float))
    half = int(np.searchsorted(sizes, np.sqrt(sizes[-1]))) if len(listed) else 0
    ordinary = problem.access.need & ~problem.access.volatile
    tables = []
    for digits, table, masks in (
        (listed[:half], columns[None, :], np.array([open_mask])),
        (listed[half:], np.ones((1, len(columns))), np.array([0])),
    ):
        for j in digits:
            factor = problem.likelihood[j, : len(problem.outcomes[j]) + 1].copy()
            factor[0] = 1.0
            table = (table[:, None, :] * factor[None]).reshape(-1, len(columns))
            opened = np.array([0] + [ordinary[j]] * len(problem.outcomes[j]))
            masks = (masks[:, None] | opened[None]).ravel()
        tables.append((table, masks))
    base = (tables[0][1][:, None] | tables[1][1][None]).ravel().astype(np.int32)
    return tables[0][0], tables[1][0], base


@numba.njit(cache=True, error_model="numpy")
def _sweep_back(states, digits, opening, sendout_minutes):  # type: ignore[no-untyped-def]  # noqa: ANN001, ANN202
    mass, base = states
    stride, result_count, price = digits
    minutes, sets, next_set = opening
    state_count, digit_count, set_count = len(mass), len(stride), len(sets)
    value = np.empty((state_count, set_count))
    best = np.empty((state_count, set_count), dtype=np.int16)
    digit = result_count.copy()
    free = np.empty(digit_count, dtype=np.int64)
    for state in range(state_count - 1, -1, -1):
        here = mass[state]
        free_count = 0
        for j in range(digit_count):
            if digit[j] == 0:
                free[free_count] = j
                free_count += 1
        for at in range(set_count):
            opened = base[state] | sets[at]
            least, choice = sendout_minutes * here, -1
            for f in range(free_count):
                j = free[f]
                cost = minutes[opened, j] * here
                if cost >= least:
                    continue
                then = next_set[j, at]
                for result in range(1, result_count[j] + 1):
                    after = state + result * stride[j]
                    cost += value[after, then] + price[j] * mass[after]
                # A tie within rounding keeps what came first, so that equal plans read alike everywhere.
                if cost < least - 1e-12 * here:
                    least, choice = cost, j
            value[state, at], best[state, at] = least, choice
        for j in range(digit_count - 1, -1, -1):
            if digit[j] > 0:
                digit[j] -= 1
                break
            digit[j] = result_count[j]
    return value, best
