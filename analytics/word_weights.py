"""Softmax regression on words with what is believed already as a fixed offset, judged on texts it has not seen."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from scipy.optimize import minimize
from scipy.special import log_softmax

# How far a word may reach: sd of a weight in log odds, for a text that is this one word.
REACHES = (0.5, 1.0, 2.0, 4.0)
TEMPERATURES = np.linspace(0.0, 1.5, 31)
FOLDS = 5
# Reach and temperature are two numbers: this many texts place them, and choosing stays quick.
JUDGED_TEXTS = 3_000
# Where a descent may stop, as a share of the loss; weights that are only compared may stop at a hundred times that.
TOLERANCE, COMPARED_TOLERANCE = 1e-7, 1e-5


@dataclass(frozen=True, eq=False)
class TextBlock:
    """Texts that choose among the same classes.

    rows (text, term) sparse; listed (choice,) positions of the classes; target (text, choice) what it was, rows sum to
    1; offset (text, choice) log belief without the words; fold (text,) -1 for texts that are learnt from, never judged.
    """

    rows: Any
    listed: np.ndarray
    target: np.ndarray
    offset: np.ndarray
    fold: np.ndarray


@dataclass(frozen=True, eq=False)
class LearntWords:
    """weight (class, term) with the temperature in it; gain: nats per text against the offset alone, out of sample."""

    weight: np.ndarray
    temperature: float
    gain: float


def fit_weights(
    blocks: Sequence[TextBlock],
    shape: tuple[int, int],
    *,
    reach: float,
    start: np.ndarray,
    tolerance: float = TOLERANCE,
) -> np.ndarray:
    """Weights (class, term) at the mode: P(class) ~ exp(offset + words . weight), weights normal with sd `reach`."""

    parts, used = _met_weights(blocks, shape[1])

    def loss(weight: np.ndarray) -> tuple[float, np.ndarray]:
        total, gradient = 0.5 * float(weight @ weight) / reach**2, weight / reach**2
        for block, rows, at in parts:
            log_p = log_softmax(block.offset + rows @ weight[at], axis=1)
            total -= float((block.target * log_p).sum())
            gradient[at] += rows.T @ (np.exp(log_p) - block.target)
        return total, gradient

    options = {"maxiter": 200, "ftol": tolerance, "maxcor": 6}
    found = np.zeros(shape[0] * shape[1])
    found[used] = minimize(loss, start.ravel()[used], jac=True, method="L-BFGS-B", options=options).x
    return found.reshape(shape)


def _met_weights(
    blocks: Sequence[TextBlock], term_count: int
) -> tuple[list[tuple[TextBlock, Any, np.ndarray]], np.ndarray]:
    """Each block with its rows by the terms it has and the places (term, choice) of their weights among the used ones.

    A weight that no text of its class's blocks meets stays zero, so the descent need not carry it.
    """
    met = [np.unique(block.rows.indices) for block in blocks]
    places = [terms[:, None] + term_count * np.asarray(block.listed) for block, terms in zip(blocks, met, strict=True)]
    used, at = np.unique(np.concatenate([place.ravel() for place in places]), return_inverse=True)
    ends = np.cumsum([place.size for place in places])[:-1]
    numbers = [part.reshape(place.shape) for part, place in zip(np.split(at.ravel(), ends), places, strict=True)]
    rows = [block.rows[:, terms] for block, terms in zip(blocks, met, strict=True)]
    return list(zip(blocks, rows, numbers, strict=True)), used


def learn_weights(blocks: Sequence[TextBlock], shape: tuple[int, int]) -> LearntWords:
    """Weights whose reach and temperature do best on texts left out, fold by fold.

    The gain is judged once more apart: each fold with the reach and temperature that the other folds chose.
    """
    judged = _thinned(blocks)
    lost = _left_out_losses(judged, shape)
    by_choice = lost.sum(2)
    reach_at, temperature_at = np.unravel_index(by_choice.argmin(), by_choice.shape)
    weight, temperature = np.zeros(shape), float(TEMPERATURES[temperature_at])
    if temperature:
        weight = temperature * fit_weights(blocks, shape, reach=REACHES[reach_at], start=weight)
    text_count = sum(int((block.fold >= 0).sum()) for block in judged)
    return LearntWords(weight, temperature, _honest_gain(lost) / text_count)


def _left_out_losses(blocks: Sequence[TextBlock], shape: tuple[int, int]) -> np.ndarray:
    """(reach, temperature, fold) summed log loss of the texts of a fold under weights learnt without it."""
    lost = np.zeros((len(REACHES), len(TEMPERATURES), FOLDS))
    for fold in range(FOLDS):
        kept, judged = [_part(b, b.fold != fold) for b in blocks], [_part(b, b.fold == fold) for b in blocks]
        weight = np.zeros(shape)
        for at, reach in enumerate(REACHES):
            weight = fit_weights(kept, shape, reach=reach, start=weight, tolerance=COMPARED_TOLERANCE)
            lost[at, :, fold] = sum(_losses(block, weight) for block in judged)
    return lost


def _losses(block: TextBlock, weight: np.ndarray) -> np.ndarray:
    """(temperature,) summed log loss."""
    told = block.rows @ weight[block.listed].T
    log_p = log_softmax(block.offset + TEMPERATURES[:, None, None] * told, axis=2)
    return -(block.target * log_p).sum((1, 2))


def _honest_gain(lost: np.ndarray) -> float:
    """Nats over all judged texts, TEMPERATURES[0] = 0 being the offset alone."""
    gain = 0.0
    for fold in range(FOLDS):
        others = lost.sum(2) - lost[:, :, fold]
        gain += lost[0, 0, fold] - lost[:, :, fold].ravel()[others.argmin()]
    return float(gain)


def _thinned(blocks: Sequence[TextBlock]) -> list[TextBlock]:
    """About `JUDGED_TEXTS` texts, by runs of `FOLDS` rows: single rows in step with the folds would empty some."""
    every = max(1, -(-sum(len(b.fold) for b in blocks) // JUDGED_TEXTS))
    return [_part(b, (b.fold < 0) | (np.arange(len(b.fold)) // FOLDS % every == 0)) for b in blocks]


def _part(block: TextBlock, chosen: np.ndarray) -> TextBlock:
    at = np.flatnonzero(chosen)
    return replace(block, rows=block.rows[at], target=block.target[at], offset=block.offset[at], fold=block.fold[at])
