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
class NoisyCounts:
    """A shop's counts with noise; what is not there was told as 0.

    code : stands for the shop
    told : columns symptom, suspect ("" unresolved), tickets; or suspect, family ("" unknown), tickets: named tickets
    epsilon : of the noise on each count
    """

    code: str
    told: pd.DataFrame
    epsilon: float


def unroll_noisy(shops: Sequence[NoisyCounts], vocabulary: Vocabulary) -> pd.DataFrame:
    """Cells (columns `evidence.CELL_COLUMNS` and worth) of what may be expected behind the noise; no age, no family.

    Notes
    -----
    Expectation-maximisation, as in `unrolling.unroll`: every shop has a complaint as often as it seems, all shops share
    the odds of its suspects. A count n tells, with noise of variance v, as much as n * n / (n + v) without (Poisson
    counts have variance n); all suspects of a complaint have the same `worth`, that share of what they count, so that
    their odds stay.
    """
    rows = []
    for symptom in vocabulary.symptoms:
        counts = _count_suspects(shops, vocabulary, symptom)
        rows += [
            (symptom, "", one.code, UNKNOWN_AGE, suspect, MIXED_GRADE if suspect else "", "", "", weight, worth)
            for one, weights, worth in zip(shops, counts, _worth(counts, shops), strict=True)
            for suspect, weight in zip((*vocabulary.suspects_of(symptom), ""), weights, strict=True)
            if weight >= LEAST
        ]
    return pd.DataFrame(rows, columns=[*CELL_COLUMNS, "worth"])


def place_noisy_families(cells: pd.DataFrame, shops: Sequence[NoisyCounts], vocabulary: Vocabulary) -> pd.DataFrame:
    """The same cells, those of `shops` by family, as far as their noisy counts of suspects by family tell.

    Notes
    -----
    Expectation-maximisation again: all shops share the families of a suspect, and each has families more often or less.
    Within a suspect, complaint and family are taken as independent.
    """
    named = cells[cells["suspect"] != ""]
    totals = named.pivot_table(index="shop", columns="suspect", values="weight", aggfunc="sum", fill_value=0.0)
    totals = totals.reindex(index=[one.code for one in shops], columns=list(vocabulary.suspects), fill_value=0.0)
    shares = _family_shares(shops, vocabulary, totals.to_numpy(float))
    return place_families(cells.assign(side=cells["suspect"]), shares).drop(columns="side")


def _count_suspects(shops: Sequence[NoisyCounts], vocabulary: Vocabulary, symptom: str) -> np.ndarray:
    """(shop, suspect of the list and unresolved): expected counts."""
    listed = vocabulary.suspects_of(symptom)
    strengths = np.array([STRENGTH_WEIGHTS[vocabulary.links[symptom, code]] for code in listed])
    seeded = STRENGTH_WORTH * np.append(strengths / strengths.sum() * (1.0 - UNRESOLVED_SHARE), UNRESOLVED_SHARE)
    told = np.stack([_told(one.told[one.told["symptom"] == symptom], "suspect", (*listed, "")) for one in shops])
    counts, share = told, seeded / seeded.sum()
    for _ in range(STEPS):
        rates = share * counts.sum(axis=1, keepdims=True)
        counts = _expected(rates, told, shops)
        share = _normal(seeded + counts.sum(axis=0))
    return counts


def _family_shares(
    shops: Sequence[NoisyCounts], vocabulary: Vocabulary, totals: np.ndarray
) -> dict[tuple[str, str], Mapping[str, float]]:
    """(shop, suspect) -> family, or "" -> share; totals: (shop, suspect)."""
    places, suspects = (*vocabulary.families, ""), tuple(vocabulary.suspects)
    told = np.stack([[_told(one.told[one.told["suspect"] == code], "family", places) for code in suspects]
                     for one in shops])  # fmt: skip
    share = np.full((len(suspects), len(places)), 1.0 / len(places))
    of_shop = np.ones((len(shops), 1, len(places)))
    counts = told
    for _ in range(STEPS):
        rates = totals[..., None] * _normal(share * of_shop)
        counts = _expected(rates, told, shops)
        overall = _normal(counts.sum(axis=(0, 1)) + 1.0)
        share = _normal(counts.sum(axis=0) + FAMILY_WORTH * overall)
        of_shop = _normal(counts.sum(axis=1, keepdims=True) + 1.0) / overall
    found = _normal(counts)
    return {
        (one.code, code): dict(zip(places, found[at, suspect], strict=True))
        for at, one in enumerate(shops)
        for suspect, code in enumerate(suspects)
    }


def _expected(rates: np.ndarray, told: np.ndarray, shops: Sequence[NoisyCounts]) -> np.ndarray:
    """(shop, ...): a shop at a time, since all of many at once would fill the memory."""
    parts = zip(np.maximum(rates, SMALLEST_RATE), told, shops, strict=True)
    return np.stack([expected_under_noise(rate, count, one.epsilon) for rate, count, one in parts])


def _worth(counts: np.ndarray, shops: Sequence[NoisyCounts]) -> np.ndarray:
    """(shop,): what the counts (shop, suspect) of a complaint tell beside counts without noise."""
    variance = np.array([laplace_variance(one.epsilon) for one in shops])[:, None]
    return np.asarray((counts**2 / (counts + variance)).sum(axis=1) / np.maximum(counts.sum(axis=1), SMALLEST_RATE))


def _told(rows: pd.DataFrame, column: str, codes: Sequence[str]) -> np.ndarray:
    return rows.groupby(column)["tickets"].sum().reindex(list(codes), fill_value=0).to_numpy(float)


def _normal(values: np.ndarray) -> np.ndarray:
    return np.asarray(values / values.sum(axis=-1, keepdims=True))
