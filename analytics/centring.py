"""How coefficients are sampled: which spread each has, what it is centred on, and how far it is centred at all.

A coefficient is sampled as `raw = (coefficient - share * centre) / spread ** share` (share: see `Term.shares`).
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from analytics.effects import zero_sum_basis
from analytics.model_inputs import ModelInputs
from analytics.terms import Priors, Term, model_terms, parent_terms, term_starts


@dataclass(frozen=True, eq=False)
class Centring:
    """Spreads stand with the learned ones first.

    spread_names (learned spread,); reach (spread,) prior mean of a learned one, value of another; parent_spread
    (parent,) and coefficient_spread (coefficient,) positions among the spreads; matrix (coefficient that has a parent,
    parent): those coefficients come first. parents, terms: what it was made from.
    """

    spread_names: tuple[str, ...]
    reach: np.ndarray
    parent_spread: np.ndarray
    coefficient_spread: np.ndarray
    matrix: np.ndarray
    parents: tuple[Term, ...]
    terms: tuple[Term, ...]

    @property
    def learned(self) -> int:
        """Number of learned spreads."""
        return len(self.spread_names)


def make_centring(inputs: ModelInputs, priors: Priors) -> Centring:
    """The centring of all terms of the model."""
    parents, terms = parent_terms(inputs, priors), model_terms(inputs, priors)
    every = [*parents, *terms]
    order = sorted(every, key=lambda term: -term.learned)
    return Centring(
        spread_names=tuple(term.name for term in order if term.learned),
        reach=np.array([term.reach for term in order]),
        parent_spread=_places(parents, order),
        coefficient_spread=_places(terms, order),
        matrix=_matrix(inputs, parents, terms),
        parents=parents,
        terms=terms,
    )


def coefficient_shares(terms: Sequence[Term], spreads: Mapping[str, float]) -> np.ndarray:
    """(coefficient,): `Term.shares` at the given spreads; a term without one is taken at its prior mean."""
    return np.concatenate([term.shares(spreads.get(term.name, term.reach)) for term in terms])


def _places(terms: Sequence[Term], order: Sequence[Term]) -> np.ndarray:
    """(coefficient,): where in `order` the spread of each coefficient stands."""
    return np.repeat([order.index(term) for term in terms], [term.size for term in terms])


def _matrix(inputs: ModelInputs, parents: Sequence[Term], terms: Sequence[Term]) -> np.ndarray:
    """A link is centred on what its suspect adds to each contrast of the symptom's list, a check on its kind."""
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
