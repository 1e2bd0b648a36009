"""Odds that a machine just put together works, against hand arithmetic."""

from dataclasses import replace
from math import exp, log

import numpy as np
import pytest

from analytics.errors import InputError
from analytics.posterior import Posterior
from analytics.readiness import assess_readiness, fault_shares
from analytics.vocabulary import Vocabulary

SUSPECTS = ("plug_loose", "switch_dirty", "coil_open", "fuse_blown", "something_else")
# Shares in all faults, stated here.
SHARE = np.array([0.4, 0.3, 0.1, 0.1, 0.1])
CHANCE = 0.5


@pytest.fixture
def certain(tiny_posterior: Posterior, tiny_vocabulary: Vocabulary) -> Posterior:
    """One draw with the vocabulary's own rates: look_at_plug finds 0.8, meter_coil 0.95, both false alarm 0.03."""
    draws = tiny_posterior.draws.isel(draw=[0]).copy(deep=True)
    assert tuple(draws["suspect"].values) == SUSPECTS
    draws["detection"].values[:] = [0.8, 0.95]
    draws["cure"].values[:] = [0.9, 0.85, 0.98, 0.9]
    draws["false_alarm"].values[:] = 0.03
    draws["log_minutes"].values[:] = np.log([check.minutes for check in tiny_vocabulary.checks.values()])
    draws["minutes_spread"].values[:] = 0.0
    return replace(tiny_posterior, draws=draws)


def present(share: float) -> float:
    """P(present) of a suspect: the expected number of faults, ln 2 in all, is shared out."""
    return 1.0 - exp(log(1.0 - CHANCE) * share)


def test_without_checks_the_chance_is_the_one_given(certain: Posterior, tiny_vocabulary: Vocabulary) -> None:
    # prod exp(-ln 2 x share) = exp(-ln 2) = 0.5
    answer = assess_readiness(certain, tiny_vocabulary, SHARE[None], chance_of_fault=CHANCE)
    assert answer.probability == pytest.approx(0.5)
    assert answer.low == pytest.approx(answer.high)
    assert dict(answer.suspects)["plug_loose"] == pytest.approx(present(0.4))


def test_check_that_passed_multiplies_the_odds_of_what_it_reveals(
    certain: Posterior, tiny_vocabulary: Vocabulary
) -> None:
    # odds of the loose plug: p / (1 - p) x (1 - 0.8) / (1 - 0.03); the others stay
    p = present(0.4)
    odds = p / (1.0 - p) * 0.2 / 0.97
    others = 0.5 / (1.0 - p)
    answer = assess_readiness(certain, tiny_vocabulary, SHARE[None], passed=["look_at_plug"])
    assert answer.probability == pytest.approx(others / (1.0 + odds))
    assert dict(answer.suspects)["plug_loose"] == pytest.approx(odds / (1.0 + odds))


def test_remedy_that_was_done_takes_away_what_it_cures(certain: Posterior, tiny_vocabulary: Vocabulary) -> None:
    p = present(0.4)
    answer = assess_readiness(certain, tiny_vocabulary, SHARE[None], passed=["reseat_plug"])
    assert answer.probability == pytest.approx(0.5 / (1.0 - p) * (1.0 - p * (1.0 - 0.9)))


def test_further_checks_are_ranked_by_gain_per_minute(certain: Posterior, tiny_vocabulary: Vocabulary) -> None:
    answer = assess_readiness(certain, tiny_vocabulary, SHARE[None])
    p = present(0.4)
    gain = 0.5 / (1.0 - p) * (1.0 - 0.1 * p) - 0.5
    best = answer.further[0]
    look = 0.5 / (1.0 - p) / (1.0 + p / (1.0 - p) * 0.2 / 0.97) - 0.5
    expected = {"reseat_plug": gain / 3.0, "look_at_plug": look / 2.0}
    assert best.check == max(expected, key=expected.__getitem__)
    assert best.gain_per_minute == pytest.approx(max(expected.values()))
    gains = [one.gain_per_minute for one in answer.further]
    assert gains == sorted(gains, reverse=True)
    assert "look_at_plug" not in [
        one.check for one in assess_readiness(certain, tiny_vocabulary, SHARE[None], passed=["look_at_plug"]).further
    ]


def test_shares_weigh_symptoms_by_frequency_and_sum_to_one(
    tiny_posterior: Posterior, tiny_vocabulary: Vocabulary
) -> None:
    stuck = fault_shares(tiny_posterior, tiny_vocabulary, {"stuck": 1.0})
    dark = fault_shares(tiny_posterior, tiny_vocabulary, {"dark": 5.0})
    both = fault_shares(tiny_posterior, tiny_vocabulary, {"stuck": 3.0, "dark": 1.0})
    np.testing.assert_allclose(both, 0.75 * stuck + 0.25 * dark)
    np.testing.assert_allclose(both.sum(axis=1), 1.0)
    assert not stuck[:, SUSPECTS.index("fuse_blown")].any()


def test_draws_that_foresaw_a_pass_weigh_more(certain: Posterior, tiny_vocabulary: Vocabulary) -> None:
    # two draws: all faults are loose plugs, or none is; the look passes with (0.5 + 0.5 x 0.2 / 0.97) to 1
    shares = np.array([[1.0, 0, 0, 0, 0], [0, 1.0, 0, 0, 0]])
    twice = replace(certain, draws=certain.draws.isel(draw=[0, 0]))
    answer = assess_readiness(twice, tiny_vocabulary, shares, passed=["look_at_plug"])
    assert answer.probability == pytest.approx((0.5 + 0.5) / (0.5 + 0.5 * 0.2 / 0.97 + 1.0))


@pytest.mark.parametrize("chance", [0.0, 1.0, -1.0])
def test_impossible_chance_is_refused(certain: Posterior, tiny_vocabulary: Vocabulary, chance: float) -> None:
    with pytest.raises(InputError, match="between 0 and 1"):
        assess_readiness(certain, tiny_vocabulary, SHARE[None], chance_of_fault=chance)
