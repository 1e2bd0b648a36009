"""Four textbook posteriors, sampled through `analytics.fit`, against exact or published means."""

import arviz as az
import numpy as np
import pymc as pm
import pytest
import xarray as xr
from numpy.typing import ArrayLike

from analytics.fit import sample_model

pytestmark = pytest.mark.slow

# A comparison within 4 MCSE says nothing when the MCSE is large: demand at least this many effective draws.
LEAST_EFFECTIVE_DRAWS = 400


def assert_mean(draws: xr.DataArray, expected: ArrayLike, reference_error: ArrayLike = 0.0) -> None:
    """Posterior means within 4 Monte Carlo standard errors, that of the reference included."""
    assert (az.ess(draws, method="mean") > LEAST_EFFECTIVE_DRAWS).all()
    error = np.hypot(az.mcse(draws, method="mean"), np.asarray(reference_error))
    distance = np.abs(draws.mean(("chain", "draw")) - np.asarray(expected)) / error
    assert (distance < 4).all()


# Gaver & O'Muircheartaigh, Technometrics 29 (1987) 1-15, as in BUGS Examples vol. 1 ("Pumps"), priors of George, Makov
# & Smith 1993. Failures x in t thousand hours. Means: two-dimensional quadrature (1500 x 3000 grid) of the marginal
# posterior, not the BUGS manual, whose alpha .73 and beta .98 carry the Monte Carlo error of their time.
PUMP_FAILURES = np.array([5, 1, 5, 14, 3, 19, 1, 1, 4, 22])
PUMP_HOURS = np.array([94.3, 15.7, 62.9, 126, 5.24, 31.4, 1.05, 1.05, 2.1, 10.5])
PUMP_MEAN = [0.05982, 0.10183, 0.08924, 0.11579, 0.60134, 0.60939, 0.89254, 0.89254, 1.58631, 1.98983]


@pytest.fixture(scope="module")
def pumps() -> xr.Dataset:
    with pm.Model(coords={"pump": np.arange(1, 11)}) as model:
        alpha, beta = pm.Exponential("alpha", 1.0), pm.Gamma("beta", 0.1, 1.0)
        rate = pm.Gamma("rate", alpha, beta, dims="pump")
        pm.Poisson("failures", rate * PUMP_HOURS, observed=PUMP_FAILURES, dims="pump")
    return sample_model(model, seed=1, draws=1000)


def test_pump_rates_match_quadrature(pumps: xr.Dataset) -> None:
    assert_mean(pumps["rate"], PUMP_MEAN)
    assert_mean(pumps["alpha"], 0.69717)
    assert_mean(pumps["beta"], 0.92681)


def test_short_watched_pumps_borrow_from_the_others(pumps: xr.Dataset) -> None:
    mean, raw = pumps["rate"].mean(("chain", "draw")), PUMP_FAILURES / PUMP_HOURS
    # One failure each: in 15.7 thousand hours (pump 2), and in 1.05 thousand hours (pumps 7 and 8).
    assert mean.sel(pump=2) > 1.3 * raw[1]
    assert (mean.sel(pump=[7, 8]) < raw[[6, 7]]).all()
    # Pump 4, watched longest, moves least, in proportion.
    assert np.abs(mean.values / raw - 1)[[1, 2, 6, 8]].min() > np.abs(mean.values / raw - 1)[3]


# Tarone, Biometrics 38 (1982) 215-220; Gelman et al., Bayesian Data Analysis, 3rd ed., Table 5.1: tumours y among n
# rats, 71 groups. Prior proportional to (alpha + beta)^(-5/2), there section 5.3. Means: 800 x 1200 grid; the book
# prints E(alpha) 2.4, E(beta) 14.3 (from memory).
RATS = np.array(
    [(0, 20)] * 7 + [(0, 19)] * 4 + [(0, 18)] * 2 + [(0, 17)] + [(1, 20)] * 4 + [(1, 19)] * 2 + [(1, 18)] * 2
    + [(3, 27), (2, 25), (2, 24), (2, 23)] + [(2, 20)] * 6
    + [(1, 10), (5, 49), (2, 19), (5, 46), (2, 17), (7, 49), (7, 47), (3, 20), (3, 20), (2, 13), (9, 48), (10, 50)]
    + [(4, 20)] * 7 + [(10, 48)] + [(4, 19)] * 3 + [(5, 22), (11, 46), (12, 49), (5, 20), (5, 20), (6, 23), (5, 19)]
    + [(6, 22)] + [(6, 20)] * 3 + [(16, 52), (15, 46), (15, 47), (9, 24), (4, 14)]
)  # fmt: skip


@pytest.fixture(scope="module")
def rats() -> xr.Dataset:
    tumours, animals = RATS.T
    with pm.Model(coords={"group": np.arange(1, 72)}) as model:
        # Uniform on the mean and on the size^(-1/2) is (alpha + beta)^(-5/2) on alpha and beta.
        mean, shrinkage = pm.Uniform("mean"), pm.Uniform("shrinkage", 0.0, 2.0)
        alpha = pm.Deterministic("alpha", mean / shrinkage**2)
        beta = pm.Deterministic("beta", (1 - mean) / shrinkage**2)
        theta = pm.Beta("theta", alpha, beta, dims="group")
        pm.Binomial("tumours", animals, theta, observed=tumours, dims="group")
    return sample_model(model, seed=2, draws=1000)


