"""Whether ranks are uniform, by the whole of their empirical distribution function at once."""

from functools import cache

import numpy as np
from scipy.stats import binom

NULL_RUNS = 10_000


def band_p_value(ranks: np.ndarray, most: int) -> float:
    """P(uniform ranks leave the narrowest simultaneous band that these ranks stay inside).

    Parameters
    ----------
    ranks : (simulation,) from 0 to `most`

    Notes
    -----
    Simultaneous binomial bands, calibrated by simulation: Saeilynoja, Buerkner and Vehtari, Statistics and Computing 32
    (2022), section 2.2. Below 0.05 the ECDF leaves the 95 % band.
    """
    null = _null_statistics(len(ranks), most)
    return float((1 + (null <= _statistic(ranks[None], most)[0]).sum()) / (1 + len(null)))


@cache
def _null_statistics(count: int, most: int) -> np.ndarray:
    rng = np.random.default_rng(count)
    return _statistic(rng.integers(0, most + 1, (NULL_RUNS, count)), most)


def _statistic(ranks: np.ndarray, most: int) -> np.ndarray:
    """(run,) the smallest two-sided binomial tail over all places of the ECDF of ranks (run, simulation)."""
    place = np.arange(most)
    below = np.stack([np.bincount(row, minlength=most + 1)[:-1].cumsum() for row in ranks])
    share, count = (place + 1) / (most + 1), ranks.shape[1]
    tail = np.minimum(binom.cdf(below, count, share), binom.sf(below - 1, count, share))
    return 2.0 * tail.min(axis=1)
