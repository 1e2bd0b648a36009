"""The usual way against hand arithmetic."""

from collections.abc import Callable
from typing import Any

import pytest

from analytics.habit import usual_way
from analytics.plan_solution import solve_plan
from analytics.planning import PlanProblem

type Build = Callable[..., PlanProblem]


def test_remedies_follow_in_the_order_of_what_settled_most(build_problem: Build, item: Callable[..., Any]) -> None:
    """Belief 1/2, 3/10, 2/10. Habit begins with B, which settled 9 tickets and cures half of its suspect; then A, then
    C, which settled none. The look D cures
    nothing and is never made.
    """
    items = [
        item("A", 30, [1, 0, 0]),
        item("B", 10, [0, 0.5, 0]),
        item("C", 20, [0, 0, 1]),
        item("D", 1, None, [1, 0, 0]),
    ]
    plan = solve_plan(build_problem([0.5, 0.3, 0.2], items))
    minutes, chance = usual_way(plan, {"B": 9, "A": 4})
    assert minutes.tolist() == pytest.approx([0, 10, 10 + 30, 10 + 30 + 20])
    assert chance.tolist() == pytest.approx([0, 0.15, 0.15 + 0.5, 0.15 + 0.5 + 0.2])
