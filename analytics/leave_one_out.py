"""How well a model foretells a ticket it has not seen, without fitting again for each: leave-one-out by reweighting."""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from arviz_stats.base import array_stats

from analytics.pointwise import TicketScores
from analytics.posterior import Posterior

# Above it the estimate for a ticket cannot be relied on. Vehtari, Simpson, Gelman, Yao and Gabry, JMLR 25 (2024).
HIGHEST_KHAT = 0.7
NO_VARIATION = 1e-12


@dataclass(frozen=True, eq=False)
class LeftOut:
    """log_score (cell,) ln P(ticket | all other tickets); weight (cell,) tickets; khat (cell,) Pareto shape."""

    log_score: np.ndarray
    weight: np.ndarray
    khat: np.ndarray

    @property
    def unreliable_share(self) -> float:
        """Share of tickets whose estimate is not to be relied on."""
        return float(self.weight[self.khat > HIGHEST_KHAT].sum() / self.weight.sum())


@dataclass(frozen=True)
class Difference:
    """Log scores summed over tickets, one model less the other, with standard error; negative: the first is worse."""

    nats: float
    standard_error: float


def leave_tickets_out(scores: TicketScores) -> LeftOut:
    """One ticket of each cell left out, by Pareto-smoothed importance sampling.

    Notes
    -----
    Vehtari, Gelman and Gabry, Statistics and Computing 27 (2017). Left out is one ticket, not its whole cell; what it
    told about checks and minutes stays in.
    """
    score, khat = scores.log_likelihood.mean(axis=1), np.full(len(scores.weight), -np.inf)
    # a ticket that could not be otherwise (a list of one suspect) is foretold alike by all draws: no tail to smooth
    varied = np.ptp(scores.log_likelihood, axis=1) > NO_VARIATION
    if varied.any():
        told = scores.log_likelihood[varied]
        # psislw takes log likelihoods and turns their sign itself
        weights, khat[varied] = array_stats.psislw(told)
        score[varied] = np.logaddexp.reduce(weights + told, axis=1)
    return LeftOut(score, scores.weight, khat)


def count_left_out(scores: TicketScores, posterior: Posterior) -> np.ndarray:
    """(cell,) ln P of each named ticket if every symptom's written suspects were only counted, one added to each; nan
    for unresolved ones. Exact: (n - 1 + 1) / (N - 1 + suspects).
    """
    links = len(posterior.arrays["link_symptom"])
    symptom = posterior.arrays["link_symptom"]
    link, weight = scores.link[scores.is_named], scores.weight[scores.is_named]
    count = np.bincount(link, weight, links)
    total = np.bincount(symptom, count)[symptom] + np.bincount(symptom)[symptom]
    chance = (np.maximum(count - 1.0, 0.0) + 1.0) / np.maximum(total - 1.0, 1.0)
    score = np.full(len(scores.link), np.nan)
    score[scores.is_named] = np.log(chance[link])
    return score


def compare_scores(first: np.ndarray, second: np.ndarray, weight: np.ndarray) -> Difference:
    """`first` less `second`, both (cell,); cells where either is nan are left out."""
    known = ~np.isnan(first + second)
    difference, weight = (first - second)[known], weight[known]
    count = weight.sum()
    mean = (weight * difference).sum() / count
    variance = (weight * (difference - mean) ** 2).sum() / count
    return Difference(float(mean * count), float(np.sqrt(variance * count)))


def simpler_scores(models: Mapping[str, TicketScores], full: LeftOut) -> dict[str, Difference]:
    """Name -> what leaving a term out costs (negative) or gains, on the same tickets."""
    return {
        name: compare_scores(leave_tickets_out(scores).log_score, full.log_score, full.weight)
        for name, scores in models.items()
    }
