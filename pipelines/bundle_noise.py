"""Noise with a stated epsilon on the counts of a bundle, by OpenDP's discrete Laplace."""

from collections.abc import Hashable, Mapping

import pandas as pd

from analytics.errors import InputError
from analytics.noisy_counts import laplace_variance
from analytics.rollup_cells import BUNDLE_COLUMNS, FAMILY_COLUMNS, MIXED_GRADE
from analytics.vocabulary import SOMETHING_ELSE, UNKNOWN_AGE, Vocabulary

# Above this the noise hides nobody; below, it hides every count of a workshop.
LEAST_EPSILON, MOST_EPSILON = 0.05, 10.0
# A ticket is counted by complaint and by family: each of the two tables spends half of the epsilon.
TABLES = 2


def add_noise(tickets: pd.DataFrame, vocabulary: Vocabulary, *, epsilon: float) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Noisy counts of every (complaint, suspect) and of every (suspect, family) of the vocabulary.

    Parameters
    ----------
    tickets : frame of `BUNDLE_COLUMNS`, each ticket in exactly one row
    epsilon : adding or removing one ticket changes the probability of any result by at most the factor exp(epsilon)

    Returns
    -------
    Frames of `BUNDLE_COLUMNS` and of `FAMILY_COLUMNS`; what would be 0 or less is left out.

    Notes
    -----
    The tables have shapes that no ticket decides: age and grade are left out, words come from the vocabulary, and so
    do those that never occurred. One ticket changes one count of a table by one, so discrete Laplace noise of scale
    2/epsilon gives each table (epsilon/2)-differential privacy, and both together epsilon (Dwork and Roth, The
    Algorithmic Foundations of Differential Privacy, 2014, theorems 3.6 and 3.16; Ghosh, Roughgarden, Sundararajan,
    SIAM J. Comput. 41, 2012). Leaving out counts after it costs nothing more. Unresolved tickets count once a symptom.
    """
    if not LEAST_EPSILON <= epsilon <= MOST_EPSILON:
        raise InputError(f"An epsilon of {epsilon:g} is not allowed. Give {LEAST_EPSILON:g} to {MOST_EPSILON:g}.")
    cells = {(s, k): 0 for s in vocabulary.symptoms for k in (*vocabulary.suspects_of(s), "")}
    families = {(k, f): 0 for k in vocabulary.suspects for f in (*vocabulary.families, "")}
    for row in tickets.itertuples(index=False):
        listed = row.suspect if (row.symptom, row.suspect) in cells else SOMETHING_ELSE
        cells[str(row.symptom), str(listed)] += int(row.tickets)
        if listed:
            families[str(listed), row.family if row.family in vocabulary.families else ""] += int(row.tickets)
    by_cell = [(symptom, "", UNKNOWN_AGE, suspect, MIXED_GRADE if suspect else "", "", "", count)
               for (symptom, suspect), count in _noisy(cells, epsilon / TABLES).items()]  # fmt: skip
    by_family = [("", suspect, family, "", count)
                 for (suspect, family), count in _noisy(families, epsilon / TABLES).items()]  # fmt: skip
    return (
        pd.DataFrame(by_cell, columns=list(BUNDLE_COLUMNS)),
        pd.DataFrame(by_family, columns=list(FAMILY_COLUMNS)),
    )


def noise_variance(epsilon: float) -> float:
    """Variance of each count of a bundle that was written with this epsilon."""
    return laplace_variance(epsilon / TABLES)


def _noisy[Key: Hashable](counts: Mapping[Key, int], epsilon: float) -> dict[Key, int]:
    """The counts with noise of scale 1/epsilon; those that are 0 or less with it are left out."""
    # loading it takes longer than most verbs of the terminal do
    import opendp.prelude as dp

    dp.enable_features("contrib")
    add = dp.m.make_laplace(dp.vector_domain(dp.atom_domain(T="i64")), dp.l1_distance(T="i64"), scale=1.0 / epsilon)
    noisy = zip(counts, add(list(counts.values())), strict=True)
    return {key: int(count) for key, count in noisy if count > 0}
