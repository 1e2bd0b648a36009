"""The hierarchical model, stated and built. Nothing here samples, prints or reads."""

import numpy as np
import pymc as pm
import pytensor.tensor as pt

from analytics.centring import coefficient_shares, make_centring
from analytics.log_likelihood import LogLikelihood, pack_evidence
from analytics.model_inputs import ModelInputs
from analytics.priors import LinkPrior
from analytics.terms import Priors


def build_model(inputs: ModelInputs, link_prior: LinkPrior, priors: Priors) -> pm.Model:
    """The model, line by line, with k a suspect, m its failure mode, s, f, h, a symptom, family, shop, age band.

    spread[term]       ~ gamma, or fixed, see `Priors`
    coefficient        ~ N(its parent or 0, spread of its term)
    alpha[s, k]        = seeded log weight + link, whose parent is the suspect
    beta[f, k]         = family; sums to zero over families and over suspects
    gamma[h, m]        = shop; sums to zero over shops and over failure modes
    age_effect[s, k, a] = centred random walks over age bands: age_mode[m] + age_suspect[k] + age_symptom[s, m]
    P(k | s, f, h, a)  = softmax over the suspects of s of alpha + beta + gamma + age_effect
    tickets            : a sure cell adds count * log P(k), every other one weight * log sum_k P(k) L(k), where
                         a suspect written down at a lower grade is the true one or, at the shop's misread rate, a guess
    checks             : found, cured and false alarms binomial, minutes log-normal, pooled by kind of check
    wishes             : rules of thumb and handbook ratios on alpha, see `priors`

    How a coefficient is sampled is said in `analytics.centring`. Tickets, priors and shares enter as data, so the
    compiled code serves the next fit of the same vocabulary too. What the vocabulary alone decides is constant: each
    data array takes a third of a second to compile.
    """
    centring = make_centring(inputs, priors)
    terms, learned, reach = centring.terms, centring.learned, centring.reach
    coords = {
        "term": list(centring.spread_names),
        "parent": [f"{term.name}[{at}]" for term in centring.parents for at in range(term.size)],
        "coefficient": [f"{term.name}[{at}]" for term in terms for at in range(term.size)],
    }
    with pm.Model(coords=coords) as model:
        shape = priors.spread_shape
        spread = pm.Gamma("spread", alpha=shape, beta=shape / reach[:learned], dims=("term",))
        minutes_spread = pm.HalfNormal("minutes_spread", priors.minutes_spread_scale)
        spreads = pt.concatenate([spread, reach[learned:]])
        unit = pm.Normal("parent_unit", 0.0, 1.0, dims=("parent",))
        parent = unit * spreads[centring.parent_spread]
        log_each = pt.log(spreads)[centring.coefficient_spread]
        without = np.zeros(len(centring.coefficient_spread) - len(centring.matrix))
        centre = pt.concatenate([centring.matrix @ parent, without])
        share = pm.Data("share", coefficient_shares(terms, {}))
        outer, inner = pt.exp(share * log_each), pt.exp((1.0 - share) * log_each)
        raw = pm.Normal("raw", (1.0 - share) * centre / outer, inner, dims=("coefficient",))
        coefficient = pm.Deterministic("coefficient_value", share * centre + outer * raw, dims=("coefficient",))
        evidence = pm.Data("evidence", pack_evidence(inputs, link_prior, priors).one)
        value, *_ = LogLikelihood()(coefficient, minutes_spread, evidence)
        pm.Potential("told", value)
    return model
