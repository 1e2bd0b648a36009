"""What may be expected of counts of which only the sum is known, and that each of them is small."""

import numpy as np
from scipy.special import gammaln


def expected_counts(rates: np.ndarray, total: float, most: int) -> np.ndarray:
    """E[n_i | the n_i add up to `total` and none exceeds `most`], n_i Poisson counts in proportion to `rates`.

    Parameters
    ----------
    rates : (count,) positive, in any unit: a common factor cancels
    total : their sum; 0 gives zeros
    most : the largest count that would have been hidden. Where the sum cannot be reached with it, it is ignored.

    Returns
    -------
    (count,) expectations that add up to `total`.

    Notes
    -----
    A count is hidden because it is small. To share the sum in proportion to the rates alone would give a suspect that
    another shop has shown more and more of what this one has hidden, and one that nobody has shown nothing.

    Examples
    --------
    >>> expected_counts(np.array([10.0, 1.0, 1.0]), 6, 4).round(2).tolist()
    [3.73, 1.14, 1.14]
    """
    share = rates / rates.sum()
    whole = round(total)
    if whole != total or whole > most * len(rates) or most >= whole:
        return share * total
    counts = np.arange(most + 1)
    chances = np.exp(counts * np.log(share[:, None] * total) - gammaln(counts + 1))
    before = [np.ones(1), *(np.ones(1) for _ in share)]
    after = [np.ones(1) for _ in range(len(share) + 1)]
    for at in range(len(share)):
        before[at + 1] = np.convolve(before[at], chances[at])[: whole + 1]
        after[len(share) - at - 1] = np.convolve(after[len(share) - at], chances[-at - 1])[: whole + 1]
    others = (np.convolve(before[at], after[at + 1]) for at in range(len(share)))
    found = np.array([_mean_count(chance, other, whole) for chance, other in zip(chances, others, strict=True)])
    return found / found.sum() * total


def _mean_count(chance: np.ndarray, others: np.ndarray, total: int) -> float:
    """Mean of one count, by the chance of each of its values and of what the others then add up to."""
    padded = np.zeros(max(total + 1, len(others)))
    padded[: len(others)] = others
    joint = chance * padded[total - np.arange(len(chance))]
    return float(joint @ np.arange(len(chance)) / joint.sum())
