"""From draws of coefficients to what readers get: effects, rates and positions by name."""

from dataclasses import dataclass
from functools import cache
from typing import Any

import numba
import numpy as np
import xarray as xr
from numba import types

from analytics import effects, packing
from analytics.centring import make_centring
from analytics.draw_layout import layout_coords, layout_positions
from analytics.effects import EFFECT_DIMS, assemble
from analytics.kernels import fingerprint
from analytics.log_likelihood import pack_evidence
from analytics.model_inputs import ModelInputs
from analytics.posterior import Diagnostics, Posterior
from analytics.priors import LinkPrior
from analytics.terms import Priors

# Enough for a 90 % interval of a probability to be good to a percentage point, few enough to serve in milliseconds.
STORED_DRAWS = 600


@dataclass(frozen=True, eq=False)
class Draws:
    """Draws of the model's variables: coefficient (draw, coefficient), spread (draw, learned spread), minutes_spread
    (draw,), parent_unit (draw, parent).
    """

    coefficient: np.ndarray
    spread: np.ndarray
    minutes_spread: np.ndarray
    parent_unit: np.ndarray


def make_posterior(
    drawn: Draws,
    inputs: ModelInputs,
    link_prior: LinkPrior,
    *,
    priors: Priors,
    diagnostics: Diagnostics,
    rng: np.random.Generator,
    fit_id: str,
) -> Posterior:
    """Coefficients turned into effects; a newcomer's effects are drawn with `rng`."""
    terms = list(make_centring(inputs, priors).spread_names)
    spread = xr.DataArray(drawn.spread, dims=("draw", "term"), coords={"term": terms})
    draws = xr.Dataset(
        {
            **_effects(drawn.coefficient, inputs, link_prior, priors),
            **_newcomers(spread, inputs, rng),
            "spread": spread,
            "minutes_spread": (("draw",), drawn.minutes_spread),
            "coefficient_value": (("draw", "coefficient"), drawn.coefficient.astype(np.float32)),
            "parent_unit": (("draw", "parent"), drawn.parent_unit.astype(np.float32)),
            **layout_positions(inputs),
        },
        coords=layout_coords(inputs),
    )
    return Posterior(fit_id, draws, diagnostics, ticket_count=round(inputs.ticket_count))


def compile_assembly() -> None:
    """Compiles the assembly of effects and keeps it on disk, as installing does."""
    _assembler()


def _make_assembler(mark: int) -> Any:
    signature = (types.float64[::1], types.float64[::1], types.int32[::1], types.int32[:, ::1])

    @numba.njit(signature, cache=True)
    def assemble_one(x: Any, numbers: Any, indices: Any, places: Any) -> Any:
        return assemble(x if mark >= 0 else x[:0], (numbers, indices, places))

    return assemble_one


@cache
def _assembler() -> Any:
    return _make_assembler(fingerprint(effects, packing))


def _effects(
    coefficient: np.ndarray, inputs: ModelInputs, link_prior: LinkPrior, priors: Priors
) -> dict[str, tuple[tuple[str, ...], np.ndarray]]:
    packed = pack_evidence(inputs, link_prior, priors)
    assemble_one = _assembler()
    built = [assemble_one(one, *packed.data) for one in np.ascontiguousarray(coefficient, dtype=np.float64)]
    arrays = {name: np.stack([row[at] for row in built]) for at, name in enumerate(EFFECT_DIMS)}
    # the last family and shop are the unknown one, for which readers draw a newcomer instead
    arrays["beta"], arrays["gamma"] = arrays["beta"][:, :-1], arrays["gamma"][:, :-1]
    arrays["misread_logit"] = arrays["misread_logit"][:, :, :-1]
    out: dict[str, tuple[tuple[str, ...], np.ndarray]] = {}
    for name, values in arrays.items():
        dims = ("draw", *EFFECT_DIMS[name])
        if name.endswith("_logit"):
            out[name.removesuffix("_logit")] = (dims, 1.0 / (1.0 + np.exp(-values)))
        else:
            out[name] = (dims, values)
    return out


def _newcomers(spread: xr.DataArray, inputs: ModelInputs, rng: np.random.Generator) -> dict[str, Any]:
    """A family and a shop nobody has met: one draw of their effects for each stored draw."""
    count, links = spread.sizes["draw"], inputs.links
    family = rng.normal(size=(count, len(links.suspects))) * spread.sel(term="family").values[:, None]
    shop = rng.normal(size=(count, len(links.modes))) * spread.sel(term="shop").values[:, None]
    return {"new_family": (("draw", "suspect"), family), "new_shop": (("draw", "mode"), shop)}
