"""How many tickets come in: a level, a trend and a season, and scatter beyond chance."""

from dataclasses import dataclass
from itertools import product

import numpy as np
from scipy.linalg import null_space
from scipy.special import gammaln, logsumexp, ndtri
from scipy.stats import nbinom, poisson

MONTHS = 12
DAYS_PER_MONTH = 365.25 / MONTHS
# Before looking: the trend is a few tens of per cent a year at most, and the level could be anything.
_TREND_SD, _LEVEL_SD = 0.3, 5.0
# Spread of the months' log factors, and the scatter beyond chance (variance = mean + scatter x mean^2).
_SEASON_SPREADS = np.geomspace(0.02, 1.2, 9)
_SCATTERS = np.array([1e-5, 0.002, 0.005, 0.01, 0.02, 0.05, 0.1, 0.2, 0.5])
# Eleven columns that carry any twelve factors whose logs sum to zero.
_BASIS = null_space(np.ones((1, MONTHS)))
_NEWTON_STEPS, _CLOSE_ENOUGH = 60, 1e-9


@dataclass(frozen=True, eq=False)
class Months:
    """Months in a row: `number` of each (January of year 0 = 0), `days` counted in each, all (month,)."""

    number: np.ndarray
    days: np.ndarray


@dataclass(frozen=True, eq=False)
class ArrivalFit:
    """Coefficients with mean (13,) and covariance (13, 13): log tickets a month at `origin`, trend per year, season
    in the basis; and `scatter` beyond chance.
    """

    mean: np.ndarray
    covariance: np.ndarray
    scatter: float
    origin: float

    def trend(self, level: float = 0.9) -> tuple[float, float, float]:
        """Growth per year (0.03: three per cent more each year) and both ends of its interval."""
        far = ndtri((1.0 + level) / 2.0) * np.sqrt(self.covariance[1, 1])
        middle, low, high = np.expm1(self.mean[1] + np.array([0.0, -far, far]))
        return float(middle), float(low), float(high)

    def season(self, level: float = 0.9) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """Factors of the twelve months (their logs sum to zero) and both ends of their intervals, (12,) each."""
        middle = _BASIS @ self.mean[2:]
        far = ndtri((1.0 + level) / 2.0) * np.sqrt(np.diag(_BASIS @ self.covariance[2:, 2:] @ _BASIS.T))
        return np.exp(middle), np.exp(middle - far), np.exp(middle + far)


@dataclass(frozen=True)
class Load:
    """Tickets to expect, and the interval in which the number will lie at the stated level."""

    expected: float
    low: int
    high: int


def fit_arrivals(count: np.ndarray, months: Months) -> ArrivalFit:
    """Negative binomial regression of monthly counts: log link, offset log days, ridge on the season.

    Spread of the season and scatter are integrated over a grid, each point weighed by its Laplace evidence; the
    coefficients come back as the normal distribution with the mixture's mean and covariance.

    Parameters
    ----------
    count : tickets (month,)

    Notes
    -----
    Tierney and Kadane (1986), "Accurate approximations for posterior moments and marginal densities"; the negative
    binomial with variance mean + scatter x mean^2 as in Cameron and Trivedi, "Regression Analysis of Count Data"
    (2nd edition, 2013), section 3.3. Both from memory.
    """
    count = np.asarray(count, dtype=float)
    origin = float(months.number.mean())
    design, offset = _design(months, origin), np.log(months.days / DAYS_PER_MONTH)
    start = np.zeros(design.shape[1])
    start[0] = np.log(max(count.mean(), 0.1)) - offset.mean()
    prior_mean = start.copy()
    found = []
    for spread, scatter in product(_SEASON_SPREADS, _SCATTERS):
        precision = np.concatenate(
            [[1.0 / _LEVEL_SD**2, 1.0 / _TREND_SD**2], np.full(_BASIS.shape[1], 1.0 / spread**2)]
        )
        start, curvature, fitted = _climb(count, design, offset, prior=(prior_mean, precision), scatter=scatter)
        evidence = fitted + 0.5 * np.log(precision).sum() - 0.5 * np.linalg.slogdet(curvature)[1]
        found.append((evidence, start, np.linalg.inv(curvature), scatter))
    weight = np.array([one[0] for one in found])
    weight = np.exp(weight - logsumexp(weight))
    means = np.array([one[1] for one in found])
    mean = weight @ means
    apart = means - mean
    inside = np.tensordot(weight, np.array([one[2] for one in found]), axes=1)
    scatter = float(weight @ np.array([one[3] for one in found]))
    return ArrivalFit(mean, inside + (apart * weight[:, None]).T @ apart, scatter, origin)


