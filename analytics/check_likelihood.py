"""Log likelihood of what checks showed and of the minutes they took, with gradients."""

from typing import Any

import numba
import numpy as np

# Minutes are written down rounded: "10" may be 9 or 11. Common practice, no source. Without it, minutes that are all
# equal would say that they never vary at all, and the likelihood would have no top.
ROUNDING = 0.1


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

    Written minutes vary by `spread` and by `ROUNDING`, as if both were normal. Returns the value, its gradient by log
    minutes, and its slope by spread.
    """
    count, total, square = counted
    counts, squares, slope = 0.0, 0.0, np.empty(len(log_minutes))
    variance = spread**2 + ROUNDING**2
    for check in range(len(log_minutes)):
        at = log_minutes[check]
        counts += count[check]
        squares += square[check] - 2.0 * at * total[check] + count[check] * at**2
        slope[check] = (total[check] - count[check] * at) / variance
    value = -0.5 * (counts * np.log(variance) + squares / variance)
    return value, slope, spread * (squares / variance - counts) / variance
