"""Spare parts: how many will be used over a time to come, and how many to have on the shelf for it."""

from dataclasses import dataclass
from typing import Any

import numpy as np
from scipy import special, stats

from analytics.errors import InputError

# Prior of the parts: used `factor` times what belief and arrivals expect, spread like a gamma of this shape.
_SHAPES = np.geomspace(0.1, 30.0, 40)
_FACTORS = np.geomspace(0.1, 10.0, 61)
# A part that no belief expects can still be used: once in a thousand years.
LEAST_PER_YEAR = 1e-3


@dataclass(frozen=True)
class PartPrior:
    """Uses a year of a part before its own tickets: gamma(shape) with mean factor x expected, alike for all parts."""

    shape: float
    factor: float


def fit_part_prior(used: np.ndarray, expected: np.ndarray, *, years: float) -> PartPrior:
    """The prior of all parts, by the marginal likelihood of their counts on a grid of shapes and factors.

    Parameters
    ----------
    used : (part,) uses counted over `years`
    expected : (part,) uses a year = arrivals x belief x remedy, above 0

    Notes
    -----
    Used is negative binomial when its Poisson rate is gamma (Greenwood & Yule, J. Royal Statistical Society 83, 1920);
    hyperparameters by marginal likelihood are empirical Bayes (Robbins, 1956). Both from memory. The grid is averaged
    by its likelihood, flat in the logarithms. Without any use the belief stands as it is, widely spread.
    """
    _refuse_years(years)
    used, expected = np.asarray(used, dtype=float), np.maximum(np.asarray(expected, dtype=float), LEAST_PER_YEAR)
    if not used.sum() > 0:
        return PartPrior(shape=0.5, factor=1.0)
    shape, factor = _SHAPES[:, None, None], _FACTORS[None, :, None]
    mean = factor * expected * years
    likelihood = stats.nbinom.logpmf(used, shape, shape / (shape + mean)).sum(2)
    weight = np.exp(likelihood - likelihood.max())
    weight /= weight.sum()
    # how far parts spread (1 / shape) is what the intervals live on: its mean, so that doubt about it widens them
    spread = float((weight / _SHAPES[:, None]).sum())
    return PartPrior(1.0 / spread, float(np.exp((weight * np.log(_FACTORS)).sum())))


def predict_uses(
    used: np.ndarray, expected: np.ndarray, *, years: float, horizon_years: np.ndarray | float, prior: PartPrior
) -> Any:
    """Uses over a time to come: a frozen negative binomial of scipy, (part,).

    Parameters
    ----------
    used, expected : as for `fit_part_prior`
    horizon_years : the time to come, (part,) or one number, above 0

    Notes
    -----
    Gamma prior (shape, rate) and a Poisson count: the rate is then gamma (shape + used, rate + years), and the uses
    over h years negative binomial with p = (rate + years) / (rate + years + h) (Gelman et al., Bayesian Data Analysis,
    3rd ed. 2013, section 2.6; from memory).
    """
    _refuse_years(years)
    expected = np.maximum(np.asarray(expected, dtype=float), LEAST_PER_YEAR)
    rate = prior.shape / (prior.factor * expected) + years
    return stats.nbinom(prior.shape + np.asarray(used, dtype=float), rate / (rate + np.asarray(horizon_years)))


def stock_for_service(demand: Any, level: float) -> np.ndarray:
    """The smallest whole stock that covers the demand with at least this probability, for a frozen distribution.

    Raises
    ------
    InputError
        When the level is not between 0 and 1.
    """
    if not 0.0 < level < 1.0:
        raise InputError(f"A service level of {level:g} was given. Give a number between 0 and 1, like 0.95.")
    stock = np.asarray(demand.ppf(level), dtype=float)
    # the quantile function rounds: one step down or up puts it right
    stock = np.where((stock > 0) & (demand.cdf(stock - 1) >= level), stock - 1, stock)
    return np.asarray(np.where(demand.cdf(stock) < level, stock + 1, stock), dtype=int)


def waiting_share(waiting_cost: np.ndarray | float, holding_cost: np.ndarray | float) -> np.ndarray:
    """The service level at which one unit more costs as much as it spares: waiting / (waiting + holding).

    Parameters
    ----------
    waiting_cost : what one missing unit costs, above 0
    holding_cost : what one unit that lies there costs over the same time, above 0

    Notes
    -----
    The critical ratio of the newsvendor (Arrow, Harris & Marschak, Econometrica 19, 1951; from memory); with costs by
    the day and the demand over the lead time it is the best base stock of a shelf that orders one for each one used.
    """
    waiting, holding = np.asarray(waiting_cost, dtype=float), np.asarray(holding_cost, dtype=float)
    if not ((waiting > 0).all() and (holding > 0).all()):
        raise InputError("Waiting and holding were not both priced above 0. Give what each costs, like 12.50.")
    return np.asarray(waiting / (waiting + holding))


def newsvendor_stock(demand: Any, *, waiting_cost: float, holding_cost: float) -> float:
    """The stock that costs least when a missing unit costs the one and a unit left over the other.

    Works for any frozen distribution; one that is not of whole numbers gives a fraction.
    """
    share = float(waiting_share(waiting_cost, holding_cost))
    return float(stock_for_service(demand, share)) if hasattr(demand.dist, "pmf") else float(demand.ppf(share))


def expected_served(demand: Any, stock: np.ndarray | int) -> np.ndarray:
    """Mean of the units used from a stock, E min(demand, stock) = the sum over k below the stock of P(demand > k)."""
    stock = np.asarray(stock, dtype=int)
    steps = np.arange(int(stock.max(initial=0)))
    left = demand.sf(steps.reshape(-1, *[1] * stock.ndim))
    return np.asarray(np.where(steps.reshape(-1, *[1] * stock.ndim) < stock, left, 0.0).sum(0))


def rate_interval(
    used: np.ndarray, expected: np.ndarray, *, years: float, prior: PartPrior
) -> tuple[np.ndarray, np.ndarray]:
    """90 % interval of the uses a year, each (part,)."""
    expected = np.maximum(np.asarray(expected, dtype=float), LEAST_PER_YEAR)
    rate = prior.shape / (prior.factor * expected) + years
    shape = prior.shape + np.asarray(used, dtype=float)
    return special.gammaincinv(shape, 0.05) / rate, special.gammaincinv(shape, 0.95) / rate


def _refuse_years(years: float) -> None:
    if not years > 0:
        raise InputError(f"Tickets of {years:g} years were given. Give the tickets of some weeks at least.")
