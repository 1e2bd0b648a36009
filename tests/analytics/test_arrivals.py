"""Season, growth and load against the world that sends the machines in; closed forms by scipy and scikit-learn."""

import json
from dataclasses import dataclass

import numpy as np
import pytest
from scipy import stats
from sklearn.linear_model import PoissonRegressor

from analytics.arrival_shares import machine_rates, share_out
from analytics.arrivals import ArrivalFit, Load, Months, expect_load, fit_arrivals
from analytics.scenario import World
from analytics.scenario_arrivals import PERIOD, draw_arrivals
from analytics.scenario_truth import world_from_truth
from pipelines.catalogue import read_vocabulary
from pipelines.month_names import calendar_months
from pipelines.settings import seed_folder

pytestmark = pytest.mark.slow

HISTORIES, TICKETS, FIVE_YEARS, QUARTER = 12, 4_000, 60, 3


@dataclass(frozen=True, eq=False)
class Seen:
    """One invented history: months, tickets in each, and the fit to all of them."""

    months: Months
    count: np.ndarray
    fit: ArrivalFit


@pytest.fixture(scope="module")
def world() -> World:
    told = json.loads((seed_folder() / "demo" / "truth.json").read_text(encoding="utf-8"))
    return world_from_truth(told, read_vocabulary(seed_folder() / "vocabulary"))


@pytest.fixture(scope="module")
def histories(world: World) -> list[Seen]:
    first = PERIOD[0].year * 12
    months = calendar_months(np.arange(first, PERIOD[1].year * 12 + PERIOD[1].month))
    seen = []
    for seed in range(HISTORIES):
        drawn = draw_arrivals(world, np.random.default_rng(seed), count=TICKETS, period=PERIOD)
        at = drawn.opened_on.astype("datetime64[M]").astype(int) + 1970 * 12
        count = np.bincount(at - first, minlength=len(months.number))
        seen.append(Seen(months, count, fit_arrivals(count, months)))
    return seen


def part(months: Months, rows: slice) -> Months:
    return Months(months.number[rows], months.days[rows])


def test_season_of_the_world_lies_in_the_intervals_at_their_level_and_a_shifted_one_does_not(
    world: World, histories: list[Seen]
) -> None:
    # factors whose logs sum to zero
    true = world.season / np.exp(np.log(world.season).mean())
    ends = [seen.fit.season()[1:] for seen in histories]
    inside = [(low <= true) & (true <= high) for low, high in ends]
    shifted = [(low <= np.roll(true, 1)) & (np.roll(true, 1) <= high) for low, high in ends]
    print(f"season covered {np.mean(inside):.3f}, of the month before {np.mean(shifted):.3f}")
    # 0.9 up to three and a half standard errors of 144 trials
    assert np.mean(inside) >= 0.81
    assert np.mean(shifted) < 0.6


def test_growth_of_the_world_lies_in_the_intervals_and_none_does_not(world: World, histories: list[Seen]) -> None:
    ends = [seen.fit.trend()[1:] for seen in histories]
    inside = [low <= world.yearly_growth <= high for low, high in ends]
    print(f"growth covered {sum(inside)} of {HISTORIES}")
    # fewer would come about once in 2,000 (binomial of scipy)
    assert sum(inside) >= stats.binom.ppf(0.0005, HISTORIES, 0.9)
    assert sum(low <= 0.0 <= high for low, high in ends) <= 1


def test_next_quarter_lies_in_the_interval_at_its_level_over_rolling_origins(histories: list[Seen]) -> None:
    inside, beside = [], []
    for seen in histories[:4]:
        for origin in range(FIVE_YEARS, len(seen.count) - QUARTER + 1, QUARTER):
            load = next_quarter(seen, origin)
            came = seen.count[origin : origin + QUARTER].sum()
            inside.append(load.low <= came <= load.high)
            beside.append(load.low <= 1.3 * came <= load.high)
    print(f"next quarter covered {np.mean(inside):.3f} of {len(inside)}, shifted {np.mean(beside):.3f}")
    # whole numbers: the interval holds at least its level; 0.9 less four standard errors of some 150 trials
    assert 0.80 <= np.mean(inside) <= 0.99
    assert np.mean(beside) < 0.75


