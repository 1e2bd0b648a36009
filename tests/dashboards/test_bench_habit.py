"""The words over the plan and habit, against hand arithmetic."""

import pandas as pd

from dashboards.bench_habit import say_difference


def stairs(plan: list[tuple[float, float]], usual: list[tuple[float, float]]) -> pd.DataFrame:
    rows = [("plan", *step) for step in plan] + [("usual", *step) for step in usual]
    return pd.DataFrame(rows, columns=["way", "minutes", "share"])


def test_sooner_is_the_area_between_the_stairs() -> None:
    """From 10 to 30 the plan has half of the machines working and habit none: 20 x 0.5 = 10 minutes."""
    plan, usual = [(0, 0.0), (10, 0.5), (60, 0.5)], [(0, 0.0), (30, 0.5), (60, 0.5)]
    assert say_difference(stairs(plan, usual))[1] == "about 10 min sooner than by habit"
    assert say_difference(stairs(usual, plan))[1] == "about 10 min later than by habit"
    assert say_difference(stairs(plan, plan)) == ["No difference worth a word"]
