"""Minutes of many units that lend each other strength: unit -> its group -> all. Log-normal, closed form on a grid."""

from dataclasses import dataclass

import numpy as np
from scipy.special import logsumexp, ndtri

# Spread of units within a group and of groups, in log minutes.
_SPREADS = np.geomspace(0.05, 2.0, 12)
# What the pooled spread of single times is worth for a unit's own spread, in times written down; a choice.
SPREAD_WORTH = 10.0
# Where nobody wrote a time: spread of single times, middle of all in log minutes, and its own spread; a choice.
_BLIND_SPREAD, _BLIND_MIDDLE, _BLIND_SURENESS = 0.5, float(np.log(15.0)), 2.0


@dataclass(frozen=True, eq=False)
class SharedMinutes:
    """What is believed of each unit's log minutes, all (unit,): its middle `log_median` with variance `log_variance`,
    the variance `within` of single times around it, and the variance `within_variance` of that figure.
    """

    log_median: np.ndarray
    log_variance: np.ndarray
    within: np.ndarray
    within_variance: np.ndarray

    def median_interval(self, level: float = 0.9) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """Median minutes and both ends of their interval, (unit,) each."""
        far = ndtri((1.0 + level) / 2.0) * np.sqrt(self.log_variance)
        return np.exp(self.log_median), np.exp(self.log_median - far), np.exp(self.log_median + far)

    @property
    def log_mean(self) -> tuple[np.ndarray, np.ndarray]:
        """Middle and variance of the log of the MEAN minutes, (unit,) each: median times exp(within / 2)."""
        return self.log_median + self.within / 2.0, self.log_variance + self.within_variance / 4.0


def share_minutes(
    count: np.ndarray, log_sum: np.ndarray, log_square_sum: np.ndarray, group: np.ndarray
) -> SharedMinutes:
    """Log-normal minutes of units in groups.

    Log minutes are normal around a unit's middle, the middles normal around the group's, those normal around one of
    all. Both spreads are integrated over a grid (log-uniform); each unit's mixture is given back by mean and variance.

    Parameters
    ----------
    count, log_sum, log_square_sum : times written down, the sum and sum of squares of their logarithms (unit,)
    group : number of each unit's group (unit,), from 0

    Notes
    -----
    Gelman and others, "Bayesian Data Analysis", 3rd edition (2013), section 5.4, with one more level; from memory.
    """
    count, group = np.asarray(count, dtype=float), np.asarray(group)
    mean = np.divide(log_sum, count, out=np.zeros(len(count)), where=count > 0)
    squares = np.maximum(np.asarray(log_square_sum, dtype=float) - count * mean**2, 0.0)
    freedom = np.maximum(count - 1.0, 0.0)
    pooled = squares.sum() / freedom.sum() if freedom.sum() >= 1.0 and squares.sum() > 0.0 else _BLIND_SPREAD**2
    within = (SPREAD_WORTH * pooled + squares) / (SPREAD_WORTH + freedom)
    found = [
        _given_spreads(mean, within / np.maximum(count, 1e-9), group, spreads=(unit, of_group))
        for unit in _SPREADS
        for of_group in _SPREADS
    ]
    evidence = np.array([one[0] for one in found])
    weight = np.exp(evidence - logsumexp(evidence))
    middles, variances = np.array([one[1] for one in found]), np.array([one[2] for one in found])
    middle = weight @ middles
    variance = weight @ (variances + middles**2) - middle**2
    return SharedMinutes(middle, variance, within, 2.0 * within**2 / (SPREAD_WORTH + freedom))


def _given_spreads(
    mean: np.ndarray, noise: np.ndarray, group: np.ndarray, *, spreads: tuple[float, float]
) -> tuple[float, np.ndarray, np.ndarray]:
    """(log evidence, middle, variance of each unit) when the spreads of units and of groups are known."""
    unit, of_group = spreads[0] ** 2, spreads[1] ** 2
    groups = int(group.max()) + 1 if len(group) else 0
    precision = np.bincount(group, 1.0 / (noise + unit), groups)
    pulled = np.bincount(group, mean / (noise + unit), groups)
    group_noise, group_mean = 1.0 / precision, pulled / precision
    top_precision = (1.0 / (group_noise + of_group)).sum() + 1.0 / _BLIND_SURENESS**2
    top_sum = (group_mean / (group_noise + of_group)).sum() + _BLIND_MIDDLE / _BLIND_SURENESS**2
    top, top_variance = top_sum / top_precision, 1.0 / top_precision
    # a group between its own units and the top, a unit between its own times and the group
    hold = of_group / (of_group + group_noise)
    middle = hold * group_mean + (1.0 - hold) * top
    variance = hold * group_noise + (1.0 - hold) ** 2 * top_variance
    own = unit / (unit + noise)
    at = own * mean + (1.0 - own) * middle[group]
    spread = own * noise + (1.0 - own) ** 2 * variance[group]
    evidence = _evidence(mean, noise + unit, group, group_mean)
    evidence += _normal(group_mean - top, group_noise + of_group) + 0.5 * np.log(group_noise).sum()
    evidence += -0.5 * (top - _BLIND_MIDDLE) ** 2 / _BLIND_SURENESS**2 + 0.5 * np.log(top_variance)
    return float(evidence), at, spread


def _evidence(mean: np.ndarray, variance: np.ndarray, group: np.ndarray, group_mean: np.ndarray) -> float:
    """Log density of the units around their group's weighted mean."""
    return _normal(mean - group_mean[group], variance)


def _normal(distance: np.ndarray, variance: np.ndarray) -> float:
    return float(-0.5 * (distance**2 / variance + np.log(variance)).sum())
