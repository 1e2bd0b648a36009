"""Noise with a stated epsilon on the counts of a bundle, by OpenDP's discrete Laplace."""

from collections.abc import Hashable, Mapping

import pandas as pd

from analytics.errors import InputError
from analytics.noisy_counts import laplace_variance
from analytics.rollup_cells import BUNDLE_COLUMNS, FAMILY_COLUMNS, MIXED_GRADE
from analytics.vocabulary import SOMETHING_ELSE, UNKNOWN_AGE, Vocabulary

# Above this the noise hides nobody; below, it hides every count of a workshop.
LEAST_EPSILON, MOST_EPSILON = 0.05, 10.0
# Where all counts have noise, a ticket is counted twice: each of the two tables spends half of the epsilon.
TABLES = 2


def noisy_cells(tickets: pd.DataFrame, vocabulary: Vocabulary, *, epsilon: float) -> pd.DataFrame:
    """Noisy counts of every (complaint, suspect) of the vocabulary, in `BUNDLE_COLUMNS`; see `noisy_families`.

    Age and grade are left out; unresolved tickets count once a symptom.
    """
    counts = {(s, k): 0 for s in vocabulary.symptoms for k in (*vocabulary.suspects_of(s), "")}
    for row in tickets.itertuples(index=False):
        listed = row.suspect if (row.symptom, row.suspect) in counts else SOMETHING_ELSE
        counts[str(row.symptom), str(listed)] += int(row.tickets)
    rows = [(symptom, "", UNKNOWN_AGE, suspect, MIXED_GRADE if suspect else "", "", "", count)
            for (symptom, suspect), count in _noisy(counts, epsilon).items()]  # fmt: skip
    return pd.DataFrame(rows, columns=list(BUNDLE_COLUMNS))


def noisy_families(tickets: pd.DataFrame, vocabulary: Vocabulary, *, epsilon: float) -> pd.DataFrame:
    """Noisy counts of every (suspect, family) of the vocabulary, in `FAMILY_COLUMNS`; family "" is not known.

    Parameters
    ----------
    tickets : frame of `BUNDLE_COLUMNS`, each ticket in exactly one row
    epsilon : adding or removing one ticket changes the probability of any result by at most the factor exp(epsilon)

    Returns
    -------
    What would be 0 or less is left out.

    Notes
    -----
    The table has a shape that no ticket decides: words come from the vocabulary, and so do those that never occurred.
    One ticket changes one count by one, so discrete Laplace noise of scale 1/epsilon gives epsilon-differential privacy
    (Dwork and Roth, The Algorithmic Foundations of Differential Privacy, 2014, theorem 3.6; Ghosh, Roughgarden,
    Sundararajan, SIAM J. Comput. 41, 2012). Leaving out counts after it costs nothing more, and two such tables of the
    same tickets have the sum of their epsilons (theorem 3.16). The years of a bundle, and whether they brought enough
    tickets for a new part of it, are told as they are.
    """
    counts = {(k, f): 0 for k in vocabulary.suspects for f in (*vocabulary.families, "")}
    for row in tickets[tickets["suspect"] != ""].itertuples(index=False):
        listed = row.suspect if row.suspect in vocabulary.suspects_of(str(row.symptom)) else SOMETHING_ELSE
        counts[str(listed), row.family if row.family in vocabulary.families else ""] += int(row.tickets)
    rows = [("", suspect, family, "", count) for (suspect, family), count in _noisy(counts, epsilon).items()]
    return pd.DataFrame(rows, columns=list(FAMILY_COLUMNS))


def epsilon_of_count(epsilon: float, threshold: int) -> float:
    """What each noisy count has of the epsilon of its bundle; without a threshold (1) all of them have noise."""
    return epsilon / TABLES if threshold == 1 else epsilon


def noise_variance(epsilon: float, threshold: int) -> float:
    """Variance of each noisy count, 0 without noise."""
    return laplace_variance(epsilon_of_count(epsilon, threshold)) if epsilon else 0.0


def check_epsilon(epsilon: float) -> None:
    """InputError for an epsilon that would hide nobody, or everything."""
    if not LEAST_EPSILON <= epsilon <= MOST_EPSILON:
        raise InputError(f"An epsilon of {epsilon:g} is not allowed. Give {LEAST_EPSILON:g} to {MOST_EPSILON:g}.")


def _noisy[Key: Hashable](counts: Mapping[Key, int], epsilon: float) -> dict[Key, int]:
    """The counts with noise of scale 1/epsilon; those that are 0 or less with it are left out."""
    # loading it takes longer than most verbs of the terminal do
    import opendp.prelude as dp

    dp.enable_features("contrib")
    add = dp.m.make_laplace(dp.vector_domain(dp.atom_domain(T="i64")), dp.l1_distance(T="i64"), scale=1.0 / epsilon)
    noisy = zip(counts, add(list(counts.values())), strict=True)
    return {key: int(count) for key, count in noisy if count > 0}
