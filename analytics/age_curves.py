"""How age speaks for or against a failure mode, as a factor on its odds, with the tickets behind each age."""

from dataclasses import dataclass

import numpy as np
import pandas as pd

from analytics.posterior import Posterior

# A link that no ticket names counts as one ticket: a mode without tickets still has a curve, that of its prior.
LEAST_TICKETS = 1.0


@dataclass(frozen=True, eq=False)
class AgeCurve:
    """One failure mode by age band.

    ages : codes of the bands, youngest first
    factor, low, high : (age,) posterior median and 90 % interval of what the odds are multiplied by; 1 is this mode's
        own mean over the bands (geometric)
    tickets : (age,) confirmed tickets of the mode
    """

    ages: tuple[str, ...]
    factor: np.ndarray
    low: np.ndarray
    high: np.ndarray
    tickets: np.ndarray


def age_curve(posterior: Posterior, cells: pd.DataFrame, *, mode: str) -> AgeCurve:
    """The age curve of a failure mode that the posterior knows.

    Parameters
    ----------
    cells : cells of the evidence (`Evidence.cells`); only those with a suspect and an age band count

    Notes
    -----
    age_effect (draw, link, age) is centred over the ages of each link. A mode has many links (symptom and suspect);
    its curve is the mean of theirs, each weighted by its tickets (at least one): the curve of the tickets that were
    met, not of links nobody has seen. Averaging comes before exp, draw by draw, so the band is that of the mean curve
    and does not say how much single suspects differ from it.
    """
    at = posterior.positions["mode"][mode]
    links = np.flatnonzero(posterior.arrays["link_mode"] == at)
    tickets = _count_tickets(posterior, cells)[links]
    weight = np.maximum(tickets.sum(1), LEAST_TICKETS)
    effect = np.einsum("dla,l->da", posterior.arrays["age_effect"][:, links], weight / weight.sum())
    low, middle, high = np.exp(np.quantile(effect, (0.05, 0.5, 0.95), axis=0))
    return AgeCurve(tuple(posterior.positions["age"]), middle, low, high, tickets.sum(0))


def modes_with_links(posterior: Posterior) -> tuple[str, ...]:
    """Failure modes that some symptom's list holds, in the order of the vocabulary."""
    used = set(posterior.arrays["link_mode"].tolist())
    return tuple(mode for mode, at in posterior.positions["mode"].items() if at in used)


def _count_tickets(posterior: Posterior, cells: pd.DataFrame) -> np.ndarray:
    """(link, age) confirmed tickets; what the posterior does not know is left out."""
    positions, arrays = posterior.positions, posterior.arrays
    pairs = zip(arrays["link_symptom"].tolist(), arrays["link_suspect"].tolist(), strict=True)
    link_of = {pair: link for link, pair in enumerate(pairs)}
    counts = np.zeros((len(link_of), len(positions["age"])))
    for cell in cells[cells["suspect"] != ""].itertuples(index=False):
        pair = (positions["symptom"].get(cell.symptom, -1), positions["suspect"].get(cell.suspect, -1))
        age = positions["age"].get(cell.age_band)
        if pair in link_of and age is not None:
            counts[link_of[pair], age] += cell.weight
    return counts
