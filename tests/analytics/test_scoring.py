"""Scores against printed values, scikit-learn's docstrings and hand arithmetic."""

import doctest
from collections.abc import Callable

import numpy as np
import pytest
from sklearn.metrics import log_loss as sklearn_log_loss

from analytics import scoring
from analytics.errors import InputError
from analytics.scoring import brier_score, calibration_bins, log_loss, murphy_parts, rank_of_truth

Score = Callable[[np.ndarray, np.ndarray], float]

# Brier, Monthly Weather Review 78 (1950) 1-3: ten forecasts of rain, rain on occasions 2, 3 and 4 (from memory; no
# other three occasions give the printed .19).
BRIER_FORECASTS = np.array([0.7, 0.9, 0.8, 0.4, 0.2, 0, 0, 0, 0, 0.1])
BRIER_RAIN = np.array([0, 1, 1, 1, 0, 0, 0, 0, 0, 0])


def two_columns(forecast: np.ndarray) -> np.ndarray:
    return np.column_stack([1 - forecast, forecast])


def test_examples_in_docstrings_run() -> None:
    assert doctest.testmod(scoring).failed == 0


def test_brier_score_is_the_one_printed_in_1950() -> None:
    assert brier_score(two_columns(BRIER_FORECASTS), BRIER_RAIN) == pytest.approx(0.19, abs=1e-12)


def test_brier_score_is_twice_the_half_scale() -> None:
    # scikit-learn, docstring of brier_score_loss: 0.0375, and 0.075 with scale_by_half=False.
    forecast, truth = np.array([0.1, 0.9, 0.8, 0.3]), np.array([0, 1, 1, 0])
    assert brier_score(two_columns(forecast), truth) == pytest.approx(0.075, abs=1e-12)


def test_log_loss_is_that_of_the_scikit_learn_docstring() -> None:
    # Columns ham, spam; docstring of sklearn.metrics.log_loss: 0.21616...
    probabilities = np.array([[0.1, 0.9], [0.9, 0.1], [0.8, 0.2], [0.35, 0.65]])
    assert log_loss(probabilities, np.array([1, 0, 0, 1])) == pytest.approx(0.21616187, abs=1e-8)


def test_log_loss_of_many_suspects_is_scikit_learns() -> None:
    rng = np.random.default_rng(1)
    probabilities, truth = rng.dirichlet(np.ones(6), size=40), rng.integers(6, size=40)
    assert log_loss(probabilities, truth) == pytest.approx(sklearn_log_loss(truth, probabilities, labels=range(6)))


def test_knowing_nothing_of_five_costs_ln_5_and_point_8() -> None:
    uniform, truth = np.full((3, 5), 0.2), np.array([0, 2, 4])
    assert log_loss(uniform, truth) == pytest.approx(np.log(5))
    assert brier_score(uniform, truth) == pytest.approx(0.8**2 + 4 * 0.2**2)
    assert rank_of_truth(uniform, truth).tolist() == [3, 3, 3]


def test_being_sure_costs_nothing_when_right_and_the_most_when_wrong() -> None:
    sure = np.array([[1.0, 0.0]])
    assert (log_loss(sure, np.array([0])), brier_score(sure, np.array([0]))) == (0, 0)
    assert (log_loss(sure, np.array([1])), brier_score(sure, np.array([1]))) == (np.inf, 2)


@pytest.mark.parametrize("score", [log_loss, brier_score])
def test_no_forecast_scores_better_in_the_long_run_than_the_true_odds(score: Score) -> None:
    # Both scores are strictly proper (Gneiting & Raftery, J. American Statistical Association 102, 2007).
    truth = np.repeat([0, 1, 2], [5, 3, 2])
    true_odds = score(np.tile([0.5, 0.3, 0.2], (10, 1)), truth)
    others = np.random.default_rng(2).dirichlet(np.ones(3), size=50)
    assert all(score(np.tile(other, (10, 1)), truth) > true_odds for other in others)


