"""Effects in the form in which new tickets move them, and back.

What families and shops depart by counts in units of its spread, and the spread moves with it: a draw that takes shops
for alike is moved less than one that does not, and tickets that show shops to be alike draw all of them in. (An
ensemble with its scales, not centred: Chada, Iglesias, Roininen and Stuart, Inverse Problems 34, 2018.)
"""

from collections.abc import Mapping

import numpy as np

from analytics.posterior import Posterior

TERMS = ("family", "shop")
# array of effects -> the term that has their spread
TERM_OF = {"beta": "family", "new_family": "family", "gamma": "shop", "new_shop": "shop"}


def take_effects(posterior: Posterior) -> dict[str, np.ndarray]:
    """Copies of the effects that tickets move: alpha, age_effect; misread as logits; log_spread (draw, `TERMS`); those
    of `TERM_OF` in units of their spread.
    """
    arrays = posterior.arrays
    effects = {name: arrays[name].copy() for name in ("alpha", "age_effect")}
    effects["misread"] = to_logit(arrays["misread"])
    effects["log_spread"] = np.log(arrays["spread"][:, _columns(posterior)], order="C")
    for name in TERM_OF:
        effects[name] = _times(arrays[name], 1.0 / own_spread(effects, name))
    return effects


def give_effects(effects: Mapping[str, np.ndarray], posterior: Posterior) -> dict[str, np.ndarray]:
    """The arrays of a posterior that the moved effects replace."""
    spread = posterior.arrays["spread"].copy()
    spread[:, _columns(posterior)] = np.exp(effects["log_spread"])
    return {
        "alpha": effects["alpha"],
        "age_effect": effects["age_effect"],
        "misread": to_rate(effects["misread"]),
        "spread": spread,
        **{name: _times(effects[name], own_spread(effects, name)) for name in TERM_OF},
    }


def own_spread(effects: Mapping[str, np.ndarray], name: str) -> np.ndarray:
    """(draw,): what one unit of these effects is in log odds."""
    return np.exp(effects["log_spread"][:, TERMS.index(TERM_OF[name])])


def to_logit(rate: np.ndarray) -> np.ndarray:
    """Probabilities -> logits; stored draws are rounded, so 0 and 1 are only nearly so."""
    inside = np.clip(rate, 1e-6, 1.0 - 1e-6)
    return np.log(inside / (1.0 - inside))


def to_rate(logit: np.ndarray) -> np.ndarray:
    """The inverse of `to_logit`."""
    return 1.0 / (1.0 + np.exp(-logit))


def _columns(posterior: Posterior) -> list[int]:
    terms = posterior.draws["term"].values.tolist()
    return [terms.index(term) for term in TERMS]


def _times(values: np.ndarray, factor: np.ndarray) -> np.ndarray:
    """values (draw, ...), each draw times its factor (draw,)."""
    return (values.T * factor).T
