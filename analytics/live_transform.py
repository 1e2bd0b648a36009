"""Moving stored draws to where new evidence puts them: one small Gaussian update of an ensemble."""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

# Directions in which the draws differ less than this share of their widest one are numerically none.
SMALLEST_VARIANCE = 1e-6
# A doubtful ticket may widen a direction, yet never beyond what the draws can stand for.
SMALLEST_PRECISION = 0.3
MAX_STEPS, SMALLEST_STEP = 12, 1e-3
# Far from where the draws are, a quadratic says little: go there in several steps. In standard deviations.
LONGEST_STEP = 3.0
TINY = 1e-12

# readout (draw, row) -> mean gradient (row,), mean curvature (row, row), log likelihood (draw,)
type Score = Callable[[np.ndarray], tuple[np.ndarray, np.ndarray, np.ndarray]]


@dataclass(frozen=True, eq=False)
class Move:
    """What new evidence does to the quantities it reads.

    deviation (draw, row): the readout less its mean; pull (draw, row): what a variable moves for each unit of its
    covariance with the rows; distance: length of the shift of the mean in standard deviations of the draws;
    log_weight (draw,): how much the moved draws should still weigh, in logarithms.
    """

    deviation: np.ndarray
    pull: np.ndarray
    distance: float
    log_weight: np.ndarray


def find_move(readout: np.ndarray, score: Score) -> Move:
    """The shift and shrinking of draws that a log likelihood of their readout asks for.

    The draws count as a Gaussian ensemble with coordinates z: readout = mean + z C', z ~ N(0, I). The new mean and
    precision solve mean = C' E[gradient] and precision = I + C' E[curvature] C, where E is the mean over the moved
    draws: the Gaussian closest to the new posterior (Opper and Archambeau, Neural Computation 21, 2009). The draws are
    shifted and shrunk by precision ** -1/2 (ensemble transform: Hunt, Kostelich and Szunyogh, Physica D 230, 2007).

    Parameters
    ----------
    readout : (draw, row) the quantities that the new evidence depends on, in each draw
    score : log likelihood of the new evidence, averaged over draws
    """
    mean = readout.mean(0)
    deviation = (readout - mean).astype(float)
    variance, axes = np.linalg.eigh(deviation.T @ deviation / (len(readout) - 1))
    kept = variance > SMALLEST_VARIANCE * max(float(variance.max()), 1e-12)
    root, axes = np.sqrt(variance[kept]), axes[:, kept]
    unit, loading = deviation @ axes / root, axes * root
    shift, shrink = np.zeros(len(root)), np.eye(len(root))
    for _ in range(MAX_STEPS):
        moved = shift + unit @ shrink
        gradient, curvature, _ = score(mean + moved @ loading.T)
        precision, basis = np.linalg.eigh(np.eye(len(root)) + loading.T @ curvature @ loading)
        precision = precision.clip(SMALLEST_PRECISION)
        step = basis @ ((basis.T @ (loading.T @ gradient - shift)) / precision)
        step *= min(1.0, LONGEST_STEP / max(float(np.linalg.norm(step)), 1e-12))
        shift, shrink = shift + step, (basis / np.sqrt(precision)) @ basis.T
        if np.abs(step).max(initial=0.0) < SMALLEST_STEP:
            break
    moved = shift + unit @ shrink
    log_likelihood = score(mean + moved @ loading.T)[2]
    log_weight = log_likelihood - 0.5 * (moved**2).sum(1) + 0.5 * (unit**2).sum(1)
    pull = ((moved - unit) / root) @ axes.T
    return Move(deviation, pull, float(np.sqrt(shift @ shift)), log_weight - log_weight.max())


def carry(values: np.ndarray, move: Move, related: np.ndarray) -> None:
    """Moves variables along with the rows they go with, in place.

    A few hundred draws make any two variables look a little alike. Summed over thousands of variables that noise would
    outweigh the news, so a variable follows only the rows it is related to by construction (localisation: Houtekamer
    and Mitchell, Monthly Weather Review 129, 2001), and those by what remains of their squared correlation when what
    chance adds to it is taken off (adjusted R squared, as in regression; none where chance explains it all).

    Parameters
    ----------
    values : (draw, ...) any variables of the same draws, contiguous
    related : (..., row) whether the variable may follow the row
    """
    flat, deviation = values.reshape(len(values), -1), move.deviation.astype(values.dtype)
    # deviations have no mean, so the values need not be centred
    covariance = flat.T @ deviation / (len(flat) - 1)
    variance = np.einsum("dv,dv->v", flat, flat) / len(flat) - flat.mean(0) ** 2
    alike = covariance**2 / np.maximum(np.outer(variance, (deviation**2).mean(0)), TINY)
    by_chance = (1.0 - alike) / np.maximum(alike * len(flat), TINY)
    covariance *= related.reshape(covariance.shape) * (1.0 - by_chance).clip(0.0, 1.0)
    flat += move.pull.astype(flat.dtype) @ covariance.T


def effective_share(log_weight: np.ndarray) -> float:
    """Effective sample size of weights as a share of the draws, 0 to 1 (Kish).

    Weights are cut off at the root of the number of draws times their mean, so that a single odd draw does not decide
    (truncated importance sampling: Ionides, Journal of Computational and Graphical Statistics 17, 2008).
    """
    weight = np.exp(log_weight - log_weight.max())
    weight = np.minimum(weight, np.sqrt(len(weight)) * weight.mean())
    return float(weight.sum() ** 2 / (weight**2).sum() / len(weight))
