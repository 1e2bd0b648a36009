"""Upper bounds for long lists: remedies in p/c order, and one check ahead of them."""

from typing import Any

import numba
import numpy as np

from analytics.planning import PlanProblem


def lookahead_tables(problem: PlanProblem) -> tuple[Any, ...]:
    """The problem as the arrays that the compiled functions here read."""
    cures = problem.likelihood[:, 0, :]
    remedies = np.array([j for j in range(len(problem.checks)) if cures[j].any()], dtype=np.int64)
    touched = [np.flatnonzero(cures[j]) for j in range(len(problem.checks))]
    start = np.concatenate([[0], np.cumsum([len(t) for t in touched])]).astype(np.int64)
    column = np.concatenate([*touched, np.zeros(0)]).astype(np.int64)
    rate = np.concatenate([*(cures[j, t] for j, t in enumerate(touched)), np.zeros(0)])
    price = np.where(problem.access.retests, problem.comeback_price, 0.0)
    result_count = np.array([len(names) for names in problem.outcomes], dtype=np.int64)
    return (
        *(remedies, start, column, rate, price, problem.deceive, problem.sendout_minutes),
        *(problem.access.minutes, problem.access.after, result_count, problem.likelihood),
    )


@numba.njit(cache=True, error_model="numpy")
def order_remedies(columns, done, opened, tables):  # type: ignore[no-untyped-def]  # noqa: ANN001, ANN201
    """Remedies in descending P(cured) / minutes, opening included, cut where handing on is cheaper.

    Parameters
    ----------
    columns : (column,) belief, any scale
    done : (check,) not to be used
    opened : mask of the groups open now
    tables : `lookahead_tables`

    Returns
    -------
    (minutes times mass of the order then handing on, positions of the checks in the order)
    """
    remedies, start, column, rate, price, deceive, sendout_minutes, minutes, after = tables[:9]
    left, used = columns.copy(), done.copy()
    mass = left.sum()
    floor = 1e-9 * mass
    order = np.empty(len(remedies), dtype=np.int64)
    spent, before = np.empty(len(remedies)), np.empty(len(remedies))
    count = 0
    while count < len(remedies):
        top, pick, picked_gain = 0.0, -1, 0.0
        for j in remedies:
            if used[j]:
                continue
            gain = 0.0
            for at in range(start[j], start[j + 1]):
                gain += left[column[at]] * rate[at]
            cured = (gain - deceive * mass) / (1.0 - deceive)
            if cured > floor and cured > top * minutes[j, opened]:
                top, pick, picked_gain = cured / max(minutes[j, opened], 1e-9), j, gain
        if pick < 0:
            break
        for at in range(start[pick], start[pick + 1]):
            left[column[at]] *= 1.0 - rate[at]
        spent[count] = minutes[pick, opened] * mass + price[pick] * (mass - picked_gain)
        before[count], order[count] = mass, pick
        mass -= picked_gain
        opened = after[pick, opened]
        used[pick] = True
        count += 1
    value, length = sendout_minutes * mass, count
    for at in range(count - 1, -1, -1):
        value += spent[at]
        if sendout_minutes * before[at] <= value:
            value, length = sendout_minutes * before[at], at
    return value, order[:length]


@numba.njit(cache=True, error_model="numpy")
def look_one_step(columns, done, opened, tables):  # type: ignore[no-untyped-def]  # noqa: ANN001, ANN201
    """(value, values by check): make a check, then remedies in p/c order. Times mass; infinite where not possible."""
    price, minutes, after, result_count, likelihood = tables[4], tables[7], tables[8], tables[9], tables[10]
    values = np.full(len(done), np.inf)
    mass = columns.sum()
    best = order_remedies(columns, done, opened, tables)[0]
    for j in range(len(done)):
        if done[j] or minutes[j, opened] * mass >= best:
            continue
        done[j] = True
        value = minutes[j, opened] * mass
        for result in range(1, result_count[j] + 1):
            then = columns * likelihood[j, result]
            value += order_remedies(then, done, after[j, opened], tables)[0] + price[j] * then.sum()
        done[j] = False
        values[j] = value
        best = min(best, value)
    return best, values
