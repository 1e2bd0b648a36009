"""Suspects of thousands of cases in one go: the same odds as `suspects.belief`, one array pass per symptom."""

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import replace

import numpy as np
import pandas as pd

from analytics.case import Case
from analytics.posterior import Posterior
from analytics.suspects import belief, companion_likelihood, update_masses
from analytics.vocabulary import UNKNOWN_AGE, Vocabulary

# Draws behind an interval here; a 90 % interval from 200 draws is good to about a tenth of its width.
BATCH_DRAWS = 200
BLOCK_CASES = 500
TAIL = 0.05


def rank_many(posterior: Posterior, cases: Sequence[Case], vocabulary: Vocabulary) -> pd.DataFrame:
    """One row a case and suspect: case (position), suspect, probability, low_90, high_90; best suspect first.

    Cases of known age without checks, second symptoms or words share one pass; others are answered one by one.
    """
    plain, others = _sort_out(cases, vocabulary)
    parts = [_rank_one(posterior, cases[at], vocabulary, at) for at in others]
    for symptom, members in plain.items():
        figures = _ask(posterior, symptom, [cases[at] for at in members], vocabulary, _summarise)
        parts.append(_frame(posterior, symptom, np.array(members), figures))
    rows = pd.concat(parts, ignore_index=True)
    return rows.sort_values(["case", "probability"], ascending=[True, False], kind="stable", ignore_index=True)


def mean_odds(posterior: Posterior, cases: Sequence[Case], vocabulary: Vocabulary) -> list[np.ndarray]:
    """P(suspect | case) of every case, (suspect of its symptom's list,).

    Second symptoms tell the same in every draw, so the mean over draws can be taken before they are weighed.
    """
    apart = [replace(case, also_present=(), also_absent=()) for case in cases]
    plain, others = _sort_out(apart, vocabulary)
    odds: dict[int, np.ndarray] = {at: belief(posterior, apart[at], vocabulary).mean for at in others}
    for symptom, members in plain.items():
        (means,) = _ask(posterior, symptom, [apart[at] for at in members], vocabulary, _average)
        odds.update(zip(members, means, strict=True))
    return [update_masses(odds[at], companion_likelihood(posterior, case)) for at, case in enumerate(cases)]


def _sort_out(cases: Sequence[Case], vocabulary: Vocabulary) -> tuple[Mapping[str, list[int]], list[int]]:
    """Places of the plain cases by symptom, and of the others."""
    plain: dict[str, list[int]] = {}
    others = []
    for at, case in enumerate(cases):
        if _is_plain(case, vocabulary):
            plain.setdefault(case.symptom, []).append(at)
        else:
            others.append(at)
    return plain, others


def _is_plain(case: Case, vocabulary: Vocabulary) -> bool:
    told = case.results or case.also_present or case.also_absent or case.complaint
    return not told and vocabulary.age_band_of(case.age_years) != UNKNOWN_AGE


def _rank_one(posterior: Posterior, case: Case, vocabulary: Vocabulary, at: int) -> pd.DataFrame:
    found = belief(posterior, case, vocabulary)
    low, high = found.interval(1 - 2 * TAIL)
    return pd.DataFrame(
        {"case": at, "suspect": found.suspects, "probability": found.mean, "low_90": low, "high_90": high}
    )


def _ask(
    posterior: Posterior,
    symptom: str,
    cases: Sequence[Case],
    vocabulary: Vocabulary,
    figures_of: Callable[[np.ndarray], np.ndarray],
) -> np.ndarray:
    """(figure, case, suspect) of plain cases of one symptom; equal contexts are worked out once."""
    keys = np.array([_context(posterior, case, vocabulary) for case in cases])
    contexts, at = np.unique(keys, axis=0, return_inverse=True)
    blocks = [figures_of(odds) for odds in _odds_in_blocks(posterior, symptom, contexts)]
    return np.concatenate(blocks, axis=1)[:, at.reshape(-1)]


def _odds_in_blocks(posterior: Posterior, symptom: str, contexts: np.ndarray) -> Iterator[np.ndarray]:
    """(draw, context, suspect) odds, not yet shares, of some hundred contexts at a time."""
    arrays, links = posterior.arrays, posterior.links_by_symptom[posterior.positions["symptom"][symptom]]
    every = max(1, posterior.draw_count // BATCH_DRAWS)
    suspect, mode = arrays["link_suspect"][links], arrays["link_mode"][links]
    newcomer = (arrays["new_family"][::every, None, :], arrays["new_shop"][::every, None, :])
    # exp of a sum is a product of exps, and there are far fewer families, shops and ages than cases
    family = np.exp(np.concatenate([arrays["beta"][::every], newcomer[0]], axis=1)[:, :, suspect].astype(np.float32))
    shop = np.exp(np.concatenate([arrays["gamma"][::every], newcomer[1]], axis=1)[:, :, mode].astype(np.float32))
    link = np.exp(arrays["alpha"][::every][:, links].astype(np.float32))
    age = np.exp(arrays["age_effect"][::every][:, links].astype(np.float32))
    for f, h, a in (block.T for block in np.array_split(contexts, -(-len(contexts) // BLOCK_CASES))):
        yield link[:, None, :] * family[:, f] * shop[:, h] * age[:, :, a].transpose(0, 2, 1)


def _frame(posterior: Posterior, symptom: str, members: np.ndarray, figures: np.ndarray) -> pd.DataFrame:
    """Rows of `rank_many` of the cases at `members`."""
    links = posterior.links_by_symptom[posterior.positions["symptom"][symptom]]
    names = posterior.draws["suspect"].values[posterior.arrays["link_suspect"][links]]
    mean, low, high = figures.reshape(3, -1)
    return pd.DataFrame(
        {
            "case": np.repeat(members, len(links)),
            "suspect": np.tile(names, len(members)),
            "probability": mean,
            "low_90": low,
            "high_90": high,
        }
    )


def _context(posterior: Posterior, case: Case, vocabulary: Vocabulary) -> tuple[int, int, int]:
    positions, sizes = posterior.positions, posterior.draws.sizes
    return (
        positions["family"].get(case.family, sizes["family"]),
        positions["shop"].get(case.shop, sizes["shop"]),
        positions["age"][vocabulary.age_band_of(case.age_years)],
    )


def _summarise(odds: np.ndarray) -> np.ndarray:
    """(3, case, suspect): mean, low, high of (draw, case, suspect) odds."""
    share = odds / odds.sum(2, keepdims=True)
    low, high = int(TAIL * len(share)), int((1 - TAIL) * len(share))
    ordered = np.partition(share, (low, high), axis=0)
    return np.stack([share.mean(0), ordered[low], ordered[high]])


def _average(odds: np.ndarray) -> np.ndarray:
    """(1, case, suspect): mean of (draw, case, suspect) odds."""
    return (odds / odds.sum(2, keepdims=True)).mean(0, keepdims=True)
