"""Counts of several shops that carry noise, taken together: what each of them may be expected to have counted.

The noise of single shops is as large as their counts, but it is known, and it goes in all directions: what is common to
many shops is seen through it. Only noisy counts go in, so nothing comes out that they have not told.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from analytics.evidence import CELL_COLUMNS
from analytics.noisy_counts import expected_under_noise, laplace_variance
from analytics.rollup_cells import MIXED_GRADE
from analytics.unrolling import FAMILY_WORTH, LEAST, STEPS, STRENGTH_WORTH, place_families
from analytics.vocabulary import STRENGTH_WEIGHTS, UNKNOWN_AGE, Vocabulary

# Unresolved tickets among those of a complaint, and what that is worth in tickets.
UNRESOLVED_SHARE = 0.1
SMALLEST_RATE = 1e-6


@dataclass(frozen=True, eq=False)
class NoisyContribution:
    """A shop's counts with noise; what is not there was told as 0.

    code : stands for the shop
    cells : columns symptom, suspect ("" unresolved), tickets
    families : columns suspect, family ("" unknown), tickets: the same named tickets from another side
    epsilon : of the noise on each count
    """

    code: str
    cells: pd.DataFrame
    families: pd.DataFrame
    epsilon: float


def unroll_noisy(contributions: Sequence[NoisyContribution], vocabulary: Vocabulary) -> pd.DataFrame:
    """Cells (columns `evidence.CELL_COLUMNS`) of what may be expected behind the noise, ages unknown.

    Notes
    -----
    Expectation-maximisation, as in `unrolling.unroll`: every shop has a complaint as often as it seems, all shops share
    the odds of its suspects; likewise the families of a suspect. Within a suspect, complaint and family are taken as
    independent. A count n tells, with noise of variance v, as much as n * n / (n + v) without (Poisson counts have
    variance n); all suspects of a complaint are given the same share of what they count, so that their odds stay.
    """
    epsilon = np.array([one.epsilon for one in contributions])
    counted = {symptom: _count_suspects(contributions, vocabulary, symptom, epsilon) for symptom in vocabulary.symptoms}
    totals = np.zeros((len(contributions), len(vocabulary.suspects)))
    for symptom, counts in counted.items():
        totals[:, _places(vocabulary, symptom)] += counts[:, :-1]
    shares = _family_shares(contributions, vocabulary, totals, epsilon)
    rows = [
        (symptom, "", one.code, UNKNOWN_AGE, suspect, MIXED_GRADE if suspect else "", "", "", weight)
        for symptom, counts in counted.items()
        for one, told, worth in zip(contributions, counts, _worth(counts, epsilon), strict=True)
        for suspect, weight in zip((*vocabulary.suspects_of(symptom), ""), told * worth, strict=True)
        if weight >= LEAST
    ]
    cells = pd.DataFrame(rows, columns=list(CELL_COLUMNS))
    return place_families(cells.assign(side=cells["suspect"]), shares)[list(CELL_COLUMNS)].reset_index(drop=True)


def _count_suspects(
    contributions: Sequence[NoisyContribution], vocabulary: Vocabulary, symptom: str, epsilon: np.ndarray
) -> np.ndarray:
    """(shop, suspect of the list and unresolved): expected counts."""
    listed = vocabulary.suspects_of(symptom)
    strengths = np.array([STRENGTH_WEIGHTS[vocabulary.links[symptom, code]] for code in listed])
    seeded = STRENGTH_WORTH * np.append(strengths / strengths.sum() * (1.0 - UNRESOLVED_SHARE), UNRESOLVED_SHARE)
    told = np.stack([_told(one.cells[one.cells["symptom"] == symptom], "suspect", (*listed, ""))
                     for one in contributions])  # fmt: skip
    counts, share = told, seeded / seeded.sum()
    for _ in range(STEPS):
        rates = share * counts.sum(axis=1, keepdims=True)
        counts = expected_under_noise(np.maximum(rates, SMALLEST_RATE), told, epsilon[:, None])
        share = _normal(seeded + counts.sum(axis=0))
    return counts


def _family_shares(
    contributions: Sequence[NoisyContribution], vocabulary: Vocabulary, totals: np.ndarray, epsilon: np.ndarray
) -> dict[tuple[str, str], Mapping[str, float]]:
    """(shop, suspect) -> family, or "" -> share; totals: (shop, suspect)."""
    places, suspects = (*vocabulary.families, ""), tuple(vocabulary.suspects)
    told = np.stack([[_told(one.families[one.families["suspect"] == code], "family", places) for code in suspects]
                     for one in contributions])  # fmt: skip
    share = np.full((len(suspects), len(places)), 1.0 / len(places))
    of_shop = np.ones((len(contributions), 1, len(places)))
    counts = told
    for _ in range(STEPS):
        rates = totals[..., None] * _normal(share * of_shop)
        counts = expected_under_noise(np.maximum(rates, SMALLEST_RATE), told, epsilon[:, None, None])
        overall = _normal(counts.sum(axis=(0, 1)) + 1.0)
        share = _normal(counts.sum(axis=0) + FAMILY_WORTH * overall)
        of_shop = _normal(counts.sum(axis=1, keepdims=True) + 1.0) / overall
    found = _normal(counts)
    return {
        (one.code, code): dict(zip(places, found[at, suspect], strict=True))
        for at, one in enumerate(contributions)
        for suspect, code in enumerate(suspects)
    }


def _worth(counts: np.ndarray, epsilon: np.ndarray) -> np.ndarray:
    """(shop,): what the counts (shop, suspect) of a complaint tell beside counts without noise."""
    variance = np.array([laplace_variance(one) for one in epsilon])[:, None]
    return np.asarray((counts**2 / (counts + variance)).sum(axis=1) / np.maximum(counts.sum(axis=1), SMALLEST_RATE))


def _told(rows: pd.DataFrame, column: str, codes: Sequence[str]) -> np.ndarray:
    return rows.groupby(column)["tickets"].sum().reindex(list(codes), fill_value=0).to_numpy(float)


def _places(vocabulary: Vocabulary, symptom: str) -> list[int]:
    suspects = list(vocabulary.suspects)
    return [suspects.index(code) for code in vocabulary.suspects_of(symptom)]


def _normal(values: np.ndarray) -> np.ndarray:
    return np.asarray(values / values.sum(axis=-1, keepdims=True))
