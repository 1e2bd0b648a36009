"""Spare parts: published examples through the same functions that the order list uses, and the gamma-Poisson count."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as some
from scipy import stats

from analytics.errors import InputError
from analytics.spares import (
    LEAST_PER_YEAR,
    PartPrior,
    expected_served,
    fit_part_prior,
    newsvendor_stock,
    predict_uses,
    rate_interval,
    stock_for_service,
)


def test_the_spares_nomograph_example_keeps_eight() -> None:
    # Blanchard, Logistics Engineering and Management: 20 parts, 0.1 failures in 1,000 h, three months of 24 h days,
    # protection 95 %. Example from memory, figures computed.
    demand = stats.poisson(20 * 0.1 / 1000 * 3 * 30 * 24)
    assert demand.mean() == pytest.approx(4.32)
    assert demand.cdf([7, 8, 9]) == pytest.approx([0.9275, 0.9675, 0.9867], abs=5e-5)
    assert stock_for_service(demand, 0.95) == 8


@pytest.mark.parametrize(
    ("mean", "stocks"), [(0.5, [1, 2, 3]), (1, [2, 3, 4]), (2, [4, 5, 6]), (3, [5, 6, 8]), (5, [8, 9, 11])]
)
def test_stock_is_what_poisson_tables_say(mean: float, stocks: list[int]) -> None:
    # Cumulative Poisson tables (any textbook), protection 0.90, 0.95, 0.99; computed.
    assert [int(stock_for_service(stats.poisson(mean), level)) for level in (0.90, 0.95, 0.99)] == stocks
    assert stats.poisson(1).cdf(range(5)) == pytest.approx([0.3679, 0.7358, 0.9197, 0.9810, 0.9963], abs=5e-5)


def test_the_operations_course_exercise_keeps_eleven_and_sells_four() -> None:
    # Wharton, operations management course, exercise with a Poisson mean of 4.25 and 99.6 % in stock; the question is
    # published, the answer computed.
    demand = stats.poisson(4.25)
    assert demand.cdf([10, 11]) == pytest.approx([0.99557, 0.99849], abs=5e-6)
    assert stock_for_service(demand, 0.996) == 11
    assert float(expected_served(demand, 6)) == pytest.approx(3.9959, abs=5e-5)


@pytest.mark.parametrize(
    ("mean", "sd", "waiting", "holding", "stock"),
    [
        # Nahmias, Production and Operations Analysis, the newsstand: 11.73 and 4.74, costs from memory; the book rounds
        # z to 0.74 and has 15.24.
        (11.73, 4.74, 0.50, 0.15, 15.22),
        # Two published exercises on N(1000, 200), answers computed.
        (1000.0, 200.0, 40.0, 10.0, 1168.3),
        (1000.0, 200.0, 30.0, 20.0, 1050.7),
    ],
)
def test_newsvendor_examples(mean: float, sd: float, waiting: float, holding: float, stock: float) -> None:
    found = newsvendor_stock(stats.norm(mean, sd), waiting_cost=waiting, holding_cost=holding)
    assert found == pytest.approx(stock, abs=0.05 if mean > 100 else 0.005)


@settings(max_examples=60, deadline=None)
@given(
    mean=some.floats(0.05, 40.0), shape=some.floats(0.2, 50.0), level=some.sampled_from([0.9, 0.95, 0.98, 0.99, 0.999])
)
def test_stock_is_the_smallest_that_serves(mean: float, shape: float, level: float) -> None:
    demand = stats.nbinom(shape, shape / (shape + mean))
    stock = int(stock_for_service(demand, level))
    assert demand.cdf(stock) >= level
    assert stock == 0 or demand.cdf(stock - 1) < level
    assert newsvendor_stock(demand, waiting_cost=level, holding_cost=1 - level) == pytest.approx(stock, abs=1)


@pytest.mark.parametrize("level", [0.95, 0.99, 0.999])
def test_an_unsure_rate_needs_no_less_stock_than_a_sure_one(level: float) -> None:
    for mean in (0.3, 1.0, 2.5, 5.0, 12.0):
        unsure = stock_for_service(stats.nbinom(2.0, 2.0 / (2.0 + mean)), level)
        assert unsure >= stock_for_service(stats.poisson(mean), level)


def test_the_count_to_come_is_the_gamma_poisson_mixture() -> None:
    prior, used, expected = PartPrior(2.0, 0.5), np.array([0.0, 7.0]), np.array([1.0, 3.0])
    demand = predict_uses(used, expected, years=5.0, horizon_years=0.25, prior=prior)
    rng = np.random.default_rng(4)
    rate = rng.gamma(2.0 + used, 1.0 / (2.0 / (0.5 * expected) + 5.0), (200_000, 2))
    drawn = rng.poisson(rate * 0.25)
    assert demand.mean() == pytest.approx(drawn.mean(0), abs=0.01)
    assert demand.cdf(0) == pytest.approx((drawn == 0).mean(0), abs=0.01)
    low, high = rate_interval(used, expected, years=5.0, prior=prior)
    assert ((rate >= low) & (rate <= high)).mean(0) == pytest.approx([0.9, 0.9], abs=0.01)


def test_the_prior_finds_the_spread_it_was_made_with() -> None:
    rng = np.random.default_rng(8)
    expected = rng.uniform(0.2, 4.0, 400)
    used = rng.poisson(rng.gamma(1.5, 0.7 * expected / 1.5) * 5.0)
    prior = fit_part_prior(used, expected, years=5.0)
    assert prior.factor == pytest.approx(0.7, rel=0.15)
    assert prior.shape == pytest.approx(1.5, rel=0.35)


def test_a_part_never_used_is_still_needed_now_and_then() -> None:
    prior = fit_part_prior(np.array([0, 4, 9, 2, 0]), np.array([0.3, 1.0, 2.0, 0.5, 0.0]), years=5.0)
    demand = predict_uses(np.array([0.0, 0.0]), np.array([0.3, 0.0]), years=5.0, horizon_years=1.0, prior=prior)
    assert (demand.mean() > 0).all()
    assert demand.mean()[1] <= LEAST_PER_YEAR * prior.factor
    assert fit_part_prior(np.zeros(3), np.ones(3), years=1.0) == PartPrior(0.5, 1.0)


def test_numbers_that_mean_nothing_are_refused() -> None:
    with pytest.raises(InputError, match=r"between 0 and 1, like 0\.95"):
        stock_for_service(stats.poisson(1.0), 95)
    with pytest.raises(InputError, match="priced above 0"):
        newsvendor_stock(stats.poisson(1.0), waiting_cost=0.0, holding_cost=1.0)
    with pytest.raises(InputError, match="0 years"):
        fit_part_prior(np.ones(2), np.ones(2), years=0.0)
