"""The spreads at which many tickets are most probable, coefficients averaged out as if their posterior were normal.

Fisher scoring of a restricted likelihood: Harville, Journal of the American Statistical Association 72 (1977).
"""

from dataclasses import dataclass

import numpy as np
from scipy.linalg import cholesky
from scipy.linalg.lapack import dpotri

from analytics.centring import Centring
from analytics.curvature import Curvature, all_spreads, departures, fill_hollows, prior_bend, spread_places
from analytics.terms import Priors

CORRECTIONS = 8
# A spread is corrected by a factor of two at most at a time; corrections end when the largest is this small.
LARGEST_CORRECTION, SMALL_ENOUGH = 0.7, 0.02
# Where wider spreads let coefficients go, the curvature is another one: no further than by this factor (log) at a time.
LARGEST_GROWTH = 0.7


@dataclass(frozen=True, eq=False)
class Settled:
    """log_spread (learned spread,) with its covariance; row (row,) the most probable place there; triangle (row, row)
    the lower Cholesky factor of its precision.
    """

    log_spread: np.ndarray
    spread_covariance: np.ndarray
    row: np.ndarray
    triangle: np.ndarray


def settle_spreads(curvature: Curvature, log_spread: np.ndarray, centring: Centring, priors: Priors) -> Settled:
    """From the spreads given to the most probable ones, or to `LARGEST_GROWTH` beyond the first.

    The curvature is taken to be the same for all of them.
    """
    most = log_spread + LARGEST_GROWTH
    for at in range(CORRECTIONS):
        curvature, triangle = _triangle(curvature, log_spread, centring)
        covariance = _inverse(triangle)
        row = covariance @ curvature.pull
        slope, information = _score(row, covariance, log_spread, centring=centring, priors=priors)
        step = np.clip(np.linalg.solve(information, slope), -LARGEST_CORRECTION, LARGEST_CORRECTION)
        step = np.minimum(step, most - log_spread)
        if np.abs(step).max() < SMALL_ENOUGH or at == CORRECTIONS - 1:
            break
        log_spread = log_spread + step
    return Settled(log_spread, np.linalg.inv(information), row, triangle)


def _triangle(curvature: Curvature, log_spread: np.ndarray, centring: Centring) -> tuple[Curvature, np.ndarray]:
    """The factor of the precision, and the curvature that has one: wide priors do not make good for hollows in it."""
    prior = prior_bend(log_spread, centring)
    try:
        return curvature, cholesky(curvature.bend + prior, lower=True, check_finite=False)
    except np.linalg.LinAlgError:
        filled = fill_hollows(curvature)
        return filled, cholesky(filled.bend + prior, lower=True, check_finite=False)


def _inverse(triangle: np.ndarray) -> np.ndarray:
    lower = np.tril(dpotri(triangle, lower=1)[0])
    return lower + np.tril(lower, -1).T


def _score(
    row: np.ndarray, covariance: np.ndarray, log_spread: np.ndarray, *, centring: Centring, priors: Priors
) -> tuple[np.ndarray, np.ndarray]:
    """Slope of the log probability by log spread, and its expected information.

    With departures d of n members: sum (d / s)^2 - n, in the mean over the posterior of d; information 2 |I - C|^2, C
    the posterior covariance of d / s, by blocks of terms; both with the gamma prior of the spread.
    """
    scale, place = np.exp(-all_spreads(log_spread, centring)), spread_places(centring)
    learned, count = centring.learned, len(centring.reach)
    known = departures(departures(covariance, centring).T, centring) * scale[:, None] * scale
    squares = (departures(row, centring) * scale) ** 2 + np.diag(known)
    rate = priors.spread_shape / centring.reach[:learned] * np.exp(log_spread)
    slope = (np.bincount(place, squares, count) - np.bincount(place, minlength=count))[:learned]
    member = np.equal.outer(place, np.arange(learned)).astype(float)
    known[np.diag_indices_from(known)] -= 1.0
    information = 2.0 * member.T @ (known**2 @ member)
    return slope + priors.spread_shape - rate, information + np.diag(rate)
