"""The prior of alpha with what rules of thumb and handbook ratios say about it, drawn without a sampler to tune."""

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from scipy import sparse
from scipy.special import gammaincinv, ndtr

from analytics.model_inputs import LinkTable
from analytics.priors import LinkPrior
from analytics.terms import SPREAD_SHAPE, Term

# Rules are worth tens of tickets, not thousands: few steps forget the start (see the test against importance weights).
STEPS = 100


@dataclass(frozen=True)
class _Layout:
    """Where the unit normals of a draw stand: the spreads of `terms`, then suspects, then links."""

    links: LinkTable
    log_weight: np.ndarray
    terms: tuple[Term, Term]

    @property
    def size(self) -> int:
        return 2 + len(self.links.suspects) + len(self.links.symptom)

    @cached_property
    def member(self) -> sparse.csr_array:
        """(link, symptom) one for the link's own symptom."""
        return _member(self.links)


def draw_alpha(
    links: LinkTable, link_prior: LinkPrior, terms: tuple[Term, Term], *, rng: np.random.Generator, count: int
) -> tuple[np.ndarray, dict[str, np.ndarray]]:
    """`count` independent draws of alpha (draw, link) and of the spreads of `terms`, suspect and link, each (draw,).

    Notes
    -----
    Everything is a function of unit normals, so elliptical slice sampling fits, with nothing to tune: Murray, Adams and
    MacKay, AISTATS 9 (2010) 541-548. Each draw is the last state of a chain of its own, started from the plain prior;
    without rules and ratios the first state is already right.
    """
    layout = _Layout(links, link_prior.log_weight, terms)
    state = rng.normal(size=(count, layout.size))
    if len(link_prior.rule_link) or len(link_prior.ratio_group):
        score = _score(state, layout, link_prior)
        for _ in range(STEPS):
            state, score = _slice_step(state, score, layout, link_prior=link_prior, rng=rng)
    spread = _spreads(state, layout)
    return _alpha(state, layout), {term.name: spread[:, at] for at, term in enumerate(terms)}


def log_wishes(alpha: np.ndarray, links: LinkTable, link_prior: LinkPrior) -> np.ndarray:
    """(draw,) what `wish_likelihood.score_wishes` says of each row of alpha (draw, link)."""
    odds = np.exp(alpha)
    share = odds / (odds @ _member(links))[:, links.symptom]
    told = share[:, link_prior.rule_link]
    a, b = link_prior.rule_beta.T - 1.0
    value = np.log(told) @ a + np.log1p(-told) @ b
    group = link_prior.ratio_group
    value -= np.log(odds @ sparse.csr_array(group.T)) @ (group @ link_prior.ratio_weight)
    return value + alpha @ link_prior.ratio_weight


def _member(links: LinkTable) -> sparse.csr_array:
    """(link, symptom) one for the link's own symptom. Sparse: threads that multiply dense matrices as small as these
    wait for each other longer than they work.
    """
    ones, count = np.ones(len(links.symptom)), len(links.symptom)
    return sparse.csr_array((ones, (np.arange(count), links.symptom)), shape=(count, len(links.symptoms)))


def _score(state: np.ndarray, layout: _Layout, link_prior: LinkPrior) -> np.ndarray:
    return log_wishes(_alpha(state, layout), layout.links, link_prior)


def _slice_step(
    state: np.ndarray, score: np.ndarray, layout: _Layout, *, link_prior: LinkPrior, rng: np.random.Generator
) -> tuple[np.ndarray, np.ndarray]:
    """One elliptical slice step of every chain, with the new scores; brackets shrink for those chains only that are not
    yet on the slice.
    """
    count = len(state)
    other, level = rng.normal(size=state.shape), score + np.log(rng.random(count))
    scores = score.copy()
    angle = rng.uniform(0.0, 2.0 * np.pi, count)
    low, high, new, waiting = angle - 2.0 * np.pi, angle.copy(), state.copy(), np.arange(count)
    while len(waiting):
        turn = angle[waiting, None]
        proposal = np.cos(turn) * state[waiting] + np.sin(turn) * other[waiting]
        proposed = _score(proposal, layout, link_prior)
        on_slice = proposed > level[waiting]
        new[waiting[on_slice]], scores[waiting[on_slice]] = proposal[on_slice], proposed[on_slice]
        waiting = waiting[~on_slice]
        below = angle[waiting] < 0.0
        low[waiting[below]], high[waiting[~below]] = angle[waiting[below]], angle[waiting[~below]]
        angle[waiting] = rng.uniform(low[waiting], high[waiting])
    return new, scores


def _spreads(state: np.ndarray, layout: _Layout) -> np.ndarray:
    """(draw, 2): spreads of suspects and links, gamma where they are learned, from their unit normals."""
    drawn = gammaincinv(SPREAD_SHAPE, ndtr(state[:, :2])) / SPREAD_SHAPE
    is_learned = np.array([term.learned for term in layout.terms])
    return np.where(is_learned, drawn, 1.0) * np.array([term.reach for term in layout.terms])


def _alpha(state: np.ndarray, layout: _Layout) -> np.ndarray:
    """(draw, link): seeded log weight plus what sums to zero over each symptom's list."""
    links, suspects = layout.links, len(layout.links.suspects)
    spread = _spreads(state, layout)
    own = spread[:, [0]] * state[:, 2 : 2 + suspects]
    departure = own[:, links.suspect] + spread[:, [1]] * state[:, 2 + suspects :]
    mean = (departure @ layout.member) / layout.member.sum(0)
    return layout.log_weight + departure - mean[:, links.symptom]
