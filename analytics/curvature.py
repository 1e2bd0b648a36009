"""How sharply tickets bend the log likelihood about one place, and what the priors add to it.

A row of numbers stands for a place: log of the minutes spread, parents, coefficients, each as it is, not divided by its
spread. Spreads are not in it.
"""

from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace

import numpy as np
from scipy.linalg import eigh

from analytics.centring import Centring
from analytics.log_likelihood import evaluate
from analytics.packing import Packed
from analytics.terms import Priors

# Step of the differences between gradients. The curvature only shapes what is sampled, so one side will do.
STEP = 1e-4


@dataclass(frozen=True, eq=False)
class Curvature:
    """log likelihood ~ slope @ away - away @ bend @ away / 2, up to a constant, with away = row - place.

    place, slope (row,); bend (row, row).
    """

    place: np.ndarray
    slope: np.ndarray
    bend: np.ndarray

    @property
    def pull(self) -> np.ndarray:
        """(row,): the same likelihood is pull @ row - row @ bend @ row / 2."""
        return self.slope + self.bend @ self.place


def all_spreads(log_spread: np.ndarray, centring: Centring) -> np.ndarray:
    """(parent + coefficient,): the log spread of each, from those of the learned terms."""
    every = np.concatenate([log_spread, np.log(centring.reach[centring.learned :])])
    return every[spread_places(centring)]


def spread_places(centring: Centring) -> np.ndarray:
    """(parent + coefficient,): positions among the spreads."""
    return np.concatenate([centring.parent_spread, centring.coefficient_spread])


def parent_matrix(centring: Centring) -> np.ndarray:
    """(coefficient, parent): `Centring.matrix` with rows of zeros for coefficients without a parent."""
    missing = len(centring.coefficient_spread) - len(centring.matrix)
    return np.pad(centring.matrix, ((0, missing), (0, 0)))


def departures(rows: np.ndarray, centring: Centring) -> np.ndarray:
    """(parent + coefficient, ...): how far each is from what it is centred on; `rows` has the row's entries first."""
    parents = len(centring.parent_spread)
    away = rows[1:].copy()
    away[parents : parents + len(centring.matrix)] -= centring.matrix @ rows[1 : 1 + parents]
    return away


def gather_departures(away: np.ndarray, centring: Centring) -> np.ndarray:
    """(row, ...): transpose of `departures`."""
    parents = len(centring.parent_spread)
    rows = np.concatenate([np.zeros_like(away[:1]), away])
    rows[1 : 1 + parents] -= centring.matrix.T @ away[parents : parents + len(centring.matrix)]
    return rows


def prior_bend(log_spread: np.ndarray, centring: Centring) -> np.ndarray:
    """(row, row): precision of parents and coefficients before any ticket."""
    precision = np.exp(-2.0 * all_spreads(log_spread, centring))
    parents, matrix = len(centring.parent_spread), parent_matrix(centring)
    own, pulled = precision[:parents], precision[parents:]
    bend = np.zeros((1 + len(precision), 1 + len(precision)))
    at, end = slice(1, 1 + parents), slice(1 + parents, None)
    bend[at, at] = np.diag(own) + matrix.T @ (pulled[:, None] * matrix)
    bend[at, end] = -(matrix.T * pulled)
    bend[end, at] = bend[at, end].T
    bend[end, end] = np.diag(pulled)
    return bend


def measure_curvature(row: np.ndarray, packed: Packed, centring: Centring, *, priors: Priors) -> Curvature:
    """Of tickets, checks and wishes, by differences of gradients; the prior of the minutes spread is among it."""
    used = np.r_[0, 1 + len(centring.parent_spread) : len(row)]
    place = row[used]
    here = _slope(place, packed, priors)
    bend = np.empty((len(used), len(used)))

    def measure(at: int) -> None:
        moved = place.copy()
        moved[at] += STEP
        bend[at] = (here - _slope(moved, packed, priors)) / STEP

    with ThreadPoolExecutor(2) as pool:
        list(pool.map(measure, range(len(used))))
    whole, slope = np.zeros((len(row), len(row))), np.zeros(len(row))
    whole[np.ix_(used, used)] = 0.5 * (bend + bend.T)
    slope[used] = here
    return Curvature(row, slope, whole)


def fill_hollows(curvature: Curvature) -> Curvature:
    """Flat in the directions in which the likelihood bends upward, as that of tickets without a sure suspect can."""
    upward, direction = eigh(curvature.bend, subset_by_value=(-np.inf, 0.0))
    return replace(curvature, bend=curvature.bend - (direction * upward) @ direction.T)


def _slope(place: np.ndarray, packed: Packed, priors: Priors) -> np.ndarray:
    """Gradient by log minutes spread and coefficients."""
    minutes = float(np.exp(place[0]))
    _, slope, minutes_slope = evaluate(place[1:], minutes, *packed.data)
    by_log = 1.0 - (minutes / priors.minutes_spread_scale) ** 2 + minutes * minutes_slope
    return np.concatenate([[by_log], slope])
