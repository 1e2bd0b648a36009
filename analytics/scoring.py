"""How good forecasts of the true suspect were: arrays in, numbers out."""

from dataclasses import dataclass

import numpy as np
from scipy.stats import binomtest

from analytics.errors import InputError

# 90 %, as everywhere an interval is shown.
INTERVAL_MASS = 0.9


@dataclass(frozen=True)
class CalibrationBins:
    """Forecasts of equal size put together, bins without forecasts left out.

    forecast_mean, observed_rate, count : (bin,), in the order of the forecasts
    low, high : (bin,) the 90 % Wilson interval of the rate that `observed_rate` estimates
    """

    forecast_mean: np.ndarray
    observed_rate: np.ndarray
    count: np.ndarray
    low: np.ndarray
    high: np.ndarray


@dataclass(frozen=True)
class MurphyParts:
    """The parts of a half-scale Brier score: reliability - resolution + uncertainty.

    Reliability is the better the smaller, resolution the better the larger; uncertainty is not the forecaster's.
    """

    reliability: float
    resolution: float
    uncertainty: float


def log_loss(probabilities: np.ndarray, truth: np.ndarray) -> float:
    """Mean logarithmic score in nats: the smaller the better, minimum is zero.

    Infinite as soon as one true suspect had been called impossible.

    Parameters
    ----------
    probabilities : (case, suspect), each row sums to 1; P(suspect) as it was said
    truth : (case,) position of the suspect that it really was

    Raises
    ------
    InputError
        When there is no case.

    Notes
    -----
    Mean of -ln p[case, truth]. Good, J. Royal Statistical Society B 14 (1952).

    Examples
    --------
    >>> round(log_loss(np.full((1, 5), 0.2), np.array([3])), 6)  # ln 5: no idea among five
    1.609438
    """
    with np.errstate(divide="ignore"):
        return _mean(-np.log(_said_of_truth(probabilities, truth)))


def brier_score(probabilities: np.ndarray, truth: np.ndarray) -> float:
    """Mean Brier score on the full scale of 0 to 2: the smaller the better, minimum is zero.

    Parameters
    ----------
    probabilities : (case, suspect), each row sums to 1; P(suspect) as it was said
    truth : (case,) position of the suspect that it really was

    Raises
    ------
    InputError
        When there is no case.

    Notes
    -----
    Mean over cases of the sum over suspects of (p - [suspect is true])^2: Brier, Monthly Weather Review 78 (1950),
    formula 2. With two suspects it is twice the half-scale score, mean of (p - outcome)^2, of `murphy_parts`.

    Examples
    --------
    >>> round(brier_score(np.array([[0.7, 0.3]]), np.array([0])), 2)
    0.18
    """
    # (p - e)^2 summed is |p|^2 - 2 p_true + 1: no matrix of zeros and ones is needed.
    return _mean((probabilities**2).sum(axis=1) - 2.0 * _said_of_truth(probabilities, truth) + 1.0)


def rank_of_truth(probabilities: np.ndarray, truth: np.ndarray) -> np.ndarray:
    """Place of the true suspect in the list, most probable first: the smaller the better, best is 1.

    Suspects of equal probability share the mean of their places, so that saying nothing earns nothing.

    Parameters
    ----------
    probabilities : (case, suspect) P(suspect) as it was said
    truth : (case,) position of the suspect that it really was

    Returns
    -------
    (case,) place, a half where an even number is tied

    Examples
    --------
    >>> rank_of_truth(np.array([[0.5, 0.3, 0.2], [0.4, 0.4, 0.2]]), np.array([1, 0])).tolist()
    [2.0, 1.5]
    """
    said = _said_of_truth(probabilities, truth)[:, None]
    above, level = (probabilities > said).sum(axis=1), (probabilities == said).sum(axis=1)
    return np.asarray(above + (level + 1) / 2.0)


def calibration_bins(forecast: np.ndarray, outcome: np.ndarray, *, bin_count: int = 10) -> CalibrationBins:
    """Whether what was called p happened in a share p of cases, bin by bin.

    Parameters
    ----------
    forecast : (n,) probabilities of something that came true or not, e.g. of every (case, suspect) pair
    outcome : (n,) 1 where it came true, else 0
    bin_count : bins of equal width from 0 to 1; a forecast on an edge belongs to the lower bin

    Raises
    ------
    InputError
        When there is no forecast.

    Notes
    -----
    Intervals: Wilson, J. American Statistical Association 22 (1927). They take the pairs for independent; the
    suspects of one case are not quite, so read them as a rough guide.

    Examples
    --------
    >>> bins = calibration_bins(np.array([0.1, 0.15, 0.8]), np.array([0, 1, 1]), bin_count=2)
    >>> bins.forecast_mean.tolist(), bins.observed_rate.tolist(), bins.count.tolist()
    ([0.125, 0.8], [0.5, 1.0], [2, 1])
    """
    _refuse_nothing(forecast)
    inner_edges = np.linspace(0.0, 1.0, bin_count + 1)[1:-1]
    group = np.searchsorted(inner_edges, forecast)
    count = np.bincount(group, minlength=bin_count)
    kept = count > 0
    hits = np.bincount(group, outcome, minlength=bin_count)[kept]
    total, count = np.bincount(group, forecast, minlength=bin_count)[kept], count[kept]
    pairs = zip(hits.astype(int), count, strict=True)
    intervals = [binomtest(int(hit), int(n)).proportion_ci(INTERVAL_MASS, method="wilson") for hit, n in pairs]
    low, high = np.array(intervals).T
    return CalibrationBins(total / count, hits / count, count, low, high)


def murphy_parts(forecast: np.ndarray, outcome: np.ndarray) -> MurphyParts:
    """What a Brier score is made of: being off in the long run, telling cases apart, and the cases' own uncertainty.

    Parameters
    ----------
    forecast : (n,) probabilities; equal ones form a group, so round them first (to tenths, say) unless they repeat
    outcome : (n,) 1 where it came true, else 0

    Raises
    ------
    InputError
        When there is no forecast.

    Notes
    -----
    Half scale: mean (p - outcome)^2 = reliability - resolution + uncertainty, exactly. Murphy, J. Applied Meteorology
    12 (1973) 595-600. Small groups make reliability and resolution too large by about the same amount.

    Examples
    --------
    >>> murphy_parts(np.array([0.5, 0.5]), np.array([0, 1]))
    MurphyParts(reliability=0.0, resolution=0.0, uncertainty=0.25)
    """
    _refuse_nothing(forecast)
    value, group, count = np.unique(forecast, return_inverse=True, return_counts=True)
    rate, base = np.bincount(group, outcome) / count, outcome.mean()
    return MurphyParts(
        reliability=float(np.average((value - rate) ** 2, weights=count)),
        resolution=float(np.average((rate - base) ** 2, weights=count)),
        uncertainty=float(base * (1.0 - base)),
    )


def _said_of_truth(probabilities: np.ndarray, truth: np.ndarray) -> np.ndarray:
    """(case,) probability that had been given to what it really was."""
    return np.take_along_axis(probabilities, truth[:, None], axis=1)[:, 0]


def _mean(score: np.ndarray) -> float:
    _refuse_nothing(score)
    return float(score.mean())


def _refuse_nothing(values: np.ndarray) -> None:
    if not len(values):
        raise InputError("There is no forecast to score yet. Scores begin with the first ticket that is closed.")
