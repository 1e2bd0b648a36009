"""A solved plan: which check next, what each would cost, and the same plan after a result."""

from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from analytics.errors import InputError
from analytics.plan_growth import grow_plan, lookahead_tables
from analytics.plan_kernels import look_one_step, order_remedies
from analytics.plan_sweep import STATE_LIMIT, Sweep, count_states, sweep_states
from analytics.planning import CURED, PlanProblem

# Situations looked into for one decision on a long list: about 780 at 20 checks, 280 at 40, 50 to 150 ms on one core.
# With fewer the first plan is often not complete, which costs far more than it saves.
SITUATION_WORK = 360_000
SITUATION_LIMITS = (280, 780)
SWEEP_WORK_LIMIT = 4e8
HAND_ON = -1
INCONCLUSIVE = "inconclusive"


@dataclass(frozen=True)
class Plan:
    """A solved problem, at the place that the results so far lead to.

    told : (column,) P(results so far | column)
    done : (check,) made, or out of reach
    opened : groups open now, as bits
    sweep, state : every state solved, and the one we are in; None, 0 for a long list
    grown, tables : `plan_growth.grow_plan` from here, and `lookahead_tables`; () where the sweep is there
    """

    problem: PlanProblem
    told: np.ndarray
    done: np.ndarray
    opened: int
    sweep: Sweep | None
    state: int
    grown: tuple[Any, ...]
    tables: tuple[Any, ...]

    @property
    def columns(self) -> np.ndarray:
        """(column,) belief after the results, not normalised."""
        return np.asarray(self.problem.mass * self.told)

    @property
    def is_exact(self) -> bool:
        """Whether no plan is better; else the expected minutes are "at most"."""
        return self.sweep is not None


def solve_plan(problem: PlanProblem) -> Plan:
    """Solve a problem: exactly where its states fit, by growing a plan where they do not.

    Examples
    --------
    >>> from analytics.plan_access import tabulate_access
    >>> access = tabulate_access(
    ...     (), minutes=np.array([30.0, 10.0]), need=np.zeros(2, dtype=int), opening_closing=np.zeros((0, 2)),
    ...     retesting=(np.ones(2, dtype=bool), 0))
    >>> cures = np.eye(2)
    >>> problem = PlanProblem(
    ...     checks=("A", "B"), outcomes=(("not_cured",), ("not_cured",)),
    ...     likelihood=np.stack([cures, 1 - cures, 0 * cures], axis=1), mass=np.array([0.6, 0.4]),
    ...     draws=np.array([[0.6, 0.4]]), access=access, sendout_minutes=1000.0)
    >>> plan = solve_plan(problem)
    >>> problem.checks[next_check(plan)], expected_minutes(plan)  # B, then A: 10 + 0.6 x 30
    ('B', 28.0)
    """
    told, done = np.ones_like(problem.mass), np.zeros(len(problem.checks), dtype=bool)
    return solve_from(problem, told=told, done=done, opened=problem.open_mask)


def solve_from(problem: PlanProblem, *, told: np.ndarray, done: np.ndarray, opened: int) -> Plan:
    """Solve the rest of a problem.

    Parameters
    ----------
    told : (column,) P(results so far | column)
    done : (check,) not to be used any more
    opened : groups open now, as bits
    """
    columns, listed = problem.mass * told, np.flatnonzero(~done)
    states = count_states(problem, listed, opened)
    plan = Plan(problem, told=told, done=done, opened=opened, sweep=None, state=0, grown=(), tables=())
    if states <= STATE_LIMIT and states * len(columns) <= SWEEP_WORK_LIMIT:
        return replace(plan, sweep=sweep_states(problem, listed=listed, columns=columns, open_mask=opened))
    limit = int(np.clip(SITUATION_WORK / len(listed) ** 2, *SITUATION_LIMITS))
    tables = lookahead_tables(problem)
    return replace(plan, grown=grow_plan(columns, done, opened, tables=tables, limit=limit), tables=tables)


def next_check(plan: Plan) -> int:
    """Position in the problem's list of the check to make next; `HAND_ON` when no check is worth its minutes."""
    if plan.sweep is not None:
        return int(plan.sweep.best[plan.state, _open_set(plan)])
    return choose_grown(plan, 0, plan.columns, plan.done, plan.opened)[0]


def expected_minutes(plan: Plan) -> float:
    """Expected minutes still to come, handing on included; "at most" unless the plan is exact."""
    value = plan.grown[0][0] if plan.sweep is None else plan.sweep.value[plan.state, _open_set(plan)]
    return float(value / plan.columns.sum())


def check_minutes(plan: Plan) -> np.ndarray:
    """(check,) expected minutes if this check is made next and the plan followed then; nan where it is done.

    Exact for an exact plan, else "at most" (and loose for checks that are clearly worse).
    """
    values = _swept_minutes(plan, plan.sweep) if plan.sweep is not None else _grown_minutes(plan)
    return np.asarray(np.where(plan.done, np.nan, values / plan.columns.sum()))