def next_quarter(seen: Seen, origin: int) -> Load:
    fit = fit_arrivals(seen.count[:origin], part(seen.months, slice(0, origin)))
    return expect_load(fit, part(seen.months, slice(origin, origin + QUARTER)))


def test_coefficients_are_those_of_a_poisson_regression_where_the_ridge_says_little() -> None:
    months = calendar_months(np.arange(2010 * 12, 2024 * 12))
    season = 1.0 + 0.5 * np.sin(2 * np.pi * months.number / 12)
    count = np.random.default_rng(3).poisson(900.0 * season * months.days / 30.4)
    fit = fit_arrivals(count, months)
    dummies = np.eye(12)[months.number % 12]
    design = np.column_stack([(months.number - fit.origin) / 12, dummies])
    outside = PoissonRegressor(alpha=1e-9, max_iter=3000, tol=1e-10)
    outside.fit(design, count / months.days, sample_weight=months.days)
    log_season = outside.coef_[1:] - outside.coef_[1:].mean()
    np.testing.assert_allclose(np.log(fit.season()[0]), log_season, atol=0.01)
    np.testing.assert_allclose(np.log1p(fit.trend()[0]), outside.coef_[0], atol=0.002)


def test_more_scatter_than_chance_is_seen_and_widens_the_interval() -> None:
    months = calendar_months(np.arange(2012 * 12, 2024 * 12))
    rng = np.random.default_rng(5)
    calm = fit_arrivals(rng.poisson(60.0, len(months.days)), months)
    wild = fit_arrivals(rng.poisson(60.0 * rng.gamma(10.0, 0.1, len(months.days))), months)
    # gamma of shape 10: variance = mean + mean^2 / 10
    assert calm.scatter < 0.01
    assert 0.04 < wild.scatter < 0.2
    ahead = calendar_months(np.arange(2024 * 12, 2024 * 12 + 3))
    widths = [load.high - load.low for load in (expect_load(fit, ahead) for fit in (calm, wild))]
    assert widths[1] > 1.5 * widths[0]


def test_shares_sum_to_all_and_a_family_with_few_tickets_leans_on_the_others() -> None:
    shares = share_out(np.array([[80, 20, 0], [160, 40, 0], [0, 1, 0]]))
    assert shares.mean.sum() == pytest.approx(1.0)
    assert shares.mean[2, 0] > shares.mean[2, 2]
    # a large family keeps its own counts
    np.testing.assert_allclose(shares.mean[1, 0] / shares.mean[1].sum(), 0.8, atol=0.02)


def test_rates_of_machines_hold_the_truth_at_their_level_and_a_group_with_much_keeps_its_own() -> None:
    rng = np.random.default_rng(6)
    inside, beside = [], []
    for _ in range(40):
        true, years = rng.gamma(4.0, 0.2, 10), rng.integers(3, 60, 10)
        _, low, high = machine_rates(rng.poisson(true * years), years)
        inside.append((low <= true) & (true <= high))
        beside.append((low <= 1.6 * true) & (1.6 * true <= high))
    print(f"machine rates covered {np.mean(inside):.3f}, shifted {np.mean(beside):.3f}")
    assert 0.85 <= np.mean(inside) <= 0.95
    assert np.mean(beside) < 0.75
    rate, low, high = machine_rates(np.array([90_000, 3]), np.array([100_000, 2]))
    # a gamma distribution of the count alone, by scipy
    np.testing.assert_allclose([low[0], high[0]], stats.gamma.ppf([0.05, 0.95], 90_000) / 100_000, atol=1e-4)
    assert 0.0 < rate[1] < 1.5
