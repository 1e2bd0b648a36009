"""Elicited priors against another program's values, conjugate arithmetic, and wishes nobody can meet."""

import doctest
import re

import pytest
from scipy.stats import beta

from analytics import elicitation
from analytics.elicitation import (
    Rule,
    beta_from_rule,
    rule_priors,
)
from analytics.errors import InputError


def test_examples_in_docstrings_run() -> None:
    assert doctest.testmod(elicitation).failed == 0


def test_eight_in_ten_surely_between_5_and_9_5_is_what_preliz_makes_of_it() -> None:
    # PreliZ 0.28: maxent(Beta(), 0.5, 0.95, 0.95, fixed_stat=("mode", 0.8)) gives Beta(8.84, 2.96).
    assert beta_from_rule(0.8, 0.5, 0.95, tickets=None) == pytest.approx((8.84, 2.96), abs=0.005)


@pytest.mark.parametrize(
    ("best", "low", "high"), [(0.8, 0.5, 0.95), (0.1, 0.02, 0.3), (0.0, 0.0, 0.2), (1.0, 0.7, 1.0), (0.5, 0.45, 0.55)]
)
def test_the_wish_is_what_comes_out(best: float, low: float, high: float) -> None:
    a, b = beta_from_rule(best, low, high, tickets=None)
    assert beta.cdf(high, a, b) - beta.cdf(low, a, b) == pytest.approx(0.95)
    assert (a - 1) / (a + b - 2) == pytest.approx(best)


def test_worth_ten_tickets_is_knowing_nothing_and_ten_tickets() -> None:
    # Uniform = Beta(1, 1); eight tickets for and two against (conjugate arithmetic).
    assert beta_from_rule(0.8, None, None, tickets=10) == pytest.approx((9, 3))


def test_of_interval_and_stake_the_more_modest_counts() -> None:
    by_interval = beta_from_rule(0.8, 0.5, 0.95, tickets=None)
    assert beta_from_rule(0.8, 0.5, 0.95, tickets=15) == by_interval
    assert beta_from_rule(0.8, 0.5, 0.95, tickets=6) == pytest.approx((1 + 6 * 0.8, 1 + 6 * 0.2))


@pytest.mark.parametrize(
    ("best", "low", "high", "tickets", "reason"),
    [
        (0.8, 0.75, 0.85, 10, "is worth about 250 tickets, not 10"),
        (0.0, 0.0, 0.3, 200, "is worth about 7.4 tickets, not 200"),
        (0.8, 0.2, 0.5, None, "contradicts itself"),
        (0.99, 0.2, 0.5, None, "contradicts itself"),
        (0.8, 0.0, 1.0, None, "says nothing"),
        (0.001, 0.0, 0.99, None, "says nothing"),
        (0.8, 0.799, 0.801, None, "too near to what is most plausible"),
        (0.1, 0.09, 0.9, None, "too near to what is most plausible"),
        (0.3, 0.3, 0.4, None, "too near to what is most plausible"),
    ],
)
def test_an_impossible_wish_is_refused_and_the_nearest_named_is_possible(
    best: float, low: float, high: float, tickets: float | None, reason: str
) -> None:
    with pytest.raises(InputError, match=reason) as refusal:
        beta_from_rule(best, low, high, tickets=tickets)
    named = re.search(r"nearest possible: .*between (\S+) and ([\d.]+\d|\d+)", str(refusal.value))
    assert named
    nearest_low, nearest_high = (float(text) / 10 for text in named.groups())
    a, b = beta_from_rule(best, nearest_low, nearest_high, tickets=tickets)
    assert a >= 1
    assert b >= 1


@pytest.mark.parametrize(
    ("wish", "tickets", "reason"),
    [
        ((1.2, 0.5, 0.9), None, "About 12 in 10 is not possible. Say a number from 0 to 10"),
        ((0.8, 0.9, 0.5), None, "smaller one first"),
        ((0.8, 0.5, 0.95), 0, "more than 0, up to 1000; the nearest possible is 1"),
        ((0.8, 0.5, 0.95), 5000, "the nearest possible is 1000"),
        ((0.8, None, None), None, "Say both ends"),
        ((0.8, 0.5, None), 10, "Say both ends"),
    ],
)
def test_half_a_wish_is_refused(wish: tuple[float, float, float], tickets: float | None, reason: str) -> None:
    with pytest.raises(InputError, match=reason):
        beta_from_rule(*wish, tickets=tickets)


def test_rules_become_priors_of_their_link() -> None:
    rule = Rule("dead_machine", "mains_fuse_blown", best=0.5, low=None, high=None, tickets=4, who="the bench")
    assert rule_priors([rule]) == (("dead_machine", "mains_fuse_blown", 3.0, 3.0),)