def follow_result(plan: Plan, check: str, outcome: str) -> Plan:
    """The plan after one more result, also of a check that was made against advice.

    An exact plan is looked up; a long list is grown again from here. `inconclusive` takes the check off the list.

    Raises
    ------
    InputError
        When the check is not (or no longer) in the plan, or the outcome is not one of its outcomes, or one that the
        belief rules out.
    """
    at = _position(plan, check)
    done = plan.done.copy()
    done[at] = True
    opened = int(plan.problem.access.after[at, plan.opened])
    if outcome == INCONCLUSIVE:
        return solve_from(plan.problem, told=plan.told, done=done, opened=opened)
    names = plan.problem.outcomes[at]
    if outcome not in names:
        end = " A cured machine needs no further plan." if outcome == CURED else ""
        raise InputError(
            f"'{outcome}' does not lead on from '{check}'. Allowed: {', '.join((*names, INCONCLUSIVE))}.{end}"
        )
    result = names.index(outcome) + 1
    told = plan.told * plan.problem.likelihood[at, result]
    if not (plan.problem.mass @ told) > 0:
        raise InputError(
            f"No suspect on the list can give '{check}' = '{outcome}'. Check the entry, or hand the machine on."
        )
    if plan.sweep is None:
        return solve_from(plan.problem, told=told, done=done, opened=opened)
    state = plan.state + result * int(plan.sweep.stride[np.flatnonzero(plan.sweep.listed == at)[0]])
    return replace(plan, told=told, done=done, opened=opened, state=state)


def choose_grown(
    plan: Plan, situation: int, columns: np.ndarray, done: np.ndarray, opened: int
) -> tuple[int, tuple[int, ...]]:
    """The check of a grown plan in one situation, and the situations after its results.

    Situations below 0 are beyond what was grown: there remedies follow in p/c order.
    """
    _, first_arc, arc_count, arc_check, arc_child, _ = plan.grown
    tail, order = order_remedies(columns, done, opened, plan.tables)
    follow = (int(order[0]) if len(order) else HAND_ON, (HAND_ON,) * arc_child.shape[1])
    if situation < 0:
        return follow
    if arc_count[situation] < 0:
        ahead, values = look_one_step(columns, done.copy(), opened, plan.tables)
        return follow if ahead >= tail * (1 - 1e-12) else (int(np.argmin(values)), follow[1])
    arcs = slice(first_arc[situation], first_arc[situation] + arc_count[situation])
    costs = _arc_values(plan.grown, arcs)
    if not len(costs) or costs.min() >= tail * (1 - 1e-12):
        return follow
    best = int(np.argmin(costs))
    return int(arc_check[arcs][best]), tuple(int(child) for child in arc_child[arcs][best])


def _open_set(plan: Plan) -> int:
    assert plan.sweep is not None
    return int(np.searchsorted(plan.sweep.volatile_sets, plan.opened & plan.problem.access.volatile))


def _position(plan: Plan, check: str) -> int:
    for at, name in enumerate(plan.problem.checks):
        if name == check and not plan.done[at]:
            return at
    left = [name for name, is_done in zip(plan.problem.checks, plan.done, strict=True) if not is_done]
    raise InputError(f"'{check}' is not in the plan, or was made already. Left: {', '.join(left) or 'nothing'}.")


def _swept_minutes(plan: Plan, sweep: Sweep) -> np.ndarray:
    problem, access = plan.problem, plan.problem.access
    values = np.full(len(problem.checks), np.inf)
    for stride, at in zip(sweep.stride, sweep.listed, strict=True):
        if plan.done[at]:
            continue
        then = int(np.searchsorted(sweep.volatile_sets, access.after[at, plan.opened] & access.volatile))
        states = plan.state + stride * np.arange(1, len(problem.outcomes[at]) + 1)
        price = problem.comeback_price if access.retests[at] else 0.0
        spent = access.minutes[at, plan.opened] * sweep.mass[plan.state]
        values[at] = spent + sweep.value[states, then].sum() + price * sweep.mass[states].sum()
    return values


def _grown_minutes(plan: Plan) -> np.ndarray:
    _, first_arc, arc_count, arc_check, _, _ = plan.grown
    # A check without an arc costs more alone than the whole plan: making it, closing, then the plan, bounds it.
    access, mass = plan.problem.access, plan.columns.sum()
    price = np.where(access.retests, plan.problem.comeback_price, 0.0)
    spent = access.minutes[:, plan.opened] + access.closing[access.after[:, plan.opened]] + price
    values = spent * mass + plan.grown[0][0]
    arcs = slice(first_arc[0], first_arc[0] + arc_count[0])
    values[arc_check[arcs]] = _arc_values(plan.grown, arcs)
    return np.asarray(values)


def _arc_values(grown: tuple[Any, ...], arcs: slice) -> np.ndarray:
    value, _, _, _, arc_child, arc_minutes = grown
    children = arc_child[arcs]
    return np.asarray(arc_minutes[arcs] + np.where(children >= 0, value[np.maximum(children, 0)], 0.0).sum(1))
