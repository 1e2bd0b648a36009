"""Rates of many cells, each drawn towards its group and the groups towards all: gamma-Poisson, without sampling."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.optimize.elementwise import find_root
from scipy.special import gammainc, gammaln, logsumexp, ndtri

# Grids. `strength` is the shape of the gamma a cell or a group is drawn from: 0.5 = they differ wildly, 100 = hardly.
# The chance of a strength, and that of the mean of all, is even on a log scale; the mean of a group has a gamma prior
# around the mean of all. Means are multiples of the events of all cells by their exposure.
STRENGTHS = np.geomspace(0.5, 100.0, 9)
GROUP_MEANS = np.geomspace(0.08, 12.0, 61)
MEANS_OF_ALL = np.geomspace(0.2, 5.0, 15)
# Beyond this a probability is as good as 0 or 1.
_LEAST = 1e-12
# Gammas kept of each cell's mixture, the heaviest ones; the rest weighs next to nothing.
_KEPT_PARTS = 100


@dataclass(frozen=True, eq=False)
class PooledRates:
    """Posterior of every cell's rate, a mixture of gammas: weight, shape and inverse scale, all (cell, part)."""

    weight: np.ndarray
    shape: np.ndarray
    inverse_scale: np.ndarray

    @property
    def mean(self) -> np.ndarray:
        """(cell,) expected rate."""
        return (self.weight * self.shape / self.inverse_scale).sum(1)

    def below(self, rate: np.ndarray | float) -> np.ndarray:
        """(cell,) probability that the rate is below `rate`, a number or one a cell."""
        at = np.broadcast_to(rate, len(self.weight))[:, None]
        return (self.weight * gammainc(self.shape, at * self.inverse_scale)).sum(1)

    def quantile(self, probability: float) -> np.ndarray:
        """(cell,) quantile, by the method of Chandrupatla (Advances in Engineering Software 28, 1997): on a log scale,
        and as a probit, the distribution of a rate is nearly a line.
        """
        middle, wanted = np.log(self.mean), ndtri(probability)

        def missed(log_rate: np.ndarray, cell: np.ndarray) -> np.ndarray:
            below = self.of(cell.astype(int)).below(np.exp(log_rate))
            return ndtri(np.clip(below, _LEAST, 1.0 - _LEAST)) - wanted

        bracket = (middle - 12.0, middle + 4.0)
        found = find_root(missed, bracket, args=(np.arange(len(middle)),), tolerances={"xatol": 1e-5, "xrtol": 0.0})
        # a quantile that lies outside is as good as none
        edge = np.where(missed(bracket[0], np.arange(len(middle))) > 0.0, *bracket)
        return np.exp(np.where(np.isfinite(found.x), found.x, edge))

    def of(self, cells: np.ndarray) -> "PooledRates":
        """The rates of these cells only."""
        return PooledRates(self.weight[cells], self.shape[cells], self.inverse_scale[cells])

    def blurred(self, relative_variance: float) -> "PooledRates":
        """The same means, each gamma widened by so much more relative variance (that of a factor known with error)."""
        shape = 1.0 / (1.0 / self.shape + relative_variance)
        return PooledRates(self.weight, shape, self.inverse_scale * shape / self.shape)


def pool_rates(
    events: np.ndarray, exposure: np.ndarray, group: Sequence[str] | np.ndarray, *, copies: np.ndarray | None = None
) -> PooledRates:
    """Rates of cells: all -> group -> cell, the strengths of both pulls integrated over a grid.

    events of a cell ~ Poisson(rate * exposure); rate ~ gamma(strength, strength / mean of its group); mean of a group ~
    gamma(strength of groups, same) times the mean of all. Given the strengths and the means everything is closed: the
    events of a cell are negative binomial and its rate is a gamma again (BDA3, sections 2.6 and 5.5, for the forms).

    Parameters
    ----------
    events, exposure : (cell,) counts, and time under observation (or the events expected if all cells were alike)
    group : (cell,) name of each cell's group
    copies : (cell,) how many cells have these same figures; None for one each
    """
    many = np.ones(len(events)) if copies is None else copies
    level = max(float(events @ many), 0.5) / float(exposure @ many)
    scaled = exposure * level
    names, place = np.unique(np.asarray(group), return_inverse=True)
    by_cell = _log_marginal(events, scaled)
    by_group = np.zeros((len(names), *by_cell.shape[1:]))
    np.add.at(by_group, place, by_cell * many[:, None, None])
    joint = by_group[:, :, None, None, :] + _log_prior_of_means()
    of_group = logsumexp(joint, axis=-1)
    of_all = of_group.sum(0) - logsumexp(of_group.sum(0))
    parts = np.exp(joint + (of_all - of_group)[..., None]).sum((2, 3))[place]
    shape = np.broadcast_to(events[:, None, None] + STRENGTHS[:, None], parts.shape)
    inverse = (scaled[:, None, None] + STRENGTHS[:, None] / GROUP_MEANS) / level
    return _heaviest(*(array.reshape(len(events), -1) for array in (parts, shape, inverse)))


def _heaviest(weight: np.ndarray, shape: np.ndarray, inverse: np.ndarray) -> PooledRates:
    kept = np.argpartition(-weight, _KEPT_PARTS, axis=1)[:, :_KEPT_PARTS]
    weight, shape, inverse = (np.take_along_axis(array, kept, axis=1) for array in (weight, shape, inverse))
    return PooledRates(weight / weight.sum(1, keepdims=True), shape, inverse)


def _log_marginal(events: np.ndarray, exposure: np.ndarray) -> np.ndarray:
    """(cell, strength, group mean) log P(events), negative binomial, up to what does not depend on the grid."""
    y, e = events[:, None, None], exposure[:, None, None]
    a, rate = STRENGTHS[None, :, None], STRENGTHS[:, None] / GROUP_MEANS
    return gammaln(a + y) - gammaln(a) + a * np.log(rate) - (a + y) * np.log(rate + e)


def _log_prior_of_means() -> np.ndarray:
    """(strength of groups, mean of all, group mean), normalised; the grid is even in logs, so this is of the log."""
    b, mean = STRENGTHS[:, None, None], MEANS_OF_ALL[:, None]
    log_density = b * np.log(GROUP_MEANS / mean) - b * GROUP_MEANS / mean
    return np.asarray(log_density - logsumexp(log_density, axis=-1, keepdims=True))
