"""Where one shop differs from others beyond chance: read from draws of the shops' effects."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from analytics.posterior import Posterior

# Ten failure modes are looked at in one glance. Called a difference only when the odds against chance are 99 to 1, so
# that of ten modes without any difference one is called falsely about once in ten looks.
SURE = 0.99


@dataclass(frozen=True)
class ModeDifference:
    """How a shop's odds of one failure mode stand to the others': factor with its 90 % interval (1 = alike).

    probability_more : P(factor > 1 | tickets)
    """

    mode: str
    factor: float
    low: float
    high: float
    probability_more: float

    @property
    def is_sure(self) -> bool:
        """Whether it is more than chance."""
        return max(self.probability_more, 1.0 - self.probability_more) >= SURE


def compare_shop(posterior: Posterior, shop: str, others: Sequence[str]) -> tuple[ModeDifference, ...]:
    """A shop beside the average of others, by failure mode; the surest difference first.

    Notes
    -----
    factor = exp(gamma[shop, mode] - mean over others of gamma[other, mode]), draw by draw. Both come from one
    hierarchical fit: a shop with few tickets is drawn to the others, so a lucky handful makes no difference.
    """
    positions = posterior.positions["shop"]
    gamma = posterior.arrays["gamma"]
    mean = gamma[:, [positions[other] for other in others]].mean(axis=1)
    factor = np.exp(gamma[:, positions[shop]] - mean)
    low, middle, high = np.quantile(factor, (0.05, 0.5, 0.95), axis=0)
    more = (factor > 1.0).mean(axis=0)
    modes = [str(mode) for mode in posterior.draws["mode"].values]
    found = [ModeDifference(*row) for row in zip(modes, *(v.tolist() for v in (middle, low, high, more)), strict=True)]
    return tuple(sorted(found, key=lambda one: -abs(one.probability_more - 0.5)))
