"""What a plan tells a person, and the problem made from a vocabulary."""

from collections.abc import Callable
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from analytics.check_rates import CheckRates
from analytics.errors import InputError
from analytics.plan_answers import answer_plan, chance_fixed_by, slack_minutes
from analytics.plan_solution import expected_minutes, solve_plan
from analytics.planning import BenchState, PlanProblem, make_plan_problem
from analytics.vocabulary import AccessGroup, Vocabulary

Build = Callable[..., PlanProblem]
Make = Callable[..., Any]
STUCK = np.array([0.5, 0.3, 0.1, 0.1])  # plug loose, switch dirty, coil open, something else


def test_how_much_dearer_the_first_check_may_get(build_problem: Build, item: Make) -> None:
    problem = build_problem([0.6, 0.4], [item("A", 30, [1, 0]), item("B", 10, [0, 1])])
    # B keeps the better ratio as long as .4 / minutes > .6 / 30: up to 20 minutes
    assert slack_minutes(solve_plan(problem)) == pytest.approx(10.0, abs=1e-4)


def test_chance_of_being_done_counts_only_repairs(build_problem: Build, item: Make) -> None:
    items = [item("A", 20, [0.8, 0, 0]), item("B", 45, [0, 0.9, 0])]
    answer = answer_plan(solve_plan(build_problem([0.5, 0.3, 0.2], items, sendout=120)))
    # A cures .4 after 20 minutes, B .27 after 65; the rest is handed on and never counts
    chances = chance_fixed_by(answer.ends, np.array([19, 20, 65, 1000]))
    assert chances == pytest.approx([0, 0.4, 0.67, 0.67])
    assert answer.quantile_minutes == pytest.approx((20, 65, 185))
    assert answer.first_step.check == "A"
    assert answer.first_step.after[0][1].chance == pytest.approx(0.6)
    assert answer.first_step.after[0][1].chance_cured == pytest.approx(0.27 / 0.6)


def test_group_closed_for_every_retest_is_paid_again(build_problem: Build, item: Make) -> None:
    items = [item("A", 10, [1, 0], need=1), item("B", 10, [0, 1], need=1)]
    stays = build_problem([0.5, 0.5], items, groups=[(5, 3)])
    closes = build_problem([0.5, 0.5], items, groups=[(5, 3)], volatile=1)
    assert expected_minutes(solve_plan(stays)) == pytest.approx(5 + 10 + 0.5 * 10)
    assert expected_minutes(solve_plan(closes)) == pytest.approx(1.5 * (5 + 10 + 3))
    # a look leaves the group open for the remedy that follows: opened once, closed once
    look = [*items, item("look", 2, read=[1, 0], need=1)]
    problem = build_problem([0.5, 0.5], look, groups=[(5, 3)], volatile=1)
    assert expected_minutes(solve_plan(problem)) == pytest.approx(5 + 2 + 10 + 3)


def test_retest_that_deceives_is_priced_as_a_comeback(tiny_vocabulary: Vocabulary) -> None:
    bench = BenchState(
        sendout_minutes=100, deceive=0.5, comeback_minutes=60, excluded=frozenset({"look_at_plug", "meter_coil"})
    )
    belief = np.array([1.0, 0.0, 0.0, 0.0])
    answer = answer_plan(solve_plan(make_plan_problem(belief, tiny_vocabulary, "stuck", bench=bench)))
    # reseat 3 min cures .9; of the .1 left half is handed on (100), half comes back first (60 more)
    assert answer.check == "reseat_plug"
    assert answer.expected_minutes == pytest.approx(3 + 0.1 * 100 + 0.05 * 60)
    assert (answer.chance_fixed, answer.chance_deceived) == pytest.approx((0.9, 0.05))


def test_inspection_does_not_cure_and_remedy_does(tiny_vocabulary: Vocabulary) -> None:
    problem = make_plan_problem(STUCK, tiny_vocabulary, "stuck", bench=BenchState(sendout_minutes=240))
    at = {code: problem.checks.index(code) for code in problem.checks}
    assert problem.outcomes[at["look_at_plug"]] == ("clear", "fault_found")
    assert problem.outcomes[at["reseat_plug"]] == ("not_cured",)
    # detection .8 of the loose plug, false alarm .03 elsewhere
    np.testing.assert_allclose(problem.likelihood[at["look_at_plug"], 2], [0.8, 0.03, 0.03, 0.03])
    np.testing.assert_allclose(problem.likelihood[at["reseat_plug"], 0], [0.9, 0, 0, 0])
    np.testing.assert_allclose(problem.likelihood.sum(1), 1.0)


def test_remedy_that_reveals_has_three_outcomes(tiny_vocabulary: Vocabulary) -> None:
    both = replace(tiny_vocabulary.checks["replace_coil"], reveals={"switch_dirty": 0.5}, false_alarm=0.0)
    vocabulary = replace(tiny_vocabulary, checks={**tiny_vocabulary.checks, "replace_coil": both})
    problem = make_plan_problem(STUCK, vocabulary, "stuck", bench=BenchState(sendout_minutes=240))
    at = problem.checks.index("replace_coil")
    assert problem.outcomes[at] == ("not_cured", "fault_found")
    np.testing.assert_allclose(problem.likelihood[at, :, 1], [0.0, 0.5, 0.5])
    np.testing.assert_allclose(problem.likelihood[at, :, 2], [0.98, 0.02, 0.0])


