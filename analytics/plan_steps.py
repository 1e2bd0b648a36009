"""A plan written out: what to do first, what after each outcome, and every way it can end."""

from dataclasses import dataclass

import numpy as np

from analytics.plan_solution import HAND_ON, Plan, choose_grown
from analytics.planning import CURED

# Ends rarer than this are handed on at once when a plan is written out: they carry no minute that could be seen.
RARE = 1e-10
DECEIVED = "deceived"


@dataclass(frozen=True)
class PlanStep:
    """One step of a plan.

    check : code of the check; "" = hand the machine on
    chance : probability of getting here
    minutes : of this step: opening, the check, closing for a retest; or the price of handing on
    chance_cured : probability that the step cures, once here
    after : (outcome, step) for every outcome that leads on
    """

    check: str
    chance: float
    minutes: float
    chance_cured: float
    after: tuple[tuple[str, "PlanStep"], ...]


@dataclass(frozen=True)
class PlanEnds:
    """Every way a plan can end.

    minutes : (end,) minutes when it ends that way, handing on or a comeback included
    is_fixed : (end,) whether the machine is then fixed
    is_deceived : (end,) whether it seemed fixed and will come back; neither = handed on
    by_column : (end, column) P(ending that way | column)
    chance : (end,) P(ending that way), sums to 1
    """

    minutes: np.ndarray
    is_fixed: np.ndarray
    is_deceived: np.ndarray
    by_column: np.ndarray
    chance: np.ndarray


@dataclass(frozen=True)
class _Place:
    """Where the walk is: state of the sweep or situation of the grown plan, and what is known there."""

    where: int
    path: np.ndarray
    done: np.ndarray
    opened: int


@dataclass(frozen=True)
class _Move:
    check: int
    places: tuple[_Place, ...]


def write_steps(plan: Plan, *, chance_floor: float = 0.02) -> PlanStep:
    """The plan as a tree of steps; branches rarer than `chance_floor` are left out."""
    return _write(plan, _start(plan), chance_floor)


def list_ends(plan: Plan) -> PlanEnds:
    """Every way the plan can end, with minutes and probability."""
    problem, belief = plan.problem, plan.columns / plan.columns.sum()
    ends: list[tuple[float, str, np.ndarray]] = []
    todo = [(_start(plan), 0.0)]
    while todo:
        place, spent = todo.pop()
        move = _move(plan, place, belief)
        if move.check == HAND_ON:
            ends.append((spent + problem.sendout_minutes, "", place.path))
            continue
        spent += float(problem.access.minutes[move.check, place.opened])
        works = place.path * problem.likelihood[move.check, 0]
        cured = _really_cured(plan, move.check, place)
        if works.any():
            ends.append((spent, CURED, cured))
        if problem.deceive and (works - cured).any():
            ends.append((spent + problem.sendout_minutes + problem.comeback_minutes, DECEIVED, works - cured))
        todo += [(then, spent) for then in move.places]
    minutes, kinds, paths = zip(*ends, strict=True)
    kind, by_column = np.array(kinds), np.array(paths)
    return PlanEnds(np.array(minutes), kind == CURED, kind == DECEIVED, by_column=by_column, chance=by_column @ belief)


def _start(plan: Plan) -> _Place:
    return _Place(plan.state, np.ones_like(plan.told), plan.done, plan.opened)


def _write(plan: Plan, place: _Place, chance_floor: float) -> PlanStep:
    problem, belief = plan.problem, plan.columns / plan.columns.sum()
    chance = float(belief @ place.path)
    move = _move(plan, place, belief)
    if move.check == HAND_ON:
        return PlanStep("", chance, problem.sendout_minutes, 0.0, ())
    after = tuple(
        (name, _write(plan, then, chance_floor))
        for name, then in zip(problem.outcomes[move.check], move.places, strict=True)
        if belief @ then.path >= chance_floor
    )
    cured = float(belief @ _really_cured(plan, move.check, place)) / chance
    return PlanStep(
        problem.checks[move.check], chance, float(problem.access.minutes[move.check, place.opened]), cured, after
    )


def _really_cured(plan: Plan, check: int, place: _Place) -> np.ndarray:
    """(column,) P(getting here and cured | column); P(works) = cured + (1 - cured) x deceive, turned round."""
    works, deceive = plan.problem.likelihood[check, 0], plan.problem.deceive
    return np.asarray(place.path * np.clip((works - deceive) / (1.0 - deceive), 0.0, 1.0))


def _move(plan: Plan, place: _Place, belief: np.ndarray) -> _Move:
    if belief @ place.path < RARE:
        return _Move(HAND_ON, ())
    check, wheres = _choose(plan, place)
    if check == HAND_ON:
        return _Move(HAND_ON, ())
    done = place.done.copy()
    done[check] = True
    opened = int(plan.problem.access.after[check, place.opened])
    places = tuple(
        _Place(where, place.path * plan.problem.likelihood[check, result], done, opened)
        for result, where in enumerate(wheres[: len(plan.problem.outcomes[check])], start=1)
    )
    return _Move(check, places)


def _choose(plan: Plan, place: _Place) -> tuple[int, tuple[int, ...]]:
    sweep = plan.sweep
    if sweep is None:
        return choose_grown(plan, place.where, plan.columns * place.path, place.done, place.opened)
    at = int(np.searchsorted(sweep.volatile_sets, place.opened & plan.problem.access.volatile))
    check = int(sweep.best[place.where, at])
    if check == HAND_ON:
        return HAND_ON, ()
    stride = int(sweep.stride[np.flatnonzero(sweep.listed == check)[0]])
    return check, tuple(place.where + result * stride for result in range(1, len(plan.problem.outcomes[check]) + 1))
