"""Changes that are there are found, and those that are not are seldom named."""

import numpy as np
import pytest
from scipy import stats

from analytics.change_points import (
    LONGEST_FALSE_ALARM_RATE,
    NAMED_FROM,
    PRIOR_ODDS,
    change_in_minutes,
    change_in_shares,
    change_probability,
    normal_evidence,
)

PERIODS, SERIES = 40, 1_000


def test_evidence_of_log_minutes_is_the_multivariate_t_of_scipy() -> None:
    values = np.array([3.1, 4.4, 4.0, 5.2])
    # normal with a normal-inverse-gamma prior (worth 1/4 around log 60, shape 2, scale 1): a t distribution with
    # 2 x shape degrees of freedom and shape matrix scale / shape x (I + 1 1' / worth)
    shape = 0.5 * (np.eye(4) + np.ones((4, 4)) / 0.25)
    expected = stats.multivariate_t.logpdf(values, np.full(4, np.log(60.0)), shape, df=4)
    assert normal_evidence(4, values.sum(), (values**2).sum()) == pytest.approx(expected)


def test_evidence_of_two_stretches_is_weighed_by_hand() -> None:
    # four periods of one ticket each, hits 0 0 1 1; the only place of a change is the middle
    def score(first: int, last: int) -> float:
        whole = {(0, 4): 2 * 2 / 120, (0, 2): 2 / 6, (2, 4): 2 / 6}  # B(1 + hits, 1 + misses), by factorials
        return float(np.log(whole[first, last]))

    odds = PRIOR_ODDS * (1 / 3) ** 2 / (1 / 30)
    assert change_probability(score, 0, 4) == (pytest.approx(odds / (1 + odds)), 2)
    assert change_in_shares(np.array([0, 0, 1, 1]), np.ones(4)) == ()


@pytest.mark.parametrize("share", [0.1, 0.35, 0.8])
def test_constant_shares_are_called_changed_at_most_at_the_stated_rate(share: float) -> None:
    rng = np.random.default_rng(11)
    tries = rng.integers(20, 120, (SERIES, PERIODS))
    alarms = sum(bool(change_in_shares(rng.binomial(row, share), row)) for row in tries)
    print(f"share {share}: {alarms} of {SERIES} constant series called changed, allowed {LONGEST_FALSE_ALARM_RATE:.4f}")
    # a true rate at the limit gives more than this once in a thousand (binomial of scipy)
    assert alarms <= stats.binom.ppf(0.999, SERIES, LONGEST_FALSE_ALARM_RATE)


def test_constant_minutes_are_called_changed_at_most_at_the_stated_rate() -> None:
    rng = np.random.default_rng(12)
    alarms = sum(bool(_changes_in(rng, np.full(PERIODS, 3.9))) for _ in range(SERIES))
    print(f"minutes: {alarms} of {SERIES} constant series called changed")
    assert alarms <= stats.binom.ppf(0.999, SERIES, LONGEST_FALSE_ALARM_RATE)


def test_changes_that_are_there_are_found_at_their_place() -> None:
    rng = np.random.default_rng(13)
    share = np.repeat([0.3, 0.5, 0.3], [15, 12, 13])
    tries = np.full(PERIODS, 80)
    found = change_in_shares(rng.binomial(tries, share), tries)
    assert [change.at for change in found] == pytest.approx([15, 27], abs=1)
    assert all(change.probability >= NAMED_FROM for change in found)
    (quicker,) = _changes_in(rng, np.repeat([4.2, 3.9], [22, 18]))
    assert abs(quicker.at - 22) <= 1


def _changes_in(rng: np.random.Generator, middle: np.ndarray) -> tuple:  # type: ignore[type-arg]
    logs = rng.normal(middle[:, None], 0.6, (len(middle), 60))
    return change_in_minutes(np.full(len(middle), 60), logs.sum(1), (logs**2).sum(1))