def test_parts_tools_and_waits_decide_what_can_be_planned(tiny_vocabulary: Vocabulary) -> None:
    coil = replace(tiny_vocabulary.checks["replace_coil"], part="coil")
    meter = replace(tiny_vocabulary.checks["meter_coil"], tool="multimeter")
    vocabulary = replace(tiny_vocabulary, checks={**tiny_vocabulary.checks, coil.code: coil, meter.code: meter})

    def problem_with(bench: BenchState) -> PlanProblem:
        return make_plan_problem(STUCK, vocabulary, "stuck", bench=bench)

    everything = problem_with(BenchState(240))
    assert {"replace_coil", "meter_coil"} <= set(everything.checks)
    bare = problem_with(BenchState(240, shelf=frozenset(), tools=frozenset()))
    assert not {"replace_coil", "meter_coil"} & set(bare.checks)
    ordered = problem_with(BenchState(240, shelf=frozenset(), waiting_minutes={"coil": 45.0}))
    assert ordered.access.minutes[ordered.checks.index("replace_coil"), 0] == 30 + 45


def test_open_group_counts_what_it_lies_inside(tiny_vocabulary: Vocabulary) -> None:
    groups = {
        "cabinet": AccessGroup("cabinet", "Cabinet", 4, 3),
        "bay": AccessGroup("bay", "Bay", 6, 5, inside="cabinet", must_close_for_retest=1),
    }
    checks = {
        code: replace(check, access_group="bay" if "coil" in code else "cabinet")
        for code, check in tiny_vocabulary.checks.items()
    }
    vocabulary = replace(tiny_vocabulary, access_groups=groups, checks=checks)
    closed = make_plan_problem(STUCK, vocabulary, "stuck", bench=BenchState(240))
    opened = make_plan_problem(STUCK, vocabulary, "stuck", bench=BenchState(240, open_groups=frozenset({"bay"})))
    coil, plug = closed.checks.index("replace_coil"), closed.checks.index("reseat_plug")
    assert closed.access.minutes[coil, closed.open_mask] == 30 + 4 + 6 + 5
    assert opened.access.minutes[coil, opened.open_mask] == 30 + 5
    # the bay must be closed before any retest, also of a remedy outside it
    assert opened.access.minutes[plug, opened.open_mask] == 3 + 5


def test_repeated_remedy_with_draws_is_worth_less_the_second_time(tiny_vocabulary: Vocabulary) -> None:
    checks, suspects = list(tiny_vocabulary.checks), list(tiny_vocabulary.suspects)
    found, cured = np.zeros((2, len(checks), len(suspects))), np.zeros((2, len(checks), len(suspects)))
    cured[:, checks.index("reseat_plug"), suspects.index("plug_loose")] = [0.95, 0.05]
    bench = BenchState(240, repeated=frozenset({"reseat_plug"}))
    belief = np.tile(STUCK, (2, 1))
    problem = make_plan_problem(belief, tiny_vocabulary, "stuck", bench=bench, rates=CheckRates(found, cured))
    tries = [at for at, code in enumerate(problem.checks) if code == "reseat_plug"]
    assert len(tries) == 2
    failed = problem.mass * problem.likelihood[tries[0], 1]
    first, second = problem.mass @ problem.likelihood[tries[1], 0], failed @ problem.likelihood[tries[1], 0]
    assert first == pytest.approx(0.5 * 0.5)
    # hand arithmetic: .25 (.05 x .95 + .95 x .05) of what the first try leaves
    assert second == pytest.approx(0.25 * 2 * 0.05 * 0.95)


@pytest.mark.parametrize(
    ("belief", "bench", "words"),
    [
        (STUCK, BenchState(0), "above 0"),
        (STUCK, BenchState(240, deceive=1.0), "cannot be planned"),
        (STUCK, BenchState(240, open_groups=frozenset({"attic"})), "'attic'"),
        (STUCK, BenchState(240, excluded=frozenset({"pray"})), "'pray'"),
        (STUCK[:3], BenchState(240), "4 suspects"),
        (-STUCK, BenchState(240), "negative"),
    ],
    ids=["free-handing-on", "always-deceived", "unknown-group", "unknown-check", "short-belief", "negative-belief"],
)
def test_benches_that_cannot_be_are_refused_in_words(
    belief: np.ndarray, bench: BenchState, words: str, tiny_vocabulary: Vocabulary
) -> None:
    with pytest.raises(InputError, match=words):
        make_plan_problem(belief, tiny_vocabulary, "stuck", bench=bench)


def test_nothing_left_to_check_means_handing_on(tiny_vocabulary: Vocabulary) -> None:
    bench = BenchState(240, excluded=frozenset(tiny_vocabulary.checks))
    answer = answer_plan(solve_plan(make_plan_problem(STUCK, tiny_vocabulary, "stuck", bench=bench)))
    assert (answer.check, answer.expected_minutes, answer.chance_fixed) == ("", 240.0, 0.0)
