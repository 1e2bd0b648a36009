"""The same complaint again: how often it is the same suspect again, learnt from the shop's own comebacks."""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

# A machine that comes back later than this is taken for an ordinary ticket; so is the count of pairs learnt from.
COMEBACK_DAYS = 365
# Before any pair was seen the same suspect again is as likely as not: Beta(1, 1). A failure mode is drawn towards all
# modes as if ten pairs of its own agreed with them. Common practice, no source.
EVEN_PAIRS, MODE_PAIRS = 1.0, 10.0


@dataclass(frozen=True)
class Pairs:
    """Comebacks with both suspects confirmed: how many had the same suspect again, and how many another."""

    same: float = 0.0
    other: float = 0.0


def chance_again(pairs: Mapping[str, Pairs], mode: str) -> float:
    """P(the same suspect again | the machine came back with the same symptom) for a failure mode.

    Beta-binomial in two steps: all pairs with `EVEN_PAIRS` each way give the share of all; that share, worth
    `MODE_PAIRS` pairs, is the prior of each failure mode (BDA3, section 2.4, conjugate beta; two steps instead of a
    full hierarchy: a shop has few comebacks).

    Parameters
    ----------
    pairs : failure mode of the first suspect -> its pairs ("" = suspects without one)
    """
    same = sum(one.same for one in pairs.values())
    other = sum(one.other for one in pairs.values())
    of_all = (same + EVEN_PAIRS) / (same + other + 2.0 * EVEN_PAIRS)
    own = pairs.get(mode, Pairs())
    return (own.same + MODE_PAIRS * of_all) / (own.same + own.other + MODE_PAIRS)


def comeback_factor(base: np.ndarray, at: int, again: float) -> np.ndarray:
    """(suspect,) factor on the belief: the same suspect gets again / its base share, the others the rest in proportion.

    Parameters
    ----------
    base : (suspect,) shares without knowing of the last repair; sum to 1
    at : position of the suspect confirmed last time
    again : P(the same suspect again)

    Notes
    -----
    base * factor sums to 1 and gives `again` to the suspect `at`; own derivation, total probability.
    """
    share = float(np.clip(base[at], 1e-9, 1.0 - 1e-9))
    factor = np.full(len(base), (1.0 - again) / (1.0 - share))
    factor[at] = again / share
    return factor
