"""Families and shops that the fit has never met become members of their own, so that their tickets can move them."""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import xarray as xr

from analytics.evidence import Evidence
from analytics.live_effects import to_logit, to_rate
from analytics.posterior import Posterior
from analytics.terms import Priors


def add_newcomers(posterior: Posterior, evidence: Evidence) -> Posterior:
    """The posterior with a row for every family and shop of the evidence; the same object when it has them all."""
    families = [code for code in evidence.families if code not in posterior.positions["family"]]
    shops = [code for code in evidence.shops if code not in posterior.positions["shop"]]
    if not families and not shops:
        return posterior
    arrays, draws = posterior.arrays, posterior.draws
    # the last row of age_share is that of a family nobody knows
    share = arrays["age_share"]
    ages = np.concatenate([share[:-1], np.repeat(share[-1:], len(families) + 1, axis=0)])
    grown = {
        "beta": (draws["beta"].dims, _joined(arrays["beta"], arrays["new_family"], len(families))),
        "gamma": (draws["gamma"].dims, _joined(arrays["gamma"], arrays["new_shop"], len(shops))),
        "misread": (draws["misread"].dims, _joined_misread(arrays["misread"], len(shops))),
        "age_share": (draws["age_share"].dims, ages),
    }
    kept = draws.drop_vars([*grown, "family", "shop"])
    coords = {"family": _codes(draws["family"], families), "shop": _codes(draws["shop"], shops)}
    return replace(posterior, draws=kept.assign(grown).assign_coords(coords))


def _joined(members: np.ndarray, newcomer: np.ndarray, count: int) -> np.ndarray:
    """(draw, member + count, code): each newcomer takes the draws from another start, so that no two are alike."""
    rows = [np.roll(newcomer, at * (len(newcomer) // (count + 1)), axis=0)[:, None] for at in range(count)]
    return np.concatenate([members, *rows], axis=1)


def _joined_misread(misread: np.ndarray, count: int) -> np.ndarray:
    """(draw, grade, shop + count): a new shop guesses as often as the others do on average."""
    if misread.shape[2]:
        usual = to_rate(to_logit(misread).mean(axis=2, keepdims=True))
    else:
        usual = np.broadcast_to(to_rate(np.array(Priors().misread_mean))[:, None], (*misread.shape[:2], 1))
    return np.concatenate([misread, *[usual] * count], axis=2)


def _codes(known: xr.DataArray, added: Sequence[str]) -> np.ndarray:
    return np.array([*map(str, known.values), *added], dtype=object)
