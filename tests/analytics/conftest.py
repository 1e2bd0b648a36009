"""Planning problems written as in a notebook: belief, checks, groups."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
import pytest

from analytics.plan_access import tabulate_access
from analytics.planning import PlanProblem


@dataclass(frozen=True)
class Item:
    """One check: P(fixed | column), P(first result | column, not fixed) or None for one result, groups as bits."""

    name: str
    minutes: float
    fix: Sequence[float] | None = None
    read: Sequence[float] | None = None
    need: int = 0


def _build(
    belief: Sequence[float] | np.ndarray,
    items: Sequence[Item],
    *,
    sendout: float = 1000.0,
    groups: Sequence[tuple[float, float]] = (),
    volatile: int = 0,
) -> PlanProblem:
    mass = np.asarray(belief, dtype=float)
    likelihood = np.zeros((len(items), 3, mass.size))
    for row, item in zip(likelihood, items, strict=True):
        fix = np.zeros(mass.size) if item.fix is None else np.asarray(item.fix, dtype=float)
        read = np.ones(mass.size) if item.read is None else np.asarray(item.read, dtype=float)
        row[:] = fix, (1 - fix) * read, (1 - fix) * (1 - read)
    access = tabulate_access(
        tuple(f"group_{at}" for at in range(len(groups))),
        minutes=np.array([item.minutes for item in items], dtype=float),
        need=np.array([item.need for item in items], dtype=np.int64),
        opening_closing=np.array(groups, dtype=float).reshape(-1, 2),
        retesting=(np.array([item.fix is not None for item in items], dtype=bool), volatile),
    )
    return PlanProblem(
        checks=tuple(item.name for item in items),
        outcomes=tuple(("not_cured",) if item.read is None else ("first", "second") for item in items),
        likelihood=likelihood,
        mass=mass.ravel(),
        draws=np.atleast_2d(mass),
        access=access,
        sendout_minutes=sendout,
    )


@pytest.fixture(scope="session")
def build_problem() -> Callable[..., PlanProblem]:
    """Make a `PlanProblem` from a belief and `Item`s."""
    return _build


@pytest.fixture(scope="session")
def item() -> type[Item]:
    """One check of a planning problem."""
    return Item
