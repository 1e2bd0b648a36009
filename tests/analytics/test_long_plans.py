"""Plans of lists too long for every state: always a bound, close to the optimum, and honest about what they are."""

from collections.abc import Callable
from typing import Any

import numpy as np
import pytest

from analytics.plan_answers import answer_plan
from analytics.plan_growth import grow_plan, lookahead_tables
from analytics.plan_solution import SITUATION_LIMITS, expected_minutes, follow_result, next_check, solve_plan
from analytics.planning import PlanProblem

Build = Callable[..., PlanProblem]
Make = Callable[..., Any]


def _workshop(seed: int, build_problem: Build, item: Make, *, tests: int) -> PlanProblem:
    """Nine suspects with a remedy each, something else, and some tests; two nested groups."""
    rng = np.random.default_rng(seed)
    belief = rng.dirichlet(np.full(10, 0.8))
    items = [
        item(f"remedy {at}", rng.uniform(5, 40), 0.9 * np.eye(10)[at], need=int(rng.choice([0, 1, 3])))
        for at in range(9)
    ]
    for at in range(tests):
        read = np.where(rng.random(10) < 0.4, 0.9, 0.07)
        items.append(item(f"test {at}", rng.uniform(2, 8), read=read, need=int(rng.choice([0, 1]))))
    return build_problem(belief, items, sendout=300, groups=[(6, 0), (12, 0)])


@pytest.mark.parametrize("seed", range(6))
def test_grown_plan_is_a_bound_close_to_the_optimum(seed: int, build_problem: Build, item: Make) -> None:
    # 2^9 x 3^6 = 373,248 states: solved exactly too. Bars: never below, and at most 2 % above.
    problem = _workshop(seed, build_problem, item, tests=6)
    plan = solve_plan(problem)
    assert plan.is_exact
    none_done = np.zeros(len(problem.checks), dtype=bool)
    grown = grow_plan(problem.mass, none_done, 0, tables=lookahead_tables(problem), limit=SITUATION_LIMITS[1])
    assert 1 - 1e-9 <= grown[0][0] / expected_minutes(plan) <= 1.02


def test_long_list_is_quoted_at_what_following_it_costs(build_problem: Build, item: Make) -> None:
    problem = _workshop(11, build_problem, item, tests=14)
    plan = solve_plan(problem)
    answer = answer_plan(plan)
    assert not answer.is_exact
    assert answer.ends.chance.sum() == pytest.approx(1.0, abs=1e-6)
    # the bound and the walk through the plan are two computations of one number
    assert answer.expected_minutes == pytest.approx(expected_minutes(plan), rel=1e-6)
    assert answer.choices[0].check == answer.check
    assert answer.choices[0].minutes_lost == pytest.approx(0.0, abs=1e-6)


def test_long_list_becomes_exact_as_it_shrinks_and_the_bound_holds(build_problem: Build, item: Make) -> None:
    plan = solve_plan(_workshop(12, build_problem, item, tests=9))
    assert not plan.is_exact
    at, before = next_check(plan), expected_minutes(plan)
    problem, spent = plan.problem, plan.problem.access.minutes[next_check(plan), 0]
    for outcome in problem.outcomes[at]:
        result = problem.outcomes[at].index(outcome) + 1
        chance = problem.mass @ problem.likelihood[at, result]
        spent += chance * expected_minutes(follow_result(plan, problem.checks[at], outcome))
    assert spent <= before + 1e-6
    while not plan.is_exact:
        check = next_check(plan)
        plan = follow_result(plan, problem.checks[check], problem.outcomes[check][0])
    assert (~plan.done).sum() < len(problem.checks)
