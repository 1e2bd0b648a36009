"""Simulation-based calibration, short: the model passes it, and the same check sees through a model that is wrong."""

from dataclasses import replace

import numpy as np
import pytest

from benchmarks.sbc import KEPT, Setup, collect_ranks, judge_ranks, prepare_setup
from benchmarks.sbc_uniformity import band_p_value
from benchmarks.sbc_world import Truth

pytestmark = pytest.mark.slow

SIMULATIONS = 32
# Worst p-value of all quantities: a right model fails one time in a hundred (Bonferroni), and seeds are fixed.
DOUBT = 0.01


@pytest.fixture(scope="module")
def setup() -> Setup:
    return prepare_setup()


def worst_p_value(ranks: dict[str, np.ndarray]) -> float:
    """Of the ECDF bands of all quantities, times their number."""
    return len(ranks) * min(line.band_p for line in judge_ranks(ranks))


def twice_the_log_odds(truth: Truth) -> Truth:
    """A world in which everything matters twice as much as the model is later asked about."""
    doubled = {name: 2.0 * truth.values[name] for name in ("alpha", "beta", "gamma", "age_effect")}
    return replace(truth, values={**truth.values, **doubled})


def test_ranks_of_the_truth_are_uniform(setup: Setup) -> None:
    """Talts et al. (2018): under the model the truth is one more draw."""
    ranks, _ = collect_ranks(setup, SIMULATIONS)
    assert worst_p_value(ranks) > DOUBT
    covered = [line.cover_90 for line in judge_ranks(ranks)]
    # 30 quantities of 32 simulations; those of one simulation are not independent, so this is a rough net
    assert np.mean(covered) == pytest.approx(0.9, abs=0.04)


def test_tickets_of_another_world_are_noticed(setup: Setup) -> None:
    ranks, _ = collect_ranks(setup, SIMULATIONS // 2, distort=twice_the_log_odds)
    assert worst_p_value(ranks) < DOUBT


def test_the_band_holds_nineteen_in_twenty_uniform_samples() -> None:
    """And hardly any of ranks that crowd in the middle, as intervals too wide would make them."""
    rng = np.random.default_rng(1)
    uniform = [band_p_value(rng.integers(0, KEPT + 1, 100), KEPT) for _ in range(400)]
    crowded = [band_p_value(rng.binomial(KEPT, 0.5, 100), KEPT) for _ in range(20)]
    assert np.mean(np.array(uniform) < 0.05) == pytest.approx(0.05, abs=0.035)
    assert max(crowded) < 0.01