def test_rat_tumour_rates_match_the_grid(rats: xr.Dataset) -> None:
    assert (len(RATS), *RATS.sum(0)) == (71, 267, 1739)
    assert_mean(rats["alpha"], 2.4027)
    assert_mean(rats["beta"], 14.320)
    assert_mean(rats["theta"].sel(group=[1, 33, 54, 70, 71]), [0.06357, 0.12677, 0.18029, 0.28289, 0.21086])


# BUGS Examples vol. 1, "Surgical: institutional ranking": deaths r among n operations in hospitals A to L. Means:
# Gauss-Hermite quadrature on a grid of (mu, sigma); the manual prints mu -2.56, sigma .40 (from memory).
SURGICAL_DEATHS = np.array([0, 18, 8, 46, 8, 13, 9, 31, 14, 8, 29, 24])
SURGICAL_OPERATIONS = np.array([47, 148, 119, 810, 211, 196, 148, 215, 207, 97, 256, 360])
SURGICAL_MEAN = [
    *(0.05323, 0.10316, 0.07075, 0.05930, 0.05178, 0.06926),
    *(0.06673, 0.12315, 0.06999, 0.07855, 0.10214, 0.06852),
]


@pytest.fixture(scope="module")
def surgical() -> xr.Dataset:
    with pm.Model(coords={"hospital": list("ABCDEFGHIJKL")}) as model:
        mu, variance = pm.Normal("mu", 0.0, 1000.0), pm.InverseGamma("variance", 0.001, 0.001)
        sigma = pm.Deterministic("sigma", variance**0.5)
        logit = pm.Normal("logit", mu, sigma, dims="hospital")
        pm.Deterministic("risk", pm.math.invlogit(logit), dims="hospital")
        pm.Binomial("deaths", SURGICAL_OPERATIONS, logit_p=logit, observed=SURGICAL_DEATHS, dims="hospital")
    return sample_model(model, seed=3, draws=1000)


def test_hospital_risks_match_quadrature(surgical: xr.Dataset) -> None:
    assert_mean(surgical["risk"], SURGICAL_MEAN)
    assert_mean(surgical["mu"], -2.5538)
    assert_mean(surgical["sigma"], 0.4035)


def test_no_death_among_47_is_not_no_risk(surgical: xr.Dataset) -> None:
    risk = surgical["risk"].mean(("chain", "draw"))
    assert surgical["risk"].sel(hospital="A").quantile(0.05) > 0.01
    assert risk.sel(hospital="A") < risk.sel(hospital="D")


def test_every_hospital_is_drawn_towards_the_typical_one(surgical: xr.Dataset) -> None:
    raw, typical = SURGICAL_DEATHS / SURGICAL_OPERATIONS, 0.07284  # population mean, same quadrature
    moved = surgical["risk"].mean(("chain", "draw")).values - raw
    np.testing.assert_array_equal(np.sign(moved), np.sign(typical - raw))


# Rubin 1981; Gelman et al., Bayesian Data Analysis, 3rd ed., section 5.5. Means and second moments: reference
# posterior "eight_schools-eight_schools_noncentered" of stan-dev/posteriordb, 10,000 draws.
SCHOOL_EFFECT = [28, 8, -3, 7, -1, 1, 18, 12]
SCHOOL_ERROR = [15, 10, 16, 11, 9, 11, 10, 18]
SCHOOL_MEAN = np.array([6.1505, 4.9396, 3.9059, 4.7960, 3.6144, 4.0511, 6.3172, 4.8840])
SCHOOL_SQUARE = np.array([69.363, 45.979, 43.139, 45.761, 34.358, 39.413, 64.933, 52.128])
REFERENCE_DRAWS = 10_000


def reference_error(mean: ArrayLike, square: ArrayLike) -> np.ndarray:
    return np.asarray(np.sqrt((np.asarray(square) - np.asarray(mean) ** 2) / REFERENCE_DRAWS))


@pytest.fixture(scope="module")
def schools() -> xr.Dataset:
    with pm.Model(coords={"school": list("ABCDEFGH")}) as model:
        mu, tau = pm.Normal("mu", 0.0, 5.0), pm.HalfCauchy("tau", 5.0)
        raw = pm.Normal("raw", dims="school")
        theta = pm.Deterministic("theta", mu + tau * raw, dims="school")
        pm.Normal("effect", theta, SCHOOL_ERROR, observed=SCHOOL_EFFECT, dims="school")
    return sample_model(model, seed=4, draws=1000)


def test_eight_schools_match_the_reference_posterior(schools: xr.Dataset) -> None:
    assert_mean(schools["theta"], SCHOOL_MEAN, reference_error(SCHOOL_MEAN, SCHOOL_SQUARE))
    assert_mean(schools["mu"], 4.4105, reference_error(4.4105, 30.403))
    assert_mean(schools["tau"], 3.6021, reference_error(3.6021, 23.204))


def test_the_best_school_is_not_believed_at_its_word(schools: xr.Dataset) -> None:
    theta = schools["theta"].mean(("chain", "draw"))
    assert theta.sel(school="A") < 10 < SCHOOL_EFFECT[0]
    assert theta.sel(school="C") > 0 > SCHOOL_EFFECT[2]
