"""Pooled rates against published posterior means, and against worlds drawn from the model itself."""

import numpy as np
import pytest

from analytics.pooled_rates import PooledRates, pool_rates

# Ten pumps: failures, thousands of hours, and posterior means. Data of Gaver and O'Muircheartaigh, Technometrics 29
# (1987); means under the priors of George, Makov and Smith, Scandinavian Journal of Statistics 20 (1993), worked out
# by quadrature. Our priors of the strengths are others, so only pumps that were watched for long must agree closely.
PUMP_FAILURES = np.array([5.0, 1, 5, 14, 3, 19, 1, 1, 4, 22])
PUMP_HOURS = np.array([94.3, 15.7, 62.9, 126, 5.24, 31.4, 1.05, 1.05, 2.1, 10.5])
PUMP_MEANS = [0.05982, 0.10183, 0.08924, 0.11579, 0.60134, 0.60939, 0.89254, 0.89254, 1.58631, 1.98983]


def test_pump_rates_have_the_published_means() -> None:
    means = pool_rates(PUMP_FAILURES, PUMP_HOURS, ["pump"] * 10).mean
    assert means == pytest.approx(PUMP_MEANS, rel=0.15)
    often = [0, 2, 3, 5]
    assert means[often] == pytest.approx(np.array(PUMP_MEANS)[often], rel=0.03)


def test_intervals_cover_rates_as_often_as_they_say_and_no_others() -> None:
    rng = np.random.default_rng(1)
    inside, shifted = [], []
    for _ in range(20):
        group = rng.integers(0, 6, 60)
        rate = 0.2 * rng.gamma(4.0, rng.gamma(4.0, 0.25, 6)[group] / 4.0)
        exposure = rng.lognormal(3.0, 1.0, 60)
        low, high = _interval(pool_rates(rng.poisson(rate * exposure).astype(float), exposure, group))
        inside.append(np.mean((low <= rate) & (rate <= high)))
        shifted.append(np.mean((low <= 1.6 * rate) & (1.6 * rate <= high)))
    assert 0.86 < np.mean(inside) < 0.94
    assert np.mean(shifted) < 0.8


def _interval(rates: PooledRates) -> tuple[np.ndarray, np.ndarray]:
    return rates.quantile(0.05), rates.quantile(0.95)


def test_equal_cells_may_be_given_once_with_their_number() -> None:
    apart = pool_rates(np.array([2.0, 2, 2, 9]), np.array([4.0, 4, 4, 8]), ["a", "a", "a", "b"])
    together = pool_rates(np.array([2.0, 9]), np.array([4.0, 8]), ["a", "b"], copies=np.array([3.0, 1]))
    assert together.mean == pytest.approx(apart.mean[[0, 3]])
    assert together.quantile(0.9) == pytest.approx(apart.quantile(0.9)[[0, 3]])
