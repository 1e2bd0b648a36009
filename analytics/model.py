"""The hierarchical model, stated and built. Nothing here samples, prints or reads."""

from collections.abc import Mapping
from dataclasses import fields

import numpy as np
import pymc as pm
import pytensor.tensor as pt

from analytics.effects import draw_in
from analytics.log_likelihood import LogLikelihood, pack_evidence
from analytics.model_inputs import LinkTable, ModelInputs
from analytics.priors import LinkPrior
from analytics.terms import Priors, Term, model_terms

# Shape of the gamma prior of a term's spread: zero is avoided, because no two shops are quite alike, and so is the neck
# of a funnel. Chung, Rabe-Hesketh, Dorie, Gelman and Liu, Psychometrika 78 (2013).
SPREAD_SHAPE = 2.0


def build_model(inputs: ModelInputs, link_prior: LinkPrior, priors: Priors) -> pm.Model:
    """The model, line by line, with k a suspect, m its failure mode, s, f, h, a symptom, family, shop, age band.

    spread[term]       ~ gamma of shape 2, or fixed, see `Priors`
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

    A coefficient is sampled as `raw = (coefficient - share * centre) / spread ** share` (share: see `Term`). Every array enters as data, so
    the compiled code serves the next fit too, whatever its tickets.
    """
    terms = model_terms(inputs, priors)
    learned = [term for term in terms if term.learned]
    fixed = [term for term in terms if not term.learned]
    rest = terms[1:]
    names = [f"{term.name}[{at}]" for term in rest for at in range(term.size)]
    sizes = [term.size for term in rest]
    coords = {"term": [t.name for t in learned], "suspect": list(inputs.links.suspects), "coefficient": names}
    with pm.Model(coords=coords) as model:
        reach = np.array([term.reach for term in learned])
        spread = pm.Gamma("spread", alpha=SPREAD_SHAPE, beta=SPREAD_SHAPE / reach, dims=("term",))
        minutes_spread = pm.HalfNormal("minutes_spread", priors.minutes_spread_scale)
        unit = pm.Normal("suspect_unit", 0.0, 1.0, dims=("suspect",))
        # A link is centred on its suspect: what the suspect adds to each contrast of a symptom's list, else nothing.
        centre = pm.Data("contrast", _suspect_contrast(inputs.links, sum(sizes))) @ (spread[0] * unit)
        place = pm.Data("place", np.repeat([[*learned, *fixed].index(term) for term in rest], sizes))
        share = pm.Data("share", coefficient_shares(terms, {}))
        each = pt.concatenate([spread, np.array([term.reach for term in fixed])])[place]
        raw = pm.Normal("raw", (1.0 - share) * centre * each**-share, each ** (1.0 - share), dims=("coefficient",))
        coefficient = pm.Deterministic("coefficient_value", share * centre + each**share * raw, dims=("coefficient",))
        packed = pack_evidence(inputs, link_prior, priors)
        data = [pm.Data(field.name, getattr(packed, field.name)) for field in fields(packed)]
        value, *_ = LogLikelihood()(pt.concatenate([spread[0] * unit, coefficient]), minutes_spread, *data)
        pm.Potential("evidence", value)
    return model


def coefficient_shares(terms: tuple[Term, ...], spreads: Mapping[str, float]) -> np.ndarray:
    """(coefficient,): `Term.share` at the given spreads; a term without one is taken at its prior mean."""
    rest = terms[1:]
    return np.repeat([term.share(spreads.get(term.name, term.reach)) for term in rest], [t.size for t in rest])


def _suspect_contrast(links: LinkTable, coefficient_count: int) -> np.ndarray:
    """(coefficient, suspect): contrasts of the suspects within each symptom's list, zero below the link term."""
    rows = np.zeros((coefficient_count, len(links.suspects)))
    at = 0
    for symptom in range(len(links.symptoms)):
        listed = links.suspect[links.slots_of(symptom)]
        for column in listed:
            rows[at : at + len(listed) - 1, column] = draw_in((listed == column) * 1.0)
        at += len(listed) - 1
    return rows
