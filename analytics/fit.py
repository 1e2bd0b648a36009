"""Sampling, diagnosing and thinning. The only module that knows chains."""

from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace
from itertools import count, islice
from typing import Any

import arviz as az
import numpy as np
import nutpie
import pymc as pm
import xarray as xr

from analytics.centring import coefficient_shares
from analytics.evidence import Evidence
from analytics.fitted_draws import STORED_DRAWS, Draws, make_posterior
from analytics.model import build_model
from analytics.model_inputs import ModelInputs, model_inputs
from analytics.posterior import Diagnostics, Posterior
from analytics.priors import LinkPrior
from analytics.terms import Priors, Term, model_terms
from analytics.vocabulary import Vocabulary

# A short run that only learns how far each term reaches, so that the long one can be parametrised for it.
PILOT_TUNE, PILOT_DRAWS = 150, 50
# Step sizes by their acceptance: at 0.7 a trajectory takes 15 steps instead of 31 and draws are worth nearly as much.
# Where a run diverged the next takes smaller steps, and centres no further than suits the narrowest spreads it met.
ACCEPTANCE, CAREFUL = 0.7, (0.9, 0.97, 0.99)
LEARNT = ("spread", "minutes_spread", "parent_unit", "coefficient_value")

Progress = Callable[[float], None]


@dataclass(frozen=True)
class Effort:
    """How long to sample. `runs`: so many are made in all where the diagnostics do not hold, each twice as long as the
    one before; `acceptance` sets the steps of the first one, `centred_for` the quantile of the pilot's spreads that
    coefficients are centred for: centred ones leave a narrow neck where a spread that little is known of is small.
    """

    tune: int = 300
    draws: int = 1800
    chains: int = 4
    runs: int = 1
    acceptance: float = ACCEPTANCE
    centred_for: float = 0.5


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
    compiled, terms = nutpie.compile_pymc_model(build_model(inputs, prior, priors)), model_terms(inputs, priors)
    for samples in islice(_sample_longer(compiled, terms, seed=seed, progress=progress, effort=effort), effort.runs):
        posterior = thin_samples(samples, inputs, prior, priors=priors, seed=seed, fit_id=fit_id)
        if posterior.diagnostics.is_publishable or posterior.diagnostics.divergence_count:
            break
    return posterior


def sample_evidence(
    inputs: ModelInputs, link_prior: LinkPrior, priors: Priors, *, seed: int, progress: Progress | None, effort: Effort
) -> xr.Dataset:
    """Draws of `build_model` (chain, draw, ...)."""
    compiled = nutpie.compile_pymc_model(build_model(inputs, link_prior, priors))
    return sample_compiled(compiled, model_terms(inputs, priors), seed=seed, progress=progress, effort=effort)


def sample_compiled(
    compiled: Any, terms: Sequence[Term], *, seed: int, progress: Progress | None = None, effort: Effort
) -> xr.Dataset:
    """Draws of a compiled `build_model`: a pilot run to learn the spreads, then the run that counts."""
    return next(_sample_longer(compiled, terms, seed=seed, progress=progress, effort=effort))


def _sample_longer(
    compiled: Any, terms: Sequence[Term], *, seed: int, progress: Progress | None, effort: Effort
) -> Iterator[xr.Dataset]:
    """As `sample_compiled`, and then of runs that are each twice as long; more chains would not lower R-hat."""
    steps = (PILOT_TUNE + PILOT_DRAWS, effort.tune + effort.draws)

    def report(share: float, first: float, last: float) -> None:
        if progress is not None:
            progress((first + share * (last - first)) / sum(steps))

    pilot = _sample(
        compiled.with_data(share=coefficient_shares(terms, {})),
        Effort(PILOT_TUNE, PILOT_DRAWS, min(2, effort.chains)),
        seed=seed,
        progress=lambda done: report(done, 0, steps[0]),
    )
    spreads, careful = _spreads_at(pilot, effort.centred_for), [*CAREFUL]
    for run in count(1):
        samples = _sample(
            compiled.with_data(share=coefficient_shares(terms, spreads)),
            effort,
            seed=seed + run,
            progress=lambda done: report(done, steps[0], sum(steps)),
        )
        # the costly figures can wait: only a divergence asks for smaller steps
        if samples["diverging"].any() and careful:
            effort = replace(effort, acceptance=careful.pop(0))
            spreads = {name: min(least, spreads[name]) for name, least in _spreads_at(samples, 0.0).items()}
            continue
        yield samples
        effort = replace(effort, draws=2 * effort.draws)


def _spreads_at(samples: xr.Dataset, quantile: float) -> dict[str, float]:
    """Term -> that quantile of its spread."""
    found = samples["spread"].quantile(quantile, dim=("chain", "draw"))
    return {str(term): float(found.sel(term=term)) for term in found["term"].values}


def thin_samples(
    samples: xr.Dataset, inputs: ModelInputs, link_prior: LinkPrior, *, priors: Priors, seed: int, fit_id: str
) -> Posterior:
    """One `draw` dim of `STORED_DRAWS`, coefficients turned into effects."""
    diagnostics = diagnose(samples, LEARNT)
    stacked = samples.drop_vars("diverging").stack(sample=("chain", "draw"), create_index=False)
    every = max(1, stacked.sizes["sample"] // STORED_DRAWS)
    thin = stacked.isel(sample=slice(None, None, every)).isel(sample=slice(None, STORED_DRAWS))
    draws = Draws(
        coefficient=thin["coefficient_value"].transpose("sample", "coefficient").values,
        spread=thin["spread"].transpose("sample", "term").values,
        minutes_spread=thin["minutes_spread"].values,
        parent_unit=thin["parent_unit"].transpose("sample", "parent").values,
    )
    rng = np.random.default_rng(seed)
    return make_posterior(draws, inputs, link_prior, priors=priors, diagnostics=diagnostics, rng=rng, fit_id=fit_id)


def _sample(compiled: Any, effort: Effort, *, seed: int, progress: Progress | None) -> xr.Dataset:
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
        target_accept=effort.acceptance,
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
