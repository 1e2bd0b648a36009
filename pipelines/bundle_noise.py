"""Noise with a stated epsilon on the counts of a bundle, by OpenDP's discrete Laplace."""

import math

import pandas as pd

from analytics.errors import InputError
from analytics.rollup_cells import BUNDLE_COLUMNS, MIXED_GRADE
from analytics.vocabulary import SOMETHING_ELSE, UNKNOWN_AGE, Vocabulary

# Above this the noise hides nobody; below, it hides every count of a workshop.
LEAST_EPSILON, MOST_EPSILON = 0.05, 10.0


def add_noise(tickets: pd.DataFrame, vocabulary: Vocabulary, *, epsilon: float) -> pd.DataFrame:
    """Noisy counts of every (symptom, suspect) of the vocabulary, in `rollup.BUNDLE_COLUMNS`; negative ones become 0.

    Parameters
    ----------
    tickets : frame of `BUNDLE_COLUMNS`, each ticket in exactly one row
    epsilon : adding or removing one ticket changes the probability of any result by at most the factor exp(epsilon)

    Notes
    -----
    The table of counts has a shape that no ticket decides: family, age and grade are left out, symptoms and suspects
    come from the vocabulary, and so do those that never occurred. One ticket changes one count by one, so discrete
    Laplace noise of scale 1/epsilon gives epsilon-differential privacy (Dwork and Roth, The Algorithmic Foundations of
    Differential Privacy, 2014, section 3.3; Ghosh, Roughgarden, Sundararajan, SIAM J. Comput. 41, 2012). Clipping and
    rolling up after it cost nothing more. Unresolved tickets count once a symptom.
    """
    if not LEAST_EPSILON <= epsilon <= MOST_EPSILON:
        raise InputError(f"An epsilon of {epsilon:g} is not allowed. Give {LEAST_EPSILON:g} to {MOST_EPSILON:g}.")
    keys = [(s, k) for s in vocabulary.symptoms for k in (*vocabulary.suspects_of(s), "")]
    counts = dict.fromkeys(keys, 0)
    for row in tickets.itertuples(index=False):
        listed = row.suspect if (row.symptom, row.suspect) in counts else SOMETHING_ELSE
        counts[str(row.symptom), str(listed)] += int(row.tickets)
    # loading it takes longer than most verbs of the terminal do
    import opendp.prelude as dp

    dp.enable_features("contrib")
    noisy = dp.m.make_laplace(dp.vector_domain(dp.atom_domain(T="i64")), dp.l1_distance(T="i64"), scale=1.0 / epsilon)(
        list(counts.values())
    )
    rows = [
        (symptom, "", UNKNOWN_AGE, suspect, MIXED_GRADE if suspect else "", "", "", count)
        for (symptom, suspect), count in zip(keys, noisy, strict=True)
        if count > 0
    ]
    return pd.DataFrame(rows, columns=list(BUNDLE_COLUMNS))


def noise_variance(epsilon: float) -> float:
    """Variance of the discrete Laplace distribution of scale 1/epsilon: 2 p / (1 - p)^2, p = exp(-epsilon)."""
    p = math.exp(-epsilon)
    return 2.0 * p / (1.0 - p) ** 2
