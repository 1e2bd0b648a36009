"""Log likelihood of what checks showed and of the minutes they took, with gradients."""

from typing import Any

import numba
import numpy as np


@numba.njit(error_model="numpy")
def score_checks(logit: Any, hit: Any, tried: Any) -> Any:
    """Binomial log likelihood, without its constant, of hits among tries, and its gradient by logit."""
    total, slope = 0.0, np.empty(len(logit))
    for row in range(len(logit)):
        total += hit[row] * logit[row] - tried[row] * np.log1p(np.exp(logit[row]))
        slope[row] = hit[row] - tried[row] / (1.0 + np.exp(-logit[row]))
    return total, slope


@numba.njit(error_model="numpy")
def score_minutes(log_minutes: Any, spread: float, counted: Any) -> Any:
    """Log-normal log likelihood, without its constant, from (count, sum, sum of squares) of log minutes by check.

    Returns the value, its gradient by log minutes, and its slope by spread.
    """
    count, total, square = counted
    counts, squares, slope = 0.0, 0.0, np.empty(len(log_minutes))
    for check in range(len(log_minutes)):
        at = log_minutes[check]
        counts += count[check]
        squares += square[check] - 2.0 * at * total[check] + count[check] * at**2
        slope[check] = (total[check] - count[check] * at) / spread**2
    value = -counts * np.log(spread) - squares / (2.0 * spread**2)
    return value, slope, squares / spread**3 - counts / spread
