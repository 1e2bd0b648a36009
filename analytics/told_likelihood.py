"""What tickets without a confirmed suspect say about each: the product over their checks and other symptoms."""

from collections.abc import Callable, Sequence
from functools import cache

import numpy as np
import pandas as pd

from analytics.check_rates import CheckTable, check_likelihood, shrunken_rates
from analytics.companions import companion_likelihood
from analytics.evidence import SUSPECT_MARK, read_possible

# How often a suspect that was rolled up may have been a guess among its symptom's list: what the model believes before
# the fit of a ticket whose machine worked again (see `terms.Priors.misread_mean`).
ROLLED_UP_GUESS = 0.05


def told_by_cells(
    placed: pd.DataFrame,
    lists: Sequence[np.ndarray],
    codes: tuple[tuple[str, ...], tuple[str, ...]],
    *,
    checks: CheckTable,
    companions: np.ndarray,
) -> np.ndarray:
    """P(told | suspect) by cell, up to a factor a cell: one-hot where a suspect is written.

    Parameters
    ----------
    placed : frame with symptom (position), slot (-1: no suspect), results, others; see `model_inputs`
    lists : (slot,) positions of the suspects, for each symptom
    codes : of all symptoms and of all suspects
    companions : (suspect, symptom) P(another symptom is present | suspect)

    Returns
    -------
    array (cell, slot), zero beyond a symptom's list.
    """
    symptoms, suspects = codes
    likelihood = np.zeros((len(placed), max(len(listed) for listed in lists)))
    named = (placed["slot"] >= 0).to_numpy()
    likelihood[named, placed["slot"].to_numpy()[named]] = 1.0
    unresolved, rows = placed[~named], np.flatnonzero(~named)
    told_by_check, told_by_other = _by_check(checks), _by_other(companions, symptoms)
    for (symptom, results, others), cells in unresolved.groupby(["symptom", "results", "others"]).indices.items():
        listed = lists[symptom]
        if SUSPECT_MARK in results:
            likelihood[rows[cells], : len(listed)] = _among(read_possible(results), listed, suspects)
            continue
        product = np.ones(checks.suspect_count)
        for pair in others.split(";") if others else ():
            product = product * told_by_other(pair)
        for pair in results.split(";") if results else ():
            product = product * told_by_check(pair)
        among = product[listed]
        likelihood[rows[cells], : len(listed)] = among / among.max()
    return likelihood


def _by_check(checks: CheckTable) -> Callable[[str], np.ndarray]:
    """ "check=outcome" -> P(outcome | suspect), (suspect,), worked out once: tickets repeat few of them many times."""
    rates = shrunken_rates(checks)

    @cache
    def told(pair: str) -> np.ndarray:
        check, _, outcome = pair.partition("=")
        return check_likelihood(rates, checks, check=check, outcome=outcome)

    return told


def _by_other(companions: np.ndarray, symptoms: tuple[str, ...]) -> Callable[[str], np.ndarray]:
    """ "symptom=present" or "symptom=absent" -> its probability by suspect, (suspect,), worked out once."""
    suspects = np.arange(len(companions))

    @cache
    def told(pair: str) -> np.ndarray:
        code, _, presence = pair.partition("=")
        return companion_likelihood(companions, [(symptoms.index(code), presence == "present")], suspects)

    return told


def _among(possible: tuple[str, ...], listed: np.ndarray, suspects: tuple[str, ...]) -> np.ndarray:
    """(slot,) P(written down as one of `possible` | suspect): it is one of them, or it was a guess."""
    inside = np.array([suspects[at] in possible for at in listed])
    return (1.0 - ROLLED_UP_GUESS) * inside + ROLLED_UP_GUESS * inside.mean()
