"""Shares of many units that lend each other strength: unit -> its group -> all. Closed form on a grid, no sampler."""

from dataclasses import dataclass

import numpy as np
from scipy.special import betainccinv, betaincinv, betaln, logsumexp

# Means on an even grid of log odds, from 1 in 400 to 399 in 400; worths of a group or of all in tickets.
_MEANS = 1.0 / (1.0 + np.exp(-np.linspace(-6.0, 6.0, 97)))
_WORTHS = np.geomspace(1.0, 2000.0, 14)
_TOP_MEANS = 1.0 / (1.0 + np.exp(-np.linspace(-5.0, 5.0, 21)))
_TOP_WORTHS = np.geomspace(1.0, 100.0, 6)
_NOTHING = 1e-300


@dataclass(frozen=True, eq=False)
class SharedRates:
    """What is believed of each unit's share: a beta distribution with shapes `a`, `b` (unit,)."""

    a: np.ndarray
    b: np.ndarray

    @property
    def mean(self) -> np.ndarray:
        """Expected share (unit,)."""
        return self.a / (self.a + self.b)

    def interval(self, level: float = 0.9) -> tuple[np.ndarray, np.ndarray]:
        """Both ends (unit,) of the interval that leaves out as much below as above."""
        tail = (1.0 - level) / 2.0
        return betaincinv(self.a, self.b, tail), betainccinv(self.a, self.b, tail)


def share_rates(hits: np.ndarray, tries: np.ndarray, group: np.ndarray) -> SharedRates:
    """Beta-binomial shares of units in groups.

    A unit's share is Beta(k m, k (1 - m)) around its group's mean m; group means are spread likewise around one mean
    of all. k, the tickets that the group is worth, and both figures of the top are integrated over a grid (log-uniform
    in worths, uniform in the mean of all). Each unit's mixture is given back as the beta distribution of the same mean
    and variance.

    Parameters
    ----------
    hits, tries : counts (unit,), hits at most tries
    group : number of each unit's group (unit,), from 0

    Notes
    -----
    Gelman and others, "Bayesian Data Analysis", 3rd edition (2013), section 5.3, with one more level; from memory.
    """
    hits, tries = np.asarray(hits, dtype=float), np.asarray(tries, dtype=float)
    if not len(hits):
        return SharedRates(hits, tries)
    weights = _group_weights(_group_evidence(hits, tries, np.asarray(group)))
    return _match(hits, tries, weights[np.asarray(group)])


def _group_evidence(hits: np.ndarray, tries: np.ndarray, group: np.ndarray) -> np.ndarray:
    """Log marginal likelihood of each group's counts, (group, mean, worth)."""
    evidence = np.zeros((int(group.max()) + 1, len(_MEANS), len(_WORTHS)))
    a = _WORTHS * _MEANS[:, None]
    b = _WORTHS * (1.0 - _MEANS)[:, None]
    for at, of in enumerate(group):
        evidence[of] += betaln(hits[at] + a, tries[at] - hits[at] + b) - betaln(a, b)
    return evidence


def _group_weights(evidence: np.ndarray) -> np.ndarray:
    """Posterior weight of (mean, worth) for each group, (group, mean, worth), each summing to 1."""
    prior = np.exp(_top_prior())  # (top, mean)
    # evidence of each group under each top, (group, top, worth); highest of each worth taken out against underflow
    highest = evidence.max(axis=1, keepdims=True)
    under = np.log(np.maximum(prior @ np.exp(evidence - highest), _NOTHING)) + highest
    # log-uniform worths on log-spaced grids have equal weights; a uniform mean of all weighs m (1 - m) in log odds
    top = np.repeat(np.log(_TOP_MEANS * (1.0 - _TOP_MEANS)), len(_TOP_WORTHS))
    joint = top[:, None] + under.sum(axis=0)
    # what the other groups say of the top, and that of this one: (group, top, worth), then (group, mean, worth)
    others = joint[None] - under
    highest = others.max(axis=1, keepdims=True)
    weights = np.log(np.maximum(prior.T @ np.exp(others - highest), _NOTHING)) + highest + evidence
    return np.exp(weights - logsumexp(weights, axis=(1, 2), keepdims=True))


def _top_prior() -> np.ndarray:
    """Log weight of each group mean under each (mean of all, worth of all), (top, mean)."""
    mean, worth = np.repeat(_TOP_MEANS, len(_TOP_WORTHS))[:, None], np.tile(_TOP_WORTHS, len(_TOP_MEANS))[:, None]
    # a beta density in log odds: the factor m (1 - m) of the change of variable is in it
    density = worth * mean * np.log(_MEANS) + worth * (1.0 - mean) * np.log1p(-_MEANS)
    return density - logsumexp(density, axis=1, keepdims=True)


def _match(hits: np.ndarray, tries: np.ndarray, weights: np.ndarray) -> SharedRates:
    """The beta distributions with mean and variance of each unit's mixture; weights (unit, mean, worth)."""
    a = hits[:, None, None] + _WORTHS * _MEANS[:, None]
    whole = tries[:, None, None] + _WORTHS
    mean = (weights * a / whole).sum(axis=(1, 2))
    square = (weights * a * (a + 1.0) / (whole * (whole + 1.0))).sum(axis=(1, 2))
    worth = (mean - square) / np.maximum(square - mean**2, 1e-15)
    return SharedRates(mean * worth, (1.0 - mean) * worth)
