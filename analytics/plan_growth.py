"""A plan for a long list of checks, grown where it matters: a graph of situations, each with an upper bound.

A situation that has not been looked into is worth what one step ahead, then remedies in p/c order, would cost: a plan
that could be followed, so every value here is an upper bound. Looking into it replaces that by the best of its checks.
Which situation comes next is decided by *hope*: unopened ones are taken for cheaper than their bound by a share that
grows from phase to phase and shrinks with depth. The first phase (no hope) completes one good plan; the later ones try
what would have to be much cheaper than it looks, near the root first. Situations met in several orders are stored once.
"""

from typing import Any

import numpy as np

from analytics.plan_kernels import grow_situations
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
    # remedies that can cure the same suspect
    shares = ((cures > 0).astype(float) @ (cures > 0).T.astype(float)) > 0
    result_count = np.array([len(names) for names in problem.outcomes], dtype=np.int64)
    return (
        *(remedies, start, column, rate, price, problem.deceive, problem.sendout_minutes),
        *(problem.access.minutes, problem.access.after, result_count, problem.likelihood, shares),
    )


def grow_plan(
    columns: np.ndarray, done: np.ndarray, opened: int, *, tables: tuple[Any, ...], limit: int
) -> tuple[Any, ...]:
    """Grow a plan from a belief by looking into at most `limit` situations.

    Parameters
    ----------
    columns : (column,) belief, any scale
    done : (check,) not to be used
    opened : mask of the groups open now
    tables : `lookahead_tables`
    limit : situations to look into

    Returns
    -------
    (value, first_arc, arc_count, arc_check, arc_child, arc_minutes)
        by situation (0 is the root): minutes times mass, and its arcs (a count of -1: not looked into);
        by arc: the check, the situations after its results (-1: impossible), the minutes times mass of making it
        (price of comebacks included)
    """
    grown = grow_situations(np.ascontiguousarray(columns), done.copy(), np.int64(opened), tables, limit)
    situations, arcs = grown[0]
    return tuple(array[:situations] for array in grown[1:4]) + tuple(array[:arcs] for array in grown[4:])
