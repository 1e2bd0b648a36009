"""How arrivals share out over kinds of machine and symptoms, and how often one machine comes in a year."""

from dataclasses import dataclass

import numpy as np
from scipy.special import gammaincinv, gammaln, logsumexp

# What the pattern of all families is worth for one family, in tickets.
_WORTHS = np.geomspace(0.5, 5000.0, 25)
# Tickets a machine-year of a like machine, and how much a group's own machines differ (shape of the gamma).
_RATES, _SHAPES = np.geomspace(0.005, 50.0, 93), np.geomspace(0.3, 100.0, 16)


@dataclass(frozen=True, eq=False)
class Shares:
    """Share of all tickets and its variance, (family, symptom) each; `worth` in tickets of the common pattern."""

    mean: np.ndarray
    variance: np.ndarray
    worth: float


def share_out(counts: np.ndarray) -> Shares:
    """Smoothed shares of (family, symptom), Dirichlet-multinomial.

    The share of a family is Dirichlet with shapes 1/2; the symptoms within it are Dirichlet around those of all
    families, worth as many tickets as the marginal likelihood says (over a grid, log-uniform).

    Parameters
    ----------
    counts : tickets (family, symptom)
    """
    counts = np.asarray(counts, dtype=float)
    common = (counts.sum(axis=0) + 0.5) / (counts.sum() + 0.5 * counts.shape[1])
    evidence = np.array([_dirichlet_evidence(counts, worth * common) for worth in _WORTHS])
    weight = np.exp(evidence - logsumexp(evidence))
    families = _dirichlet_moments(counts.sum(axis=1), np.full(len(counts), 0.5))
    mean, square = np.zeros_like(counts), np.zeros_like(counts)
    for share, worth in zip(weight, _WORTHS, strict=True):
        of_symptom = [_dirichlet_moments(row, worth * common) for row in counts]
        mean += share * families[0][:, None] * np.array([one[0] for one in of_symptom])
        square += share * families[1][:, None] * np.array([one[1] for one in of_symptom])
    return Shares(mean, square - mean**2, float(np.exp(weight @ np.log(_WORTHS))))


def machine_rates(tickets: np.ndarray, machine_years: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Tickets a machine-year and both ends of the 90 % interval, (group,) each; groups lend each other strength.

    Parameters
    ----------
    tickets : counts (group,)
    machine_years : machines kept times years counted, above 0 (group,)

    Notes
    -----
    Gamma-Poisson: rates are gamma around one mean, its mean and shape integrated over a grid (log-uniform); each
    mixture is given back as the gamma distribution with its mean and variance.
    """
    tickets, years = np.asarray(tickets, dtype=float), np.asarray(machine_years, dtype=float)
    shape, scale = (grid.ravel() for grid in np.meshgrid(_SHAPES, _RATES, indexing="ij"))
    worth = shape / scale
    a, b = tickets[:, None] + shape, years[:, None] + worth
    evidence = gammaln(a) - gammaln(shape) + shape * np.log(worth / b) + tickets[:, None] * np.log(years[:, None] / b)
    weight = np.exp(evidence.sum(axis=0) - logsumexp(evidence.sum(axis=0)))
    mean = (weight * a / b).sum(axis=1)
    variance = (weight * a * (a + 1.0) / b**2).sum(axis=1) - mean**2
    alpha, beta = mean**2 / variance, mean / variance
    return mean, gammaincinv(alpha, 0.05) / beta, gammaincinv(alpha, 0.95) / beta


def _dirichlet_evidence(counts: np.ndarray, shapes: np.ndarray) -> float:
    """Log marginal likelihood of all rows, without the multinomial constant."""
    whole = gammaln(shapes.sum()) - gammaln(counts.sum(axis=1) + shapes.sum())
    return float(whole.sum() + (gammaln(counts + shapes) - gammaln(shapes)).sum())


def _dirichlet_moments(counts: np.ndarray, shapes: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """E[share], E[share^2] after the counts."""
    a = counts + shapes
    return a / a.sum(), a * (a + 1.0) / (a.sum() * (a.sum() + 1.0))
