"""The posterior of many tickets is nearly a normal distribution: where its top is and how it is stretched.

Only coordinates: who samples in them draws from the posterior itself, however rough they are.
"""

from dataclasses import dataclass

import numpy as np
from scipy.linalg import solve_triangular
from scipy.optimize import minimize

from analytics.centring import Centring, coefficient_shares
from analytics.curvature import all_spreads, departures, gather_departures, measure_curvature, spread_places
from analytics.log_density import Density, States, make_density, put_together, take_apart, to_coefficients, to_raw
from analytics.packing import Packed
from analytics.spread_search import LARGEST_GROWTH, SMALL_ENOUGH, Settled, settle_spreads
from analytics.terms import Priors

CLIMB_STEPS, MEMORY = 400, 30
ROUNDS = 5
# Where the climb begins: minutes vary by a factor of about 1.6, all else is as before any ticket.
FIRST_MINUTES_SPREAD = 0.5
# Steps of a climb before anything is known of the curvature.
MINUTES_REACH, PARENT_REACH = 0.01, 0.5
DIFFERENCE = 0.01


@dataclass(frozen=True, eq=False)
class NormalShape:
    """states = centre + stretch @ y, with y nearly standard normal. centre (variable,); stretch (variable, variable);
    share (coefficient,) how far each coefficient is non-centred in these states.

    The stretch is kept and applied in single precision: half the time, and states that are rounded by a millionth of
    their spread are as good as any others, for the density is that of the states as they are.
    """

    centre: np.ndarray
    stretch: np.ndarray
    share: np.ndarray

    def to_states(self, y: np.ndarray) -> np.ndarray:
        """(..., variable) from coordinates of the same shape."""
        return self.centre + y.astype(np.float32) @ self.stretch.T

    def in_coordinates(self, density: Density) -> Density:
        """The same log density, up to a constant, by coordinates."""

        def by_coordinates(y: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
            value, slope = density(self.to_states(y))
            return value, (slope.astype(np.float32) @ self.stretch).astype(float)

        return by_coordinates


def find_shape(packed: Packed, centring: Centring, priors: Priors) -> NormalShape:
    """Top and stretch of the posterior.

    The most probable coefficients at middling spreads, the curvature there, the spreads that fit it, and what spreads
    move; and again from there where spreads grew as far as one curvature may carry them.
    """
    log_spread = np.log(centring.reach[: centring.learned])
    row = np.zeros(1 + len(spread_places(centring)))
    row[0] = np.log(FIRST_MINUTES_SPREAD)
    for _ in range(ROUNDS):
        top = _climb(row, log_spread, packed, centring=centring, priors=priors)
        settled = settle_spreads(measure_curvature(top, packed, centring, priors=priors), log_spread, centring, priors)
        grown = (settled.log_spread - log_spread).max()
        row, log_spread = top, settled.log_spread
        if grown < LARGEST_GROWTH - SMALL_ENOUGH:
            break
    share = shares_at(log_spread, centring)
    centre = _to_state(settled.row, log_spread, centring, share)
    return NormalShape(centre, _stretch(settled, centring, share).astype(np.float32), share)


def shares_at(log_spread: np.ndarray, centring: Centring) -> np.ndarray:
    """(coefficient,): how far each is non-centred at these spreads."""
    return coefficient_shares(centring.terms, dict(zip(centring.spread_names, np.exp(log_spread), strict=True)))


def _climb(
    row: np.ndarray, log_spread: np.ndarray, packed: Packed, *, centring: Centring, priors: Priors
) -> np.ndarray:
    """The most probable row at these spreads, from another one."""
    share = shares_at(log_spread, centring)
    density = make_density(centring, share, packed, priors=priors)
    state, scale = _to_state(row, log_spread, centring, share), _first_scale(share, log_spread, centring)

    def downhill(y: np.ndarray) -> tuple[float, np.ndarray]:
        value, slope = density((state + scale * y)[None])
        return -float(value[0]), -slope[0] * scale

    options = {"maxiter": CLIMB_STEPS, "maxcor": MEMORY}
    found = minimize(downhill, np.zeros(len(state)), jac=True, method="L-BFGS-B", options=options).x
    return _to_row(state + scale * found, centring, share)


def _first_scale(share: np.ndarray, log_spread: np.ndarray, centring: Centring) -> np.ndarray:
    """(variable,): spreads stay, coefficients move as far as their precision lets expect."""
    spread = all_spreads(log_spread, centring)[len(centring.parent_spread) :]
    told = np.concatenate([np.broadcast_to(term.precision, term.size) for term in centring.terms])
    reach = np.exp(-share * spread) / np.sqrt(np.exp(-2.0 * spread) + told)
    still = np.zeros(centring.learned)
    return np.concatenate([still, [MINUTES_REACH], np.full(len(centring.parent_spread), PARENT_REACH), reach])


def _to_state(row: np.ndarray, log_spread: np.ndarray, centring: Centring, share: np.ndarray) -> np.ndarray:
    """(variable,) from a row, see `curvature`, and spreads."""
    parents = len(centring.parent_spread)
    unit = (row[1 : 1 + parents] * np.exp(-all_spreads(log_spread, centring)[:parents]))[None]
    raw = to_raw(row[None, 1 + parents :], log_spread[None], unit, centring=centring, share=share)
    return put_together(States(log_spread[None], row[:1], unit, raw))[0]


def _to_row(state: np.ndarray, centring: Centring, share: np.ndarray) -> np.ndarray:
    """The row of a state."""
    parts = take_apart(state[None], centring)
    parents = parts.unit[0] * np.exp(all_spreads(parts.log_spread[0], centring)[: len(centring.parent_spread)])
    return np.concatenate([parts.log_minutes, parents, to_coefficients(parts, centring, share)[0]])


def _stretch(settled: Settled, centring: Centring, share: np.ndarray) -> np.ndarray:
    """(variable, variable): spreads by their own covariance, all else by its own and by what spreads move."""
    learned, rows = centring.learned, len(settled.row)
    half = solve_triangular(settled.triangle, np.eye(rows), lower=True).T
    spreads = np.linalg.cholesky(settled.spread_covariance)
    out = np.zeros((learned + rows, learned + rows))
    out[:learned, :learned] = spreads
    out[learned:, :learned] = _moved_by_spreads(settled, half, centring, share) @ spreads
    out[learned:, learned:] = _in_variables(half, settled.log_spread, centring, share)
    return out


def _in_variables(half: np.ndarray, log_spread: np.ndarray, centring: Centring, share: np.ndarray) -> np.ndarray:
    """Columns of rows -> columns of (log minutes, unit, raw), spreads standing still: `_to_state` without its shift."""
    parents, spread = len(centring.parent_spread), all_spreads(log_spread, centring)
    out = half.copy()
    out[1 : 1 + parents] *= np.exp(-spread[:parents])[:, None]
    centred = slice(1 + parents, 1 + parents + len(centring.matrix))
    out[centred] -= share[: len(centring.matrix), None] * (centring.matrix @ half[1 : 1 + parents])
    out[1 + parents :] *= np.exp(-share * spread[parents:])[:, None]
    return out


def _moved_by_spreads(settled: Settled, half: np.ndarray, centring: Centring, share: np.ndarray) -> np.ndarray:
    """(variable but spreads, learned spread): how the most probable place moves with each log spread."""
    precision = np.exp(-2.0 * all_spreads(settled.log_spread, centring))
    away, place = departures(settled.row, centring) * precision, spread_places(centring)
    moved = []
    for at in range(centring.learned):
        # a wider spread lets departures go as far as the prior held them back
        step = 2.0 * half @ (half.T @ gather_departures(np.where(place == at, away, 0.0), centring)) * DIFFERENCE
        wider = np.where(np.arange(centring.learned) == at, DIFFERENCE, 0.0)
        ahead = _to_state(settled.row + step, settled.log_spread + wider, centring, share)
        behind = _to_state(settled.row - step, settled.log_spread - wider, centring, share)
        moved.append((ahead - behind)[centring.learned :] / (2.0 * DIFFERENCE))
    return np.stack(moved, axis=1)
