"""Fits of many tickets without long runs: their parts against closed forms, the whole against the long runs."""

from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest
from scipy.optimize import brentq
from scipy.stats import norm

from analytics.centring import Centring, make_centring
from analytics.curvature import Curvature, fill_hollows, measure_curvature
from analytics.evidence import Evidence
from analytics.fit import Effort, fit_evidence
from analytics.log_likelihood import evaluate, pack_evidence
from analytics.model_inputs import ModelInputs, model_inputs
from analytics.posterior import Posterior
from analytics.priors import LinkPrior, link_prior
from analytics.settled_fit import fit_settled
from analytics.spread_search import settle_spreads
from analytics.terms import Priors
from analytics.vocabulary import CONFIRMATIONS, Vocabulary
from benchmarks.fit import draw_odds, invent_vocabulary, simulate_evidence

REACH = 0.5


def test_spreads_settle_where_their_probability_is_greatest() -> None:
    """Measured values y of known error: y ~ N(0, spread^2 + error^2), so the most probable spread and the expected
    information about its logarithm, 2 n (spread^2 / (spread^2 + error^2))^2, are known without any of our algebra.
    """
    rng, count, error = np.random.default_rng(1), 200, 0.3
    y = rng.normal(0, np.hypot(0.8, error), count)
    nobody = np.array([], dtype=int)
    centring = Centring(
        spread_names=("a",),
        reach=np.array([REACH]),
        parent_spread=nobody,
        coefficient_spread=np.zeros(count, dtype=int),
        matrix=np.zeros((0, 0)),
        parents=(),
        terms=(),
    )
    priors = Priors()
    bend = np.diag([1.0, *np.full(count, error**-2)])
    curvature = Curvature(np.zeros(count + 1), np.array([0.0, *(y / error**2)]), bend)
    settled = settle_spreads(curvature, np.log([REACH]), centring, priors)

    def log_probability(log_spread: float) -> float:
        spread, rate = np.exp(log_spread), priors.spread_shape / REACH
        return float(
            norm.logpdf(y, 0, np.hypot(spread, error)).sum() + priors.spread_shape * log_spread - rate * spread
        )

    def slope(log_spread: float) -> float:
        return (log_probability(log_spread + 1e-5) - log_probability(log_spread - 1e-5)) / 2e-5

    best = brentq(slope, np.log(0.2), np.log(3.0))
    # it stops once a correction is below 0.02; corrections shrink fast
    assert settled.log_spread[0] == pytest.approx(best, abs=0.01)
    spread = np.exp(settled.log_spread[0])
    pull = spread**2 / (spread**2 + error**2)
    information = 2 * count * pull**2 + priors.spread_shape / REACH * spread
    assert settled.spread_covariance[0, 0] == pytest.approx(1 / information, rel=1e-9)
    assert settled.row[1:] == pytest.approx(pull * y)


def test_hollows_of_the_likelihood_are_filled_and_nothing_else_is_changed() -> None:
    turn = np.linalg.qr(np.random.default_rng(3).normal(size=(3, 3)))[0]
    place, slope = np.ones(3), np.array([1.0, 2.0, 3.0])
    filled = fill_hollows(Curvature(place, slope, turn @ np.diag([3.0, 1.0, -2.0]) @ turn.T))
    assert filled.bend == pytest.approx(turn @ np.diag([3.0, 1.0, 0.0]) @ turn.T, abs=1e-12)
    assert filled.pull - filled.bend @ place == pytest.approx(slope)


@pytest.mark.slow
def test_the_curvature_foretells_the_gradient(
    tiny_vocabulary: Vocabulary, some_evidence: Callable[[Vocabulary, int], Evidence]
) -> None:
    """A short way from where it was measured, the slope is pull - bend @ row, but for the square of the way."""
    inputs, priors = model_inputs(some_evidence(tiny_vocabulary, 1), tiny_vocabulary), Priors()
    centring = make_centring(inputs, priors)
    packed = pack_evidence(inputs, link_prior(tiny_vocabulary, inputs.links), priors)
    parents, rng = len(centring.parent_spread), np.random.default_rng(2)
    row = rng.normal(0, 0.3, 1 + parents + len(centring.coefficient_spread))
    curvature = measure_curvature(row, packed, centring, priors=priors)
    moved = row + 1e-3 * rng.normal(size=len(row))
    found = (curvature.pull - curvature.bend @ moved)[1 + parents :]
    _, slope, _ = evaluate(moved[1 + parents :], float(np.exp(moved[0])), *packed.data)
    _, before, _ = evaluate(row[1 + parents :], float(np.exp(row[0])), *packed.data)
    assert np.abs(found - slope).max() < 0.02 * np.abs(slope - before).max()


@pytest.mark.slow
def test_short_runs_from_nothing_end_where_long_runs_do() -> None:
    """On tickets of an invented world: means within five of their standard errors at the effective draws asked for,
    spreads of the draws alike; and not so once a tenth of the tickets is gone.
    """
    rng = np.random.default_rng(9)
    vocabulary = invent_vocabulary(rng)
    evidence = simulate_evidence(vocabulary, draw_odds(vocabulary, rng), 20_000, rng)
    cells = evidence.cells.assign(confirmation=rng.choice(CONFIRMATIONS, len(evidence.cells), p=[0.5, 0.3, 0.2]))
    evidence = replace(evidence, cells=cells)

    def prior(inputs: ModelInputs) -> LinkPrior:
        return link_prior(vocabulary, inputs.links)

    def settle(one: Evidence) -> Posterior:
        return fit_settled(one, vocabulary, link_prior=prior, priors=Priors(), seed=5)

    settled, effort = settle(evidence), Effort(300, 700, 2)
    long = fit_evidence(evidence, vocabulary, link_prior=prior, priors=Priors(), seed=6, effort=effort)
    assert settled.diagnostics.is_publishable
    assert furthest(settled, long) < 5.0
    ratio = settled.draws["coefficient_value"].std("draw") / long.draws["coefficient_value"].std("draw")
    # two spreads that 400 draws each tell to 1 / sqrt(800) differ by 0.04 on average, either way
    assert float(np.abs(np.log(ratio)).mean()) < 0.06
    assert abs(float(np.log(ratio).mean())) < 0.02
    fewer = replace(evidence, cells=cells[rng.random(len(cells)) < 0.9])
    assert furthest(settle(fewer), long) > 5.0


def furthest(one: Posterior, other: Posterior) -> float:
    """Largest difference of means in standard errors, if each posterior is worth 400 independent draws."""
    away = []
    for name in ("alpha", "beta", "gamma", "age_effect", "misread", "spread"):
        left, right = one.draws[name].values, other.draws[name].values
        scatter = np.sqrt(0.5 * (left.var(axis=0) + right.var(axis=0))) + 1e-9
        away.append(float((np.abs(left.mean(axis=0) - right.mean(axis=0)) / scatter).max()))
    return max(away) / np.sqrt(2 / 400)
