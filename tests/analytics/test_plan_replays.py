"""The plan on machines whose suspect is known: its minutes by suspect add up to its expected minutes."""

import numpy as np
import pytest

from analytics.advice import SENDOUT_MINUTES, advise, expected_minutes_of
from analytics.case import Case, CheckResult
from analytics.plan_replays import DoneRepair, replay_plan
from analytics.posterior import Posterior
from analytics.suspects import belief
from analytics.vocabulary import Vocabulary

CASE = Case("stuck")


def test_minutes_by_suspect_weighed_by_their_odds_are_the_expected_minutes(
    tiny_posterior: Posterior, tiny_vocabulary: Vocabulary
) -> None:
    suspects = tiny_vocabulary.suspects_of("stuck")
    minutes = replay_plan(tiny_posterior, [DoneRepair(CASE, (), suspect) for suspect in suspects], tiny_vocabulary)
    mass = belief(tiny_posterior, CASE, tiny_vocabulary).mass
    odds = mass.sum(axis=0) / mass.sum() if mass.ndim > 1 else mass / mass.sum()
    # the law of total expectation; the planner adds its expected minutes up on another way
    expected = advise(tiny_posterior, CASE, tiny_vocabulary).answer.expected_minutes
    assert odds @ minutes[:, 0] == pytest.approx(expected, rel=1e-3)
    # nobody knows what it was and nothing was tried: the odds are those at intake
    unknown = replay_plan(tiny_posterior, [DoneRepair(CASE, ())], tiny_vocabulary)
    assert unknown[0, 0] == pytest.approx(expected, rel=1e-3)


def test_what_was_made_pays_for_each_check_and_for_handing_on(
    tiny_posterior: Posterior, tiny_vocabulary: Vocabulary
) -> None:
    look = CheckResult("look_at_plug", "clear")
    usual = expected_minutes_of(tiny_posterior)["look_at_plug"]
    outside = tiny_vocabulary.checks["look_at_plug"].access_group
    opening = tiny_vocabulary.access_groups[outside].open_minutes if outside else 0.0
    fixed, handed_on = replay_plan(
        tiny_posterior, [DoneRepair(CASE, (look,), "plug_loose"), DoneRepair(CASE, (look,))], tiny_vocabulary
    )[:, 1]
    assert fixed == pytest.approx(usual + opening)
    assert handed_on == pytest.approx(fixed + SENDOUT_MINUTES)
    twice = replay_plan(tiny_posterior, [DoneRepair(CASE, (look, look), "plug_loose")], tiny_vocabulary)
    # opened once, looked at twice
    np.testing.assert_allclose(twice[0, 1], fixed + usual)
