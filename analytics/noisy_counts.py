"""Counts that carry noise of a known law: what may be expected of them.

The law is the discrete Laplace distribution: P(x) = (1 - p) / (1 + p) * p^|x|, p = exp(-epsilon) (Ghosh, Roughgarden,
Sundararajan, SIAM J. Comput. 41, 2012).
"""

import math

import numpy as np
from scipy.special import gammaln

# So many standard deviations beyond what was told, or is usual, there is nothing left to add up.
FAR = 8.0


def laplace_variance(epsilon: float) -> float:
    """Variance of the discrete Laplace distribution of scale 1/epsilon: 2 p / (1 - p)^2, p = exp(-epsilon)."""
    p = math.exp(-epsilon)
    return 2.0 * p / (1.0 - p) ** 2


def expected_under_noise(rates: np.ndarray, told: np.ndarray, epsilon: float) -> np.ndarray:
    """E[n | told], n a Poisson count of mean `rates`, told = n with discrete Laplace noise, 0 where that is negative.

    Parameters
    ----------
    rates : (...) positive means
    told : (...) whole counts, 0 or more
    epsilon : the noise has scale 1/epsilon

    Returns
    -------
    (...) expectations: near `told` where it is large, near `rates` where the noise drowns it.

    Notes
    -----
    A count told as 0 was 0 with noise or less; the chance of that, p^n / (1 + p), falls with n as that of an exact 0.

    Examples
    --------
    >>> expected_under_noise(np.array([1.0, 1.0, 20.0]), np.array([0, 4, 0]), 1.0).round(2).tolist()
    [0.37, 2.28, 7.36]
    """
    deviation = math.sqrt(laplace_variance(epsilon))
    most = max(float(np.max(told, initial=0.0)) + FAR * deviation, float(np.max(rates, initial=0.0)))
    counts = np.arange(math.ceil(most + FAR * math.sqrt(most + 1.0)) + 1)
    away = np.abs(np.asarray(told)[..., None] - counts)
    log_chance = counts * np.log(rates)[..., None] - gammaln(counts + 1.0) - epsilon * away
    chance = np.exp(log_chance - log_chance.max(axis=-1, keepdims=True))
    return np.asarray((chance @ counts) / chance.sum(axis=-1))
