"""One check and its posterior, as in the textbooks on sensitivity and false alarms."""

import numpy as np
import pytest

from analytics.suspects import update_masses

# (prior, sensitivity, false alarm, posterior after a hit, after a clear). First: Eddy 1982, in Kahneman, Slovic &
# Tversky, ch. 18, also Gigerenzer & Hoffrage, Psychological Review 102 (1995): "7.8 %", 8 of 103 (from memory). Second:
# Gigerenzer, Calculated Risks: 7 of 77, "about 9 %". Third: Gigerenzer's gynaecologists: 9 of 98, "about 1 in 10".
# The digits are Bayes' theorem written out: p s / (p s + (1 - p) f), p (1 - s) / (p (1 - s) + (1 - p)(1 - f)).
SCREENING = [
    pytest.param(0.01, 0.80, 0.096, 0.0776398, 0.0022298, id="eddy"),
    pytest.param(0.008, 0.90, 0.07, 0.0939457, 0.0008664, id="calculated-risks"),
    pytest.param(0.01, 0.90, 0.09, 0.0917431, 0.0011088, id="gynaecologists"),
]
HIT, CLEAR = np.array([0.80, 0.096]), np.array([0.20, 0.904])  # of the first row, (suspect, anything else)
PRIOR = np.array([0.01, 0.99])


@pytest.mark.parametrize(("prior", "sensitivity", "false_alarm", "after_hit", "after_clear"), SCREENING)
def test_one_result_gives_the_published_posterior(
    prior: float, sensitivity: float, false_alarm: float, after_hit: float, after_clear: float
) -> None:
    masses, hit = np.array([prior, 1 - prior]), np.array([sensitivity, false_alarm])
    assert update_masses(masses, hit)[0] == pytest.approx(after_hit, abs=5e-8)
    assert update_masses(masses, 1 - hit)[0] == pytest.approx(after_clear, abs=5e-8)


def test_two_results_multiply_whatever_their_order() -> None:
    # Odds form: 1/99 times 8.3333 twice; times 8.3333 and .221239 (likelihood ratios of Eddy's test).
    assert update_masses(update_masses(PRIOR, HIT), HIT)[0] == pytest.approx(0.412269, abs=5e-7)
    mixed = update_masses(update_masses(PRIOR, HIT), CLEAR)
    assert mixed[0] == pytest.approx(0.018282, abs=5e-7)
    np.testing.assert_allclose(update_masses(update_masses(PRIOR, CLEAR), HIT), mixed)


def test_a_result_that_is_equally_likely_everywhere_changes_nothing() -> None:
    masses = np.array([0.5, 0.3, 0.15, 0.05])
    np.testing.assert_allclose(update_masses(masses, np.full(4, 0.3)), masses)


def test_a_check_of_one_suspect_among_four() -> None:
    # Hand arithmetic: detection .9, false alarm .05; clear: weights .5 .95, .3 .1, .15 .95, .05 .95, over their sum.
    masses, found = np.array([0.50, 0.30, 0.15, 0.05]), np.array([0.05, 0.9, 0.05, 0.05])
    clear = update_masses(masses, 1 - found)
    np.testing.assert_allclose(clear, [0.683453, 0.043165, 0.205036, 0.068345], atol=5e-7)
    np.testing.assert_allclose(update_masses(masses, found), [0.081967, 0.885246, 0.024590, 0.008197], atol=5e-7)
    # What was not checked keeps its odds among itself.
    assert clear[0] / clear[2] == pytest.approx(0.50 / 0.15)