def test_rank_counts_from_one_and_shares_tied_places() -> None:
    probabilities = np.array([[0.5, 0.3, 0.2], [0.2, 0.3, 0.5], [0.4, 0.2, 0.4]])
    assert rank_of_truth(probabilities, np.array([0, 0, 2])).tolist() == [1, 3, 1.5]


def test_calibration_bins_are_those_of_the_scikit_learn_docstring() -> None:
    # Docstring of sklearn.calibration.calibration_curve, n_bins=3.
    forecast = np.array([0.1, 0.2, 0.3, 0.4, 0.65, 0.7, 0.8, 0.9, 1.0])
    bins = calibration_bins(forecast, np.array([0] * 4 + [1] * 5), bin_count=3)
    np.testing.assert_allclose(bins.observed_rate, [0, 0.5, 1])
    np.testing.assert_allclose(bins.forecast_mean, [0.2, 0.525, 0.85])
    assert bins.count.tolist() == [3, 2, 4]


def test_calibration_intervals_are_wilsons() -> None:
    # Wilson 1927: (k + z^2/2 +- z sqrt(k (n - k) / n + z^2/4)) / (n + z^2), here k = 2 of n = 10, 90 %: z = 1.644854.
    bins = calibration_bins(np.full(10, 0.25), np.array([1, 1] + [0] * 8))
    z = 1.6448536269514722
    middle, half = 2 + z**2 / 2, z * np.sqrt(2 * 8 / 10 + z**2 / 4)
    np.testing.assert_allclose(
        [bins.low[0], bins.high[0]], [(middle - half) / (10 + z**2), (middle + half) / (10 + z**2)]
    )


def test_nine_intervals_of_ten_hold_the_true_rate() -> None:
    # 600 bins of 40 forecasts that are true: cover within 3 binomial standard errors (0.012) and Wilson's own wobble.
    rng = np.random.default_rng(3)
    covered = 0
    for _ in range(60):
        forecast = np.repeat(np.arange(0.05, 1, 0.1), 40)
        bins = calibration_bins(forecast, rng.random(len(forecast)) < forecast)
        covered += int(((bins.low <= bins.forecast_mean) & (bins.forecast_mean <= bins.high)).sum())
    assert 0.86 < covered / 600 < 0.95


def test_murphy_parts_of_four_groups() -> None:
    # Hand arithmetic: groups of 40, 30, 20, 10 with 6, 9, 10, 9 events, base rate .34.
    forecast = np.repeat([0.1, 0.3, 0.6, 0.9], [40, 30, 20, 10])
    outcome = np.concatenate([np.arange(n) < events for n, events in [(40, 6), (30, 9), (20, 10), (10, 9)]]).astype(int)
    parts = murphy_parts(forecast, outcome)
    assert parts.reliability == pytest.approx(0.4 * 0.05**2 + 0.2 * 0.1**2)
    assert parts.resolution == pytest.approx(0.4 * 0.19**2 + 0.3 * 0.04**2 + 0.2 * 0.16**2 + 0.1 * 0.56**2)
    assert parts.uncertainty == pytest.approx(0.34 * 0.66)
    half_scale = ((forecast - outcome) ** 2).mean()
    assert half_scale == pytest.approx(0.1760)
    assert parts.reliability - parts.resolution + parts.uncertainty == pytest.approx(half_scale)


def test_murphy_parts_of_briers_forecasts_add_up_to_half_of_his_score() -> None:
    parts = murphy_parts(BRIER_FORECASTS, BRIER_RAIN)
    assert (parts.reliability, parts.resolution, parts.uncertainty) == pytest.approx((0.095, 0.21, 0.21))


@pytest.mark.parametrize("score", [log_loss, brier_score])
def test_a_score_of_no_case_is_refused(score: Score) -> None:
    with pytest.raises(InputError, match="no forecast to score yet"):
        score(np.zeros((0, 3)), np.zeros(0, dtype=int))
