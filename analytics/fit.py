"""Sampling, diagnosing and thinning. The only module that knows chains."""

from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from typing import Any

import arviz as az
import numpy as np
import nutpie
import pymc as pm
import xarray as xr

from analytics.effects import EFFECT_DIMS, assemble
from analytics.evidence import Evidence
from analytics.log_likelihood import pack_evidence
from analytics.model import build_model, coefficient_shares
from analytics.model_inputs import ModelInputs, model_inputs
from analytics.posterior import Diagnostics, Posterior
from analytics.priors import LinkPrior
from analytics.terms import Priors, model_terms
from analytics.vocabulary import Vocabulary

# Enough for a 90 % interval of a probability to be good to a percentage point, few enough to serve in milliseconds.
STORED_DRAWS = 600
# A short run that only learns how far each term reaches, so that the long one can be parametrised for it.
PILOT_TUNE, PILOT_DRAWS = 150, 50
# Step sizes by their acceptance: at 0.7 a trajectory takes 15 steps instead of 31 and draws are worth nearly as much.
# The second, with smaller steps, is for the rare run in which one step went astray.
ACCEPTANCES = (0.7, 0.95)

Progress = Callable[[float], None]


@dataclass(frozen=True)
class Effort:
    """How long to sample."""

    tune: int = 300
    draws: int = 1800
    chains: int = 4


def sample_model(
    model: pm.Model, *, seed: int, tune: int = 500, draws: int = 500, chains: int = 4, progress: Progress | None = None
) -> xr.Dataset:
    """Draws of any model, dims (chain, draw, ...); `diverging` (chain, draw) is among the variables."""
    return _sample(nutpie.compile_pymc_model(model), Effort(tune, draws, chains), seed=seed, progress=progress)


def diagnose(samples: xr.Dataset, names: tuple[str, ...]) -> Diagnostics:
    """Worst R-hat and bulk effective sample size over the named variables, and divergences."""
    chosen = samples[list(names)]
    with ThreadPoolExecutor(2) as pool:
        parts = [pool.submit(az.rhat, chosen), pool.submit(az.ess, chosen, method="bulk")]
        rhat, ess = (_flat(part.result()) for part in parts)
    # a variable that never moves has no R-hat; it is constant by construction (a term without members)
    worst = max(rhat, key=lambda name: np.nan_to_num(rhat[name], nan=0.0))
    return Diagnostics(
        max_rhat=float(np.nanmax(list(rhat.values()))),
        min_ess=float(np.nanmin(list(ess.values()))),
        divergence_count=int(samples["diverging"].sum()),
        worst=worst,
    )


def fit_evidence(
    evidence: Evidence,
    vocabulary: Vocabulary,
    *,
    link_prior: Callable[[ModelInputs], LinkPrior],
    priors: Priors,
    seed: int,
    progress: Progress | None = None,
    effort: Effort = Effort(),
    fit_id: str = "",
) -> Posterior:
    """The posterior of the evidence. Look at its `diagnostics` before anybody else does."""
    inputs = model_inputs(evidence, vocabulary)
    prior = link_prior(inputs)
    samples = sample_evidence(inputs, prior, priors, seed=seed, progress=progress, effort=effort)
    return thin_samples(samples, inputs, prior, priors=priors, seed=seed, fit_id=fit_id)


def sample_evidence(
    inputs: ModelInputs, link_prior: LinkPrior, priors: Priors, *, seed: int, progress: Progress | None, effort: Effort
) -> xr.Dataset:
    """Draws of `build_model` (chain, draw, ...): a pilot run to learn the spreads, then the run that counts."""
    compiled = nutpie.compile_pymc_model(build_model(inputs, link_prior, priors))
    steps = (PILOT_TUNE + PILOT_DRAWS, effort.tune + effort.draws)

    def report(share: float, first: float, last: float) -> None:
        if progress is not None:
            progress((first + share * (last - first)) / sum(steps))

    pilot = _sample(
        compiled,
        Effort(PILOT_TUNE, PILOT_DRAWS, min(2, effort.chains)),
        seed=seed,
        progress=lambda done: report(done, 0, steps[0]),
    )
    spreads = {str(term): float(pilot["spread"].sel(term=term).mean()) for term in pilot["term"].values}
    shares = coefficient_shares(model_terms(inputs, priors), spreads)
    tuned = compiled.with_data(share=shares)
    for attempt, acceptance in enumerate(ACCEPTANCES):
        samples = _sample(
            tuned,
            effort,
            seed=seed + 1 + attempt,
            progress=lambda done: report(done, steps[0], sum(steps)),
            acceptance=acceptance,
        )
        # the costly figures can wait: only a divergence asks for smaller steps
        if not samples["diverging"].any():
            break
    return samples


