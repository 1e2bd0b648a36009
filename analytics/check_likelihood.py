"""Log likelihood of what checks showed and of the minutes they took, with gradients."""

from typing import Any

import numba
import numpy as np


@numba.njit(error_model="numpy")
def score_checks(logit: Any, hit: Any, tried: Any) -> Any:
    """Binomial log likelihood, without its constant, of hits among tries, and its gradient by logit."""
    rate = 1.0 / (1.0 + np.exp(-logit))
    log_miss = -np.log1p(np.exp(logit))
    return (hit * logit + tried * log_miss).sum(), hit - tried * rate


@numba.njit(error_model="numpy")
def score_minutes(log_minutes: Any, spread: float, counted: Any) -> Any:
    """Log-normal log likelihood, without its constant, from (count, sum, sum of squares) of log minutes by check.

    Returns the value, its gradient by log minutes, and its slope by spread.
    """
    count, total, square = counted
    squares = (square - 2.0 * log_minutes * total + count * log_minutes**2).sum()
    value = -count.sum() * np.log(spread) - squares / (2.0 * spread**2)
    return value, (total - count * log_minutes) / spread**2, squares / spread**3 - count.sum() / spread
