"""The last fit carried on to the tickets of today: seconds instead of a minute, and without PyMC.

Works as long as nothing but tickets has changed: same vocabulary, families and shops, so that the coefficients are the
same ones. Its draws are as good as those of a full fit, or its diagnostics say that they are not.
"""

from collections.abc import Callable

import numpy as np

from analytics.centring import Centring, coefficient_shares, make_centring
from analytics.evidence import Evidence
from analytics.fitted_draws import STORED_DRAWS, Draws, make_posterior
from analytics.log_density import States, make_density, put_together, take_apart, to_coefficients, to_raw
from analytics.log_likelihood import pack_evidence
from analytics.model_inputs import ModelInputs, model_inputs
from analytics.posterior import Diagnostics, Posterior
from analytics.priors import LinkPrior
from analytics.short_runs import Carried, carry_on, drift, effective_draws
from analytics.terms import Priors
from analytics.vocabulary import Vocabulary

# More than the least number of effective draws, for each run is worth one at least.
RUNS, TRAJECTORIES = 500, 4


def carry_fit(
    last: Posterior,
    evidence: Evidence,
    vocabulary: Vocabulary,
    *,
    link_prior: Callable[[ModelInputs], LinkPrior],
    priors: Priors,
    seed: int,
    fit_id: str = "",
    progress: Callable[[float], None] | None = None,
) -> Posterior | None:
    """The posterior of the evidence; None where the last fit has other coefficients. Look at its `diagnostics` first.

    Parameters
    ----------
    last : the last good fit, as it was stored, not as tickets since have moved it
    evidence : all tickets, those of the last fit among them
    """
    inputs = model_inputs(evidence, vocabulary)
    centring, prior = make_centring(inputs, priors), link_prior(inputs)
    if not _has_same_variables(last, inputs, centring):
        return None
    spreads = dict(zip(centring.spread_names, last.arrays["spread"].mean(axis=0).tolist(), strict=True))
    share = coefficient_shares(centring.terms, spreads)
    density = make_density(centring, share, pack_evidence(inputs, prior, priors), priors=priors)
    start = _start(last, centring, share)
    carried = carry_on(start, density, seed=seed, trajectories=TRAJECTORIES, progress=progress)
    return make_posterior(
        newest_draws(carried, centring, share),
        inputs,
        prior,
        priors=priors,
        diagnostics=diagnose_runs(carried, centring),
        rng=np.random.default_rng(seed),
        fit_id=fit_id,
    )


def _has_same_variables(last: Posterior, inputs: ModelInputs, centring: Centring) -> bool:
    """A stored fit from before short runs lacks `coefficient_value`."""
    draws, links = last.draws, inputs.links
    if "coefficient_value" not in draws or draws.sizes["coefficient"] != len(centring.coefficient_spread):
        return False
    named = {
        "symptom": links.symptoms,
        "suspect": links.suspects,
        "mode": links.modes,
        "family": inputs.families,
        "shop": inputs.shops,
        "age": inputs.ages,
        "check": inputs.checks.checks,
        "term": centring.spread_names,
    }
    positions = {"link_symptom": links.symptom, "link_suspect": links.suspect}
    positions |= {"reveal_check": inputs.checks.reveal_check, "reveal_suspect": inputs.checks.reveal_suspect}
    positions |= {"remedy_check": inputs.checks.cure_check, "remedy_suspect": inputs.checks.cure_suspect}
    return all(list(draws[dim].values) == list(codes) for dim, codes in named.items()) and all(
        np.array_equal(draws[name].values, places) for name, places in positions.items()
    )


def _start(last: Posterior, centring: Centring, share: np.ndarray) -> np.ndarray:
    """(run, variable), from draws spread evenly over the stored ones."""
    arrays = last.arrays
    chosen = np.linspace(0, last.draw_count - 1, min(RUNS, last.draw_count)).astype(int)
    log_spread, unit = np.log(arrays["spread"][chosen]), arrays["parent_unit"][chosen].astype(float)
    coefficient = arrays["coefficient_value"][chosen].astype(float)
    raw = to_raw(coefficient, log_spread, unit, centring=centring, share=share)
    return put_together(States(log_spread, np.log(arrays["minutes_spread"][chosen]), unit, raw))


def newest_draws(carried: Carried, centring: Centring, share: np.ndarray) -> Draws:
    """The newest states, as many as are stored."""
    newest = carried.states[::-1].reshape(-1, carried.states.shape[-1])[:STORED_DRAWS]
    parts = take_apart(newest, centring)
    return Draws(
        coefficient=to_coefficients(parts, centring, share),
        spread=np.exp(parts.log_spread),
        minutes_spread=np.exp(parts.log_minutes),
        parent_unit=parts.unit,
    )


def diagnose_runs(carried: Carried, centring: Centring) -> Diagnostics:
    """R-hat of earlier against later trajectories, effective draws over independent runs."""
    moving = drift(carried)
    return Diagnostics(
        max_rhat=float(moving.max()),
        min_ess=float(effective_draws(carried).min()),
        divergence_count=carried.divergence_count,
        worst=_name_variable(int(moving.argmax()), centring),
    )


def _name_variable(at: int, centring: Centring) -> str:
    spreads = [*centring.spread_names, "minutes"]
    if at < len(spreads):
        return f"spread of {spreads[at]}"
    at -= len(spreads)
    for term in (*centring.parents, *centring.terms):
        if at < term.size:
            return f"{term.name}[{at}]"
        at -= term.size
    raise AssertionError("no such variable")
