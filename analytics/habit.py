"""The usual way: one remedy after the other, first what settled most such complaints before."""

from collections.abc import Mapping

import numpy as np

from analytics.plan_solution import Plan


def usual_way(plan: Plan, settled: Mapping[str, float]) -> tuple[np.ndarray, np.ndarray]:
    """Minutes spent (step,) and P(fixed by then) (step,) when remedies follow each other by habit, from (0, 0) on.

    Parameters
    ----------
    plan : of this machine; its belief, minutes and access are those of the plan it is compared with
    settled : check -> tickets of this complaint that it settled; remedies that settled none come last, short ones first

    Notes
    -----
    Nothing is looked at, so no step says anything but "not yet": P(fixed by step n) = sum over suspects of belief x
    (1 - product over the first n of (1 - P(works | suspect))).
    """
    problem = plan.problem
    left, opened = plan.columns / plan.columns.sum(), plan.opened
    minutes, chance = [0.0], [0.0]
    for check in _order(plan, settled):
        works = problem.likelihood[check, 0]
        minutes.append(minutes[-1] + float(problem.access.minutes[check, opened]))
        chance.append(chance[-1] + float(left @ _really(works, problem.deceive)))
        left, opened = left * (1.0 - works), int(problem.access.after[check, opened])
    return np.array(minutes), np.array(chance)


def _order(plan: Plan, settled: Mapping[str, float]) -> list[int]:
    problem = plan.problem
    remedies = np.flatnonzero(problem.likelihood[:, 0].any(axis=1) & ~plan.done)
    return sorted(
        remedies.tolist(),
        key=lambda at: (-settled.get(problem.checks[at], 0.0), problem.access.minutes[at, plan.opened]),
    )


def _really(works: np.ndarray, deceive: float) -> np.ndarray:
    """P(cured) where a machine that is not cured works in the retest with probability `deceive`."""
    return np.clip((works - deceive) / (1.0 - deceive), 0.0, 1.0)
