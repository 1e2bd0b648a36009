"""Short runs against distributions with known answers, and their density against PyMC's."""

from collections.abc import Callable

import numpy as np
import pymc as pm
import pytest

from analytics.centring import make_centring
from analytics.evidence import Evidence
from analytics.log_density import Density, States, make_density, put_together, to_coefficients, to_raw
from analytics.log_likelihood import pack_evidence
from analytics.model import build_model
from analytics.model_inputs import model_inputs
from analytics.priors import link_prior
from analytics.short_runs import carry_on, drift, effective_draws
from analytics.terms import Priors
from analytics.vocabulary import Vocabulary

RUNS = 400


def normal_density(mean: np.ndarray, sd: np.ndarray) -> Density:
    def density(states: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        away = (states - mean) / sd
        return -0.5 * (away**2).sum(1), -away / sd

    return density


def test_runs_from_the_wrong_place_end_in_the_right_one() -> None:
    """Normal variables of known mean and spread; the start is two spreads off, as after many surprising tickets."""
    rng = np.random.default_rng(1)
    mean, sd = np.linspace(-3, 3, 20), np.geomspace(0.1, 10, 20)
    start = mean + sd * (2.0 + 0.8 * rng.normal(size=(RUNS, 20)))
    carried = carry_on(start, normal_density(mean, sd), seed=2, trajectories=4)
    found = carried.states[-1]
    # four standard errors
    assert found.mean(0) == pytest.approx(mean, abs=4 * sd.max() / np.sqrt(RUNS))
    assert np.abs((found.mean(0) - mean) / sd).max() < 4 / np.sqrt(RUNS)
    assert np.abs(found.std(0) / sd - 1).max() < 4 / np.sqrt(2 * RUNS)
    assert 0.5 < carried.acceptance < 1.0
    assert effective_draws(carried).min() > 0.9 * RUNS


def test_drift_tells_of_runs_that_have_not_arrived() -> None:
    """One variable varies a hundred times less at the start than it should: no few trajectories can mend that."""
    rng = np.random.default_rng(3)
    density = normal_density(np.zeros(5), np.ones(5))
    settled = carry_on(rng.normal(size=(RUNS, 5)), density, seed=4, trajectories=4)
    assert drift(settled).max() < 1.01
    narrow = rng.normal(size=(RUNS, 5)) * [1, 1, 1, 1, 0.01] + [0, 0, 0, 0, 1.0]
    assert drift(carry_on(narrow, density, seed=4, trajectories=4))[-1] > 1.01


@pytest.mark.slow
def test_the_density_is_that_of_the_model(
    tiny_vocabulary: Vocabulary, some_evidence: Callable[[Vocabulary, int], Evidence]
) -> None:
    """Values against PyMC's, up to one constant, and slopes against central differences."""
    inputs = model_inputs(some_evidence(tiny_vocabulary, 1), tiny_vocabulary)
    priors, prior = Priors(), link_prior(tiny_vocabulary, inputs.links)
    centring, rng = make_centring(inputs, priors), np.random.default_rng(5)
    share = rng.uniform(0, 1, len(centring.coefficient_spread))
    states = States(
        log_spread=rng.normal(-1, 0.3, (4, centring.learned)),
        log_minutes=rng.normal(-0.5, 0.2, 4),
        unit=rng.normal(size=(4, len(centring.parent_spread))),
        raw=rng.normal(0, 0.4, (4, len(centring.coefficient_spread))),
    )
    density = make_density(centring, share, pack_evidence(inputs, prior, priors), priors=priors)
    rows = put_together(states)
    value, slope = density(rows)
    model = build_model(inputs, prior, priors)
    with model:
        pm.set_data({"share": share})
    theirs = model.compile_logp()
    named = [
        {"spread_log__": spread, "minutes_spread_log__": minutes, "parent_unit": unit, "raw": raw}
        for spread, minutes, unit, raw in zip(
            states.log_spread, states.log_minutes, states.unit, states.raw, strict=True
        )
    ]
    differences = value - np.array([float(theirs(point)) for point in named])
    assert differences == pytest.approx(differences[0], abs=1e-8)
    assert float(np.std(value)) > 1.0
    steps = 1e-5 * np.eye(rows.shape[1])
    central = (density(rows[:1] + steps)[0] - density(rows[:1] - steps)[0]) / 2e-5
    assert slope[0] == pytest.approx(central, rel=1e-4, abs=1e-4)
    coefficient = to_coefficients(states, centring, share)
    again = to_raw(coefficient, states.log_spread, states.unit, centring=centring, share=share)
    assert again == pytest.approx(states.raw)