def expect_load(
    fit: ArrivalFit, months: Months, *, share: tuple[float, float] = (1.0, 0.0), level: float = 0.9
) -> Load:
    """Tickets of all `months` together, or of a share of them.

    The number is Poisson around a rate that is itself unsure (coefficients, scatter, share): held to be gamma
    distributed, which makes the prediction negative binomial with the same mean and variance.

    Parameters
    ----------
    share : mean and variance of the share of all tickets
    """
    design, offset = _design(months, fit.origin), np.log(months.days / DAYS_PER_MONTH)
    spread = design @ fit.covariance @ design.T
    rate = np.exp(design @ fit.mean + offset + 0.5 * np.diag(spread))
    products = np.outer(rate, rate) * np.exp(spread)
    square = products.sum() + fit.scatter * np.diag(products).sum()
    part, part_square = share[0], share[0] ** 2 + share[1]
    expected = float(part * rate.sum())
    excess = float(part_square * square) - expected**2
    return Load(expected, *_count_interval(expected, excess, level))


def _count_interval(expected: float, excess: float, level: float) -> tuple[int, int]:
    """Interval of a count with this mean and variance mean + excess."""
    tails = ((1.0 - level) / 2.0, (1.0 + level) / 2.0)
    if excess <= 1e-9 * max(expected, 1.0):
        low, high = poisson.ppf(tails, expected)
    else:
        size = expected**2 / excess
        low, high = nbinom.ppf(tails, size, size / (size + expected))
    return int(low), int(high)


def _design(months: Months, origin: float) -> np.ndarray:
    ones = np.ones(len(months.number))
    return np.column_stack(
        [ones, (months.number - origin) / MONTHS, _BASIS[np.asarray(months.number, dtype=int) % MONTHS]]
    )


def _climb(
    count: np.ndarray,
    design: np.ndarray,
    offset: np.ndarray,
    *,
    prior: tuple[np.ndarray, np.ndarray],
    scatter: float,
) -> tuple[np.ndarray, np.ndarray, float]:
    """(mode, curvature there, log posterior there without the prior's constant) by damped Newton steps."""
    middle, precision = prior
    at, size = middle.copy(), 1.0 / scatter

    def height(where: np.ndarray) -> float:
        rate = np.exp(np.minimum(design @ where + offset, 50.0))
        fit = gammaln(count + size) - gammaln(size) - gammaln(count + 1.0)
        fit += count * np.log(rate / (size + rate)) - size * np.log1p(rate / size)
        return float(fit.sum() - 0.5 * (precision * (where - middle) ** 2).sum())

    best = height(at)
    for _ in range(_NEWTON_STEPS):
        slope, curvature = _slope(count, design, offset, at, scatter=scatter)
        slope, curvature = slope - precision * (at - middle), curvature + np.diag(precision)
        step = np.linalg.solve(curvature, slope)
        while (higher := height(at + step)) < best - 1e-7 and np.abs(step).max() > _CLOSE_ENOUGH:
            step = step / 2.0
        at, best = at + step, higher
        if np.abs(step).max() < _CLOSE_ENOUGH**0.5:
            break
    return at, _slope(count, design, offset, at, scatter=scatter)[1] + np.diag(precision), best


def _slope(
    count: np.ndarray, design: np.ndarray, offset: np.ndarray, at: np.ndarray, *, scatter: float
) -> tuple[np.ndarray, np.ndarray]:
    """First derivative of the log likelihood, and minus the expected second one."""
    rate = np.exp(np.minimum(design @ at + offset, 50.0))
    weight = rate / (1.0 + scatter * rate)
    return design.T @ ((count - rate) / (1.0 + scatter * rate)), (design * weight[:, None]).T @ design
