"""The hierarchical model, stated and built. Nothing here samples, prints or reads."""

from collections.abc import Mapping, Sequence
from dataclasses import fields

import numpy as np
import pymc as pm
import pytensor.tensor as pt

from analytics.effects import zero_sum_basis
from analytics.log_likelihood import LogLikelihood, pack_evidence
from analytics.model_inputs import ModelInputs
from analytics.priors import LinkPrior
from analytics.terms import Priors, Term, model_terms, parent_terms, term_starts

# Shape of the gamma prior of a term's spread: zero is avoided, because no two shops are quite alike, and so is the neck
# of a funnel. Chung, Rabe-Hesketh, Dorie, Gelman and Liu, Psychometrika 78 (2013).
SPREAD_SHAPE = 2.0


def build_model(inputs: ModelInputs, link_prior: LinkPrior, priors: Priors) -> pm.Model:
    """The model, line by line, with k a suspect, m its failure mode, s, f, h, a symptom, family, shop, age band.

    spread[term]       ~ gamma of shape 2, or fixed, see `Priors`
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

    A coefficient is sampled as `raw = (coefficient - share * centre) / spread ** share` (share: see `Term`).
    Tickets, priors and shares enter as data, so the compiled code serves the next fit of the same vocabulary too. What
    the vocabulary alone decides is constant: each data array takes a third of a second to compile.
    """
    parents, terms = parent_terms(inputs, priors), model_terms(inputs, priors)
    every = [*parents, *terms]
    order = sorted(every, key=lambda term: -term.learned)
    learned = sum(term.learned for term in every)
    reach = np.array([term.reach for term in order])
    coords = {
        "term": [term.name for term in order[:learned]],
        "parent": [f"{term.name}[{at}]" for term in parents for at in range(term.size)],
        "coefficient": [f"{term.name}[{at}]" for term in terms for at in range(term.size)],
    }
    with pm.Model(coords=coords) as model:
        spread = pm.Gamma("spread", alpha=SPREAD_SHAPE, beta=SPREAD_SHAPE / reach[:learned], dims=("term",))
        minutes_spread = pm.HalfNormal("minutes_spread", priors.minutes_spread_scale)
        spreads = pt.concatenate([spread, reach[learned:]])
        unit = pm.Normal("parent_unit", 0.0, 1.0, dims=("parent",))
        parent = unit * spreads[_places(parents, order)]
        centring = _centring(inputs, parents, terms)
        log_each = pt.log(spreads)[_places(terms, order)]
        without = np.zeros(sum(term.size for term in terms) - len(centring))
        centre = pt.concatenate([centring @ parent, without])
        share = pm.Data("share", coefficient_shares(terms, {}))
        outer, inner = pt.exp(share * log_each), pt.exp((1.0 - share) * log_each)
        raw = pm.Normal("raw", (1.0 - share) * centre / outer, inner, dims=("coefficient",))
        coefficient = pm.Deterministic("coefficient_value", share * centre + outer * raw, dims=("coefficient",))
        packed = pack_evidence(inputs, link_prior, priors)
        data = [pm.Data(field.name, getattr(packed, field.name)) for field in fields(packed)]
        value, *_ = LogLikelihood()(coefficient, minutes_spread, *data)
        pm.Potential("evidence", value)
    return model


def coefficient_shares(terms: Sequence[Term], spreads: Mapping[str, float]) -> np.ndarray:
    """(coefficient,): `Term.shares` at the given spreads; a term without one is taken at its prior mean."""
    return np.concatenate([term.shares(spreads.get(term.name, term.reach)) for term in terms])


def _places(terms: Sequence[Term], order: Sequence[Term]) -> np.ndarray:
    """(coefficient,): where in `order` the spread of each coefficient stands."""
    return np.repeat([order.index(term) for term in terms], [term.size for term in terms])


def _centring(inputs: ModelInputs, parents: Sequence[Term], terms: Sequence[Term]) -> np.ndarray:
    """(coefficient that has a parent, parent): a link is centred on what its suspect adds to each contrast of the
    symptom's list, a check on its kind.
    """
    links, kind = inputs.links, inputs.checks.kind
    columns = {
        term.name: slice(start, start + term.size) for term, start in zip(parents, term_starts(parents), strict=False)
    }
    blocks = []
    for term in terms:
        if not term.parent:
            continue
        block = np.zeros((term.size, columns[parents[-1].name].stop))
        if term.parent == "suspect":
            listed = [links.suspect[links.slots_of(symptom)] for symptom in range(len(links.symptoms))]
            suspects = np.arange(len(links.suspects))
            contrasts = [zero_sum_basis(len(codes)).T @ np.equal.outer(codes, suspects) for codes in listed]
            block[:, columns["suspect"]] = np.concatenate(contrasts)
        else:
            block[:, columns[term.parent]] = np.equal.outer(kind, np.arange(len(inputs.checks.kinds)))
        blocks.append(block)
    return np.concatenate(blocks)
