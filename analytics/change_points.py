"""Whether a series changed, and when: marginal likelihood of one stretch against two, again within each stretch."""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from scipy.special import betaln, gammaln, logsumexp

# Before looking: a change inside a stretch is held to be four times less likely than none, anywhere alike.
PRIOR_ODDS = 0.25
# A change is named from this probability on. The evidence must then favour it 76 to 1, and evidence of c to 1 comes
# about by chance at most once in c (Markov's inequality; see Royall (2000), "On the probability of observing
# misleading statistical evidence", from memory): at most 1 constant series in 76 is called changed.
NAMED_FROM = 0.95
LONGEST_FALSE_ALARM_RATE = PRIOR_ODDS * (1.0 - NAMED_FROM) / NAMED_FROM
# Shorter stretches than this many periods are not told apart.
LEAST_PERIODS = 2
# Before looking: minutes of a repair lie around an hour, by a factor of about two; worth a quarter of a ticket.
_MIDDLE, _WORTH, _SHAPE, _SCALE = float(np.log(60.0)), 0.25, 2.0, 1.0

type Score = Callable[[int, int], float]


@dataclass(frozen=True)
class Change:
    """A change between period `at` - 1 and period `at`, with its probability given the periods from `first` to
    `last` (the stretch that was looked at, `last` not included).
    """

    at: int
    probability: float
    first: int
    last: int


def change_in_shares(hits: np.ndarray, tries: np.ndarray) -> tuple[Change, ...]:
    """Changes in a share, period by period; in each stretch the share is held constant, any share alike before.

    Notes
    -----
    Marginal likelihood of a stretch: B(1 + hits, 1 + misses), the beta-binomial with shapes 1 and 1.
    """
    hit, miss = _cumulated(hits), _cumulated(np.asarray(tries) - np.asarray(hits))

    def score(first: int, last: int) -> float:
        return float(betaln(1.0 + hit[last] - hit[first], 1.0 + miss[last] - miss[first]))

    return find_changes(score, len(tries))


def change_in_minutes(count: np.ndarray, log_sum: np.ndarray, log_square_sum: np.ndarray) -> tuple[Change, ...]:
    """Changes in log minutes, period by period: normal in each stretch, with a middle and a spread of its own.

    Notes
    -----
    Marginal likelihood under a normal-inverse-gamma prior: Murphy (2007), "Conjugate Bayesian analysis of the
    Gaussian distribution", equation 95 in the form with shape and scale; from memory.
    """
    n, total, squares = _cumulated(count), _cumulated(log_sum), _cumulated(log_square_sum)

    def score(first: int, last: int) -> float:
        return normal_evidence(n[last] - n[first], total[last] - total[first], squares[last] - squares[first])

    return find_changes(score, len(count))


def normal_evidence(count: float, total: float, square_sum: float) -> float:
    """Log marginal likelihood of `count` normal numbers by their sum and sum of squares; 0 for none."""
    if count <= 0:
        return 0.0
    mean = total / count
    worth, shape = _WORTH + count, _SHAPE + count / 2.0
    around = max(square_sum - count * mean**2, 0.0)
    scale = _SCALE + around / 2.0 + _WORTH * count * (mean - _MIDDLE) ** 2 / (2.0 * worth)
    return float(
        gammaln(shape)
        - gammaln(_SHAPE)
        + _SHAPE * np.log(_SCALE)
        - shape * np.log(scale)
        + 0.5 * np.log(_WORTH / worth)
        - count / 2.0 * np.log(2.0 * np.pi)
    )


def find_changes(score: Score, length: int) -> tuple[Change, ...]:
    """Changes that the evidence carries, in their order; none is the usual answer.

    Parameters
    ----------
    score : log marginal likelihood of the periods from the first number up to, not including, the second
    length : number of periods
    """
    return tuple(sorted(_within(score, 0, length), key=lambda change: change.at))


def change_probability(score: Score, first: int, last: int) -> tuple[float, int]:
    """P(some change inside the stretch) and the likeliest place of it; 0 where the stretch is too short."""
    places = range(first + LEAST_PERIODS, last - LEAST_PERIODS + 1)
    if not len(places):
        return 0.0, first
    two = np.array([score(first, at) + score(at, last) for at in places])
    # the place is unknown, any one alike: the mean of the likelihoods, not the largest
    log_odds = np.log(PRIOR_ODDS) + logsumexp(two) - np.log(len(places)) - score(first, last)
    return float(1.0 / (1.0 + np.exp(-np.clip(log_odds, -700.0, 700.0)))), places[int(two.argmax())]


def _within(score: Score, first: int, last: int) -> list[Change]:
    probability, at = change_probability(score, first, last)
    if probability < NAMED_FROM:
        return []
    here = Change(at, probability, first, last)
    return [here, *_within(score, first, at), *_within(score, at, last)]


def _cumulated(values: np.ndarray) -> np.ndarray:
    return np.concatenate([[0.0], np.cumsum(np.asarray(values, dtype=float))])