def thin_samples(
    samples: xr.Dataset, inputs: ModelInputs, link_prior: LinkPrior, *, priors: Priors, seed: int, fit_id: str
) -> Posterior:
    """One `draw` dim of `STORED_DRAWS`, coefficients turned into effects."""
    diagnostics = diagnose(samples, ("spread", "minutes_spread", "parent_unit", "coefficient_value"))
    stacked = samples.drop_vars("diverging").stack(sample=("chain", "draw"), create_index=False)
    every = max(1, stacked.sizes["sample"] // STORED_DRAWS)
    thin = stacked.isel(sample=slice(None, None, every)).isel(sample=slice(None, STORED_DRAWS))
    thin = thin.swap_dims(sample="draw") if "draw" in thin.coords else thin.rename_dims(sample="draw")
    spread = thin["spread"].transpose("draw", "term")
    coefficient = thin["coefficient_value"].transpose("draw", "coefficient").values
    rng = np.random.default_rng(seed)
    draws = xr.Dataset(
        {
            **_effects(coefficient, inputs, link_prior, priors),
            **_newcomers(spread, inputs, rng),
            "spread": spread,
            "minutes_spread": thin["minutes_spread"],
            "coefficient": (("draw", "coefficient"), coefficient.astype(np.float32)),
            **_positions(inputs),
        },
        coords=_coords(inputs),
    )
    return Posterior(fit_id, draws, diagnostics, ticket_count=round(inputs.ticket_count))


def _effects(
    coefficient: np.ndarray, inputs: ModelInputs, link_prior: LinkPrior, priors: Priors
) -> dict[str, tuple[tuple[str, ...], np.ndarray]]:
    data = pack_evidence(inputs, link_prior, priors).data
    built = [assemble(one, data) for one in coefficient]
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


def _positions(inputs: ModelInputs) -> dict[str, Any]:
    links, table = inputs.links, inputs.checks
    return {
        "age_share": (("family_or_new", "age"), inputs.age_share),
        "companion_present": (("suspect", "symptom"), inputs.companion_present),
        "link_symptom": (("link",), links.symptom),
        "link_suspect": (("link",), links.suspect),
        "link_mode": (("link",), links.mode),
        "reveal_check": (("reveal",), table.reveal_check),
        "reveal_suspect": (("reveal",), table.reveal_suspect),
        "remedy_check": (("remedy",), table.cure_check),
        "remedy_suspect": (("remedy",), table.cure_suspect),
    }


def _coords(inputs: ModelInputs) -> dict[str, Any]:
    links = inputs.links
    return {
        "symptom": list(links.symptoms),
        "suspect": list(links.suspects),
        "mode": list(links.modes),
        "family": list(inputs.families),
        "shop": np.array(inputs.shops, dtype=object),
        "age": list(inputs.ages),
        "check": list(inputs.checks.checks),
    }


def _sample(
    compiled: Any, effort: Effort, *, seed: int, progress: Progress | None, acceptance: float = ACCEPTANCES[0]
) -> xr.Dataset:
    """nutpie, quietly. Its own bar would go to standard output."""

    def report(chains: list[Any]) -> None:
        if progress is not None:
            progress(sum(c.finished_draws for c in chains) / max(1, sum(c.total_draws for c in chains)))

    tree = nutpie.sample(
        compiled,
        draws=effort.draws,
        tune=effort.tune,
        chains=effort.chains,
        seed=seed,
        progress_bar=False,
        target_accept=acceptance,
        progress_callback=report,
        progress_rate=200,
        save_warmup=False,
    )
    samples = tree["posterior"].to_dataset()
    return samples.assign(diverging=tree["sample_stats"]["diverging"])


def _flat(figures: Any) -> dict[str, float]:
    """'name[position]' -> figure."""
    dataset = figures.to_dataset() if hasattr(figures, "to_dataset") else figures
    return {
        f"{name}{list(at) if at else ''}": float(value)
        for name, values in dataset.data_vars.items()
        for at, value in np.ndenumerate(values.values)
    }
