"""The hierarchical model, stated and built. Nothing here samples, prints or reads."""

from dataclasses import fields

import numpy as np
import pymc as pm
import pytensor.tensor as pt

from analytics.log_likelihood import LogLikelihood, pack_evidence
from analytics.model_inputs import ModelInputs
from analytics.priors import LinkPrior
from analytics.terms import Priors, model_terms


def build_model(inputs: ModelInputs, link_prior: LinkPrior, priors: Priors) -> pm.Model:
    """The model, line by line, with k a suspect, m its failure mode, s, f, h, a symptom, family, shop, age band.

    spread[term]       ~ half-normal, or fixed, see `Priors`
    coefficient        ~ N(0, spread of its term)
    alpha[s, k]        = seeded log weight + suspect + link
    beta[f, k]         = family; sums to zero over families and over suspects
    gamma[h, m]        = shop; sums to zero over shops and over failure modes
    age_effect[s, k, a] = centred random walks over age bands: age_mode[m] + age_suspect[k] + age_symptom[s, m]
    P(k | s, f, h, a)  = softmax over the suspects of s of alpha + beta + gamma + age_effect
    tickets            : a sure cell adds count * log P(k), every other one weight * log sum_k P(k) L(k), where a suspect
                         written down at a lower grade is the true one or, at the shop's misread rate, a guess
    checks             : found, cured and false alarms binomial, minutes log-normal, pooled by kind of check
    wishes             : rules of thumb and handbook ratios on alpha, see `priors`

    A coefficient is sampled as `raw = coefficient / spread ** share` (share: see `Term`). Every array enters as data, so
    the compiled code serves the next fit too, whatever its tickets.
    """
    terms = model_terms(inputs, priors)
    learned = [term for term in terms if term.learned]
    fixed = [term for term in terms if not term.learned]
    names = [f"{term.name}[{at}]" for term in terms for at in range(term.size)]
    sizes = [term.size for term in terms]
    with pm.Model(coords={"term": [term.name for term in learned], "coefficient": names}) as model:
        spread = pm.HalfNormal("spread", np.array([term.reach for term in learned]), dims=("term",))
        minutes_spread = pm.HalfNormal("minutes_spread", priors.minutes_spread_scale)
        place = pm.Data("place", np.repeat([[*learned, *fixed].index(term) for term in terms], sizes))
        share = pm.Data("share", np.repeat([term.share for term in terms], sizes))
        each = pt.concatenate([spread, np.array([term.reach for term in fixed])])[place]
        raw = pm.Normal("raw", 0.0, each ** (1.0 - share), dims=("coefficient",))
        packed = pack_evidence(inputs, link_prior, priors)
        data = [pm.Data(field.name, getattr(packed, field.name)) for field in fields(packed)]
        value, *_ = LogLikelihood()(each**share * raw, minutes_spread, *data)
        pm.Potential("evidence", value)
    return model
