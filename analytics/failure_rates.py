"""Failures per time with what is known about them: intervals, bounds, a prior, and whether it gets worse."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.optimize import brentq
from scipy.stats import chi2, gamma, norm

from analytics.errors import InputError


@dataclass(frozen=True)
class GammaRate:
    """Belief about a constant failure rate: as if `failures` had been seen in `exposure` (any unit of time)."""

    failures: float
    exposure: float

    def after(self, failures: float, exposure: float) -> "GammaRate":
        """The belief once so many more failures were seen in so much more time (NIST/SEMATECH e-Handbook 8.4.6)."""
        return GammaRate(self.failures + failures, self.exposure + exposure)

    @property
    def mean(self) -> float:
        """Expected rate."""
        return self.failures / self.exposure

    def rate_below(self, probability: float) -> float:
        """The rate that the true one stays below with this probability."""
        return float(gamma.ppf(probability, self.failures, scale=1.0 / self.exposure))

    def mtbf_above(self, probability: float) -> float:
        """The mean time between failures that the true one exceeds with this probability."""
        return 1.0 / self.rate_below(probability)


@dataclass(frozen=True)
class PowerLaw:
    """Expected failures up to t = scale * t**shape; the shape is above 1 when failures come ever faster.

    `shape` is the maximum likelihood estimate, `shape_unbiased` the one that is right on average.
    """

    shape: float
    shape_unbiased: float
    scale: float
    count: int
    end: float

    @property
    def mtbf_at_end(self) -> float:
        """Mean time between failures at the end of the record, by the unbiased shape (NIST e-Handbook 8.4.5.2)."""
        return self.end / (self.count * self.shape_unbiased)

    def intensity(self, time: float) -> float:
        """Failures per unit of time at `time`, by maximum likelihood."""
        return self.scale * self.shape * time ** (self.shape - 1.0)


def mtbf_interval(exposure: float, failures: float, probability: float) -> tuple[float, float]:
    """Interval of the mean time between failures of a record that ended at a fixed time.

    From 2 T / chi2((1+p)/2; 2r+2) to 2 T / chi2((1-p)/2; 2r): NIST/SEMATECH e-Handbook, section 8.4.5.1. Without a
    failure it is open upwards.
    """
    _refuse_no_time(exposure)
    low = 2.0 * exposure / chi2.ppf((1.0 + probability) / 2.0, 2.0 * failures + 2.0)
    high = 2.0 * exposure / chi2.ppf((1.0 - probability) / 2.0, 2.0 * failures) if failures else np.inf
    return float(low), float(high)


def rate_bound_without_failure(exposure: float, confidence: float) -> float:
    """The rate that the true one stays below when nothing failed: -ln(1 - confidence) / T.

    NIST/SEMATECH e-Handbook, section 8.4.5.1; MIL-STD-690D, section 6.2 (Poisson with no failure).
    """
    _refuse_no_time(exposure)
    return float(-np.log1p(-confidence) / exposure)


def prior_from_50_95(mtbf_50: float, mtbf_95: float) -> GammaRate:
    """Gamma prior of a rate from two judgements: the true MTBF exceeds the first evenly likely, the second at 95 %.

    NIST/SEMATECH e-Handbook, section 8.2.5 (the 50/95 method).

    Raises
    ------
    InputError
        When the second time is not shorter than the first.
    """
    if not 0.0 < mtbf_95 < mtbf_50:
        raise InputError(
            f"The time exceeded nearly always ({mtbf_95:g}) must be above 0 and shorter than the one exceeded in "
            f"half of all cases ({mtbf_50:g})."
        )
    ratio = np.log(mtbf_50 / mtbf_95)

    def miss(log_shape: float) -> float:
        quantiles = gamma.ppf([0.5, 0.95], np.exp(log_shape))
        return float(np.log(quantiles[1] / quantiles[0]) - ratio)

    shape = float(np.exp(brentq(miss, np.log(0.05), np.log(1e5))))
    return GammaRate(shape, float(gamma.ppf(0.5, shape)) * mtbf_50)


def fit_power_law(times: Sequence[float] | np.ndarray, end: float) -> PowerLaw:
    """Power law (Crow-AMSAA) of failures at `times` in a record that ended at the fixed time `end`.

    shape = n / sum ln(T / t), unbiased (n - 1) / sum ln(T / t), scale = n / T**shape: MIL-HDBK-189 (1981), appendix C;
    NIST/SEMATECH e-Handbook, section 8.1.7.2.

    Raises
    ------
    InputError
        For fewer than two failures, or times outside the record.
    """
    seen = _checked(times, end, fewest=2)
    spread = float(np.log(end / seen).sum())
    shape = len(seen) / spread
    return PowerLaw(shape, (len(seen) - 1) / spread, len(seen) / end**shape, len(seen), end)


def laplace_trend(times: Sequence[float] | np.ndarray, end: float) -> tuple[float, float]:
    """Laplace's U, above 0 when failures come faster towards the end, and its two-sided p.

    U = (mean of t - T/2) / (T / sqrt(12 n)): NIST/SEMATECH e-Handbook, section 8.2.3.4 (number from memory).
    """
    seen = _checked(times, end, fewest=1)
    u = float((seen.mean() - end / 2.0) / (end / np.sqrt(12.0 * len(seen))))
    return u, float(2.0 * norm.sf(abs(u)))


def log_times(times: Sequence[float] | np.ndarray, end: float) -> float:
    """Sum of ln(T / t): twice it is chi-square on 2n degrees of freedom without a trend (MIL-HDBK-189, appendix C)."""
    return float(np.log(end / _checked(times, end, fewest=1)).sum())


def _checked(times: Sequence[float] | np.ndarray, end: float, *, fewest: int) -> np.ndarray:
    seen = np.asarray(times, dtype=float)
    if len(seen) < fewest or not ((seen > 0.0) & (seen <= end)).all():
        raise InputError(
            f"{len(seen)} failures up to {end:g} cannot be judged: at least {fewest} are needed, all after 0 and none "
            "after the end of the record."
        )
    return seen


def _refuse_no_time(exposure: float) -> None:
    if not exposure > 0.0:
        raise InputError(f"{exposure:g} is no time under observation. Give one above 0.")
