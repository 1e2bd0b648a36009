"""A fit of very many tickets from nothing: many short runs in the coordinates of the posterior's normal shape.

One long run has to find out how thousands of coefficients hang together before it makes good steps; with many tickets
that can be measured instead, and then a quarter turn forgets where a run began. What is drawn from is the posterior of
`analytics.fit`: every trajectory is kept or given up by its density. Where tickets are few it is no normal distribution
at all, and the diagnostics tell.
"""

from collections.abc import Callable
from dataclasses import replace

import numpy as np
from threadpoolctl import threadpool_limits

from analytics.carried_fit import RUNS, diagnose_runs, newest_draws
from analytics.centring import Centring, make_centring
from analytics.evidence import Evidence
from analytics.fitted_draws import make_posterior
from analytics.log_density import Density, make_density
from analytics.log_likelihood import pack_evidence
from analytics.model_inputs import ModelInputs, model_inputs
from analytics.normal_shape import NormalShape, find_shape
from analytics.posterior import Posterior
from analytics.priors import LinkPrior
from analytics.short_runs import Carried, Gait, carry_on
from analytics.terms import Priors
from analytics.vocabulary import Vocabulary

# Fewer are fitted as fast by `analytics.fit`, and their posterior is less like a normal distribution.
MANY_TICKETS = 50_000
# A ticket whose suspect may be a guess tells ((even - P(k)) r (1 - r) / P(written)) ** 2 about the logit of the rate r
# of guesses: 0.02 where a quarter of the tickets have that suspect, a few times that for a rare one.
WRITTEN_PRECISION = 0.03
# Runs arrive, are told how far each coordinate reaches, and are counted; where that does not hold they are counted once
# more, and at last with steps a third as long, for those that fly off. Six trajectories leave the R-hat of three
# thousand quantities, which has a scatter of its own, well below its limit.
ARRIVING, COUNTED = 4, 6
# The posterior of a spread of which tickets tell little ends sooner above than a normal one: a run that began out there
# would find everything else far too wide for it and fly off. Runs soon go as far as they should.
FIRST_SPREADS = 0.5
GAITS = (Gait(), Gait(), Gait(), Gait(steps=21, first_size=0.07))


def fit_settled(
    evidence: Evidence,
    vocabulary: Vocabulary,
    *,
    link_prior: Callable[[ModelInputs], LinkPrior],
    priors: Priors,
    seed: int,
    progress: Callable[[float], None] | None = None,
    fit_id: str = "",
) -> Posterior:
    """The posterior of the evidence. Look at its `diagnostics` before anybody else does."""
    inputs = model_inputs(evidence, vocabulary)
    centring, prior = _tell_shops(make_centring(inputs, priors), inputs), link_prior(inputs)
    packed = pack_evidence(inputs, prior, priors)
    with threadpool_limits(1):  # two threads of the matrix library wait for each other where another program works
        shape = find_shape(packed, centring, priors)
    density = make_density(centring, shape.share, packed, priors=priors)
    carried = _settle(shape, density, centring, seed=seed, progress=progress)
    return make_posterior(
        newest_draws(carried, centring, shape.share),
        inputs,
        prior,
        priors=priors,
        diagnostics=diagnose_runs(carried, centring),
        rng=np.random.default_rng(seed),
        fit_id=fit_id,
    )


def _tell_shops(centring: Centring, inputs: ModelInputs) -> Centring:
    """The same, but that a shop's rate of guesses is told by its tickets; where they are few, the prior tells more."""
    tickets = inputs.tickets
    shop = np.repeat(tickets.context[:, 2], np.diff(tickets.written_start))
    written = np.bincount(shop, tickets.written_weight, len(inputs.shops) + 1)[:-1]
    told = tuple(WRITTEN_PRECISION * written)
    terms = (replace(term, precision=told) if term.name == "misread_shop" else term for term in centring.terms)
    return replace(centring, terms=tuple(terms))


def _settle(
    shape: NormalShape,
    density: Density,
    centring: Centring,
    *,
    seed: int,
    progress: Callable[[float], None] | None,
) -> Carried:
    """States of all runs, as variables of the model, after those in which they arrived."""
    places = np.random.default_rng(seed).normal(size=(RUNS, len(shape.centre)))
    places[:, : centring.learned + 1] *= FIRST_SPREADS
    for leg, gait in enumerate(GAITS):
        found = carry_on(
            places,
            shape.in_coordinates(density),
            seed=seed + leg,
            trajectories=COUNTED if leg else ARRIVING,
            gait=gait,
            progress=_share_of_legs(progress, leg),
        )
        places = found.states[-1]
        carried = replace(found, states=shape.to_states(found.states))
        if leg and diagnose_runs(carried, centring).is_publishable:
            break
    return carried


def _share_of_legs(progress: Callable[[float], None] | None, leg: int) -> Callable[[float], None] | None:
    """Further legs are rare, so two are taken to be all."""
    if progress is None or leg > 1:
        return None
    return lambda share: progress((leg + share) / 2)
