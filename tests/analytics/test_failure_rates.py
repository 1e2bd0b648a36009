"""Failure rates against the NIST/SEMATECH e-Handbook, MIL-HDBK-189 (1981) and MIL-STD-690D."""

import numpy as np
import pytest
from scipy.stats import chi2

from analytics.errors import InputError
from analytics.failure_rates import (
    GammaRate,
    fit_power_law,
    laplace_trend,
    log_times,
    mtbf_interval,
    prior_from_50_95,
    rate_bound_without_failure,
)

NIST_TIMES, NIST_END = [5, 40, 43, 175, 389, 712, 747, 795, 1299, 1478], 1500.0
MIL189_TIMES = [
    *(2.6, 16.5, 16.5, 17.0, 21.4, 29.1, 33.3, 56.5, 63.1, 70.6, 73.0, 77.7, 93.9, 95.5, 98.1, 101.1, 132.0),
    *(142.2, 147.7, 149.0, 167.2, 190.7, 193.0, 198.7, 251.9, 282.5, 286.1),
]


@pytest.mark.parametrize(
    ("hours", "failures", "low", "high"), [(800, 2, 127.069, 2251.229), (3000, 6, 253.327, 1148.099)]
)
def test_mtbf_interval_is_that_of_nist_8_4_5_1(hours: float, failures: int, low: float, high: float) -> None:
    assert mtbf_interval(hours, failures, 0.9) == pytest.approx((low, high), abs=6e-4)


def test_mtbf_factors_are_those_of_the_nist_table() -> None:
    factors = {1: (0.2108, 19.4957), 3: (0.3869, 3.6689), 5: (0.4756, 2.5379), 10: (0.5895, 1.8432)}
    for failures, expected in factors.items():
        assert mtbf_interval(failures, failures, 0.9) == pytest.approx(expected, abs=6e-5)
    wider = {2: (0.2768, 8.2573), 4: (0.3906, 3.6702), 6: (0.4594, 2.7249)}
    for failures, expected in wider.items():
        assert mtbf_interval(failures, failures, 0.95) == pytest.approx(expected, abs=6e-5)


def test_without_a_failure_the_bound_is_that_of_nist_and_mil_std_690d() -> None:
    # NIST 8.4.5.1: T / 2.9957 at 95 %, T / 2.3026 at 90 %; MIL-STD-690D, 6.2: .916 at 60 %, 2.30 at 90 %
    bounds = [rate_bound_without_failure(1.0, confidence) for confidence in (0.95, 0.9, 0.6, 0.05)]
    assert bounds == pytest.approx([2.9957, 2.3026, 0.916291, 0.051293], abs=6e-5)
    # M level of MIL-STD-690D: 1 % in 1000 hours at 60 % confidence takes .0916 million unit-hours
    assert rate_bound_without_failure(0.0916291e6, 0.6) == pytest.approx(1e-5, rel=1e-6)
    assert mtbf_interval(10.0, 0, 0.9)[1] == np.inf
    with pytest.raises(InputError, match="no time"):
        rate_bound_without_failure(0.0, 0.9)


def test_two_judgements_make_the_prior_of_nist_8_2_5() -> None:
    prior = prior_from_50_95(600, 250)
    assert (prior.failures, prior.exposure) == pytest.approx((2.863055, 1522.506), rel=2e-6)
    with pytest.raises(InputError, match="shorter"):
        prior_from_50_95(250, 600)


def test_posterior_times_are_those_of_nist_8_4_6() -> None:
    belief = GammaRate(2, 1309).after(2, 2000)
    assert belief == GammaRate(4, 3309)
    times = [belief.mtbf_above(probability) for probability in (0.9, 0.8, 0.5, 0.1)]
    assert times == pytest.approx([495.301, 599.995, 901.129, 1896.526], abs=6e-4)


def test_power_law_is_that_of_nist_8_1_7_2() -> None:
    law = fit_power_law(NIST_TIMES, NIST_END)
    assert (law.shape_unbiased, law.shape, law.mtbf_at_end) == pytest.approx((0.483506, 0.537229, 310.234), abs=6e-4)
    # the handbook's a goes with the unbiased shape
    assert law.count / NIST_END**law.shape_unbiased == pytest.approx(0.2913, abs=6e-5)


def test_power_law_is_that_of_mil_hdbk_189_appendix_c() -> None:
    law = fit_power_law(MIL189_TIMES, 300.0)
    assert (law.shape, law.shape_unbiased, law.scale) == pytest.approx(
        (0.7163392624, 0.6898081786, 0.4538418614), abs=1e-9
    )
    assert (law.intensity(300.0), 1 / law.intensity(300.0)) == pytest.approx((0.0644705336, 15.5109620), abs=1e-7)


def test_the_two_trend_tests_disagree_on_the_nist_data() -> None:
    u, p = laplace_trend(NIST_TIMES, NIST_END)
    assert (u, p) == pytest.approx((-1.3269, 0.185), abs=6e-4)
    statistic = 2 * log_times(NIST_TIMES, NIST_END)
    assert (statistic, chi2.sf(statistic, 20)) == pytest.approx((37.228, 0.011), abs=6e-4)
