"""Log density of the whole model with its gradient, for many states at once and without PyMC.

The same density as `analytics.model` states, in the same variables, positive ones as logarithms; a test holds the two
together. Importing and compiling PyMC takes longer than a short run needs altogether.
"""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from analytics.centring import Centring
from analytics.log_likelihood import evaluate
from analytics.packing import Packed
from analytics.terms import Priors

type Density = Callable[[np.ndarray], tuple[np.ndarray, np.ndarray]]


@dataclass(frozen=True, eq=False)
class States:
    """Rows of states taken apart: log_spread (state, learned spread), log_minutes (state,), unit (state, parent), raw
    (state, coefficient).
    """

    log_spread: np.ndarray
    log_minutes: np.ndarray
    unit: np.ndarray
    raw: np.ndarray


def take_apart(states: np.ndarray, centring: Centring) -> States:
    """From (state, variable) to its parts."""
    spreads, parents = centring.learned, len(centring.parent_spread)
    parts = np.split(states, np.cumsum([spreads, 1, parents]), axis=1)
    return States(parts[0], parts[1][:, 0], parts[2], parts[3])


def put_together(states: States) -> np.ndarray:
    """(state, variable), the inverse of `take_apart`."""
    return np.concatenate([states.log_spread, states.log_minutes[:, None], states.unit, states.raw], axis=1)


def to_coefficients(states: States, centring: Centring, share: np.ndarray) -> np.ndarray:
    """(state, coefficient) values of the coefficients."""
    log_spread = _all_spreads(states.log_spread, centring)
    centre = _centres(states.unit, log_spread, centring)
    return share * centre + np.exp(share * log_spread[:, centring.coefficient_spread]) * states.raw


def to_raw(
    coefficient: np.ndarray, log_spread: np.ndarray, unit: np.ndarray, *, centring: Centring, share: np.ndarray
) -> np.ndarray:
    """The inverse of `to_coefficients`: (state, coefficient)."""
    every = _all_spreads(log_spread, centring)
    centre = _centres(unit, every, centring)
    return (coefficient - share * centre) * np.exp(-share * every[:, centring.coefficient_spread])


def make_density(centring: Centring, share: np.ndarray, packed: Packed, *, priors: Priors) -> Density:
    """(state, variable) -> log density (state,), up to a constant, and its gradient (state, variable).

    Parameters
    ----------
    share : (coefficient,) how far each is non-centred
    packed : tickets, checks and wishes
    """

    def density(states: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        parts = take_apart(states, centring)
        rows = zip(to_coefficients(parts, centring, share), np.exp(parts.log_minutes), strict=True)
        scored = [evaluate(row, float(minutes), *packed.data) for row, minutes in rows]
        value = np.array([one[0] for one in scored])
        slope, minutes_slope = np.array([one[1] for one in scored]), np.array([one[2] for one in scored])
        prior, prior_slope = _spread_priors(parts, minutes_slope, centring, priors)
        inner, inner_slope = _coefficient_priors(parts, slope, centring, share)
        total = [prior_slope.log_spread + inner_slope.log_spread, inner_slope.unit, inner_slope.raw]
        gradient = put_together(States(total[0], prior_slope.log_minutes, total[1], total[2]))
        return value + prior + inner, gradient

    return density


def _spread_priors(
    parts: States, minutes_slope: np.ndarray, centring: Centring, priors: Priors
) -> tuple[np.ndarray, States]:
    """Gamma spreads and a half-normal minutes spread, each with the Jacobian of its logarithm."""
    shape, rate = priors.spread_shape, priors.spread_shape / centring.reach[: centring.learned]
    spread, minutes = np.exp(parts.log_spread), np.exp(parts.log_minutes)
    scaled = (minutes / priors.minutes_spread_scale) ** 2
    value = (shape * parts.log_spread - rate * spread).sum(1) + parts.log_minutes - 0.5 * scaled
    slope = States(shape - rate * spread, 1.0 - scaled + minutes * minutes_slope, parts.unit, parts.raw)
    return value, slope


def _coefficient_priors(
    parts: States, slope: np.ndarray, centring: Centring, share: np.ndarray
) -> tuple[np.ndarray, States]:
    """Normal parents and coefficients; `slope` (state, coefficient) is that of the likelihood, carried on to all."""
    every = _all_spreads(parts.log_spread, centring)
    log_each = every[:, centring.coefficient_spread]
    outer, inner = np.exp(share * log_each), np.exp((1.0 - share) * log_each)
    centre = _centres(parts.unit, every, centring)
    mean = (1.0 - share) * centre / outer
    rest = (parts.raw - mean) / inner
    value = -0.5 * (parts.unit**2).sum(1) - 0.5 * (rest**2).sum(1) - ((1.0 - share) * log_each).sum(1)
    d_raw = slope * outer - rest / inner
    d_centre = (1.0 - share) * rest / (inner * outer) + share * slope
    d_log = (1.0 - share) * (rest**2 - 1.0) - share * rest * mean / inner + share * slope * outer * parts.raw
    scale = np.exp(every[:, centring.parent_spread])
    d_parent = d_centre[:, : len(centring.matrix)] @ centring.matrix
    d_every = _gather(d_log, centring.coefficient_spread, every.shape[1])
    d_every += _gather(d_parent * parts.unit * scale, centring.parent_spread, every.shape[1])
    return value, States(d_every[:, : centring.learned], parts.log_minutes, d_parent * scale - parts.unit, d_raw)


def _all_spreads(log_spread: np.ndarray, centring: Centring) -> np.ndarray:
    fixed = np.log(centring.reach[centring.learned :])
    return np.concatenate([log_spread, np.broadcast_to(fixed, (len(log_spread), len(fixed)))], axis=1)


def _centres(unit: np.ndarray, log_spread: np.ndarray, centring: Centring) -> np.ndarray:
    """(state, coefficient): zero for coefficients without a parent."""
    centred = unit * np.exp(log_spread[:, centring.parent_spread]) @ centring.matrix.T
    return np.pad(centred, ((0, 0), (0, len(centring.coefficient_spread) - centred.shape[1])))


def _gather(values: np.ndarray, places: np.ndarray, count: int) -> np.ndarray:
    """(state, count): sums of the columns of `values` that share a place."""
    return values @ np.equal.outer(places, np.arange(count)).astype(float)
