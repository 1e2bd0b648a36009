"""Belief about one case: laws, textbook values, and what a shop would expect of it."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from analytics.advice import advise
from analytics.case import Case, CheckResult
from analytics.errors import InputError
from analytics.many_cases import mean_odds, rank_many
from analytics.posterior import Posterior
from analytics.suspects import Belief, belief, rank_suspects, weighted_quantiles
from analytics.vocabulary import Vocabulary

STUCK = Case(symptom="stuck", family="crane", shop="Harbour", age_years=40)
OUTCOMES = [
    ("look_at_plug", "fault_found"),
    ("look_at_plug", "clear"),
    ("meter_coil", "clear"),
    ("reseat_plug", "not_cured"),
    ("clean_switch", "not_cured"),
    ("meter_coil", "inconclusive"),
]


def after(*results: tuple[str, str]) -> Case:
    return replace(STUCK, results=tuple(CheckResult(check, outcome) for check, outcome in results))


def chance(found: Belief, suspect: str) -> float:
    return float(found.mean[found.suspects.index(suspect)])


@settings(derandomize=True, deadline=None, max_examples=40)
@given(st.lists(st.sampled_from(OUTCOMES), max_size=5))
def test_belief_sums_to_one_and_the_order_of_checks_does_not_matter(
    tiny_posterior: Posterior, tiny_vocabulary: Vocabulary, results: list[tuple[str, str]]
) -> None:
    distinct = list(dict(results).items())
    found = belief(tiny_posterior, after(*distinct), tiny_vocabulary)
    turned = belief(tiny_posterior, after(*reversed(distinct)), tiny_vocabulary)
    assert found.mean.sum() == pytest.approx(1.0)
    assert (found.interval(0.9)[0] <= found.interval(0.9)[1]).all()
    assert turned.mean == pytest.approx(found.mean)


def test_masses_are_summed_over_draws_and_divided_once() -> None:
    """Draws (.9, .1) and (.1, .9), a reading with P(+) .9 and .1: .9, not the average of normalised draws .7439.

    Hand arithmetic: (.5 x .9 x .9 + .5 x .1 x .9) / (that + .5 x .1 x .1 + .5 x .9 x .1) = .45 / .5.
    """
    mass = np.array([[0.9, 0.1], [0.1, 0.9]]) / 2 * np.array([0.9, 0.1])
    found = Belief(("a", "b"), mass / mass.sum())
    assert found.mean[0] == pytest.approx(0.9)


def test_a_look_repeated_tells_nothing_new_but_a_remedy_does(
    tiny_posterior: Posterior, tiny_vocabulary: Vocabulary
) -> None:
    once = belief(tiny_posterior, after(("look_at_plug", "clear")), tiny_vocabulary)
    twice = belief(tiny_posterior, after(("look_at_plug", "clear"), ("look_at_plug", "clear")), tiny_vocabulary)
    assert twice.mean == pytest.approx(once.mean)
    tried = belief(tiny_posterior, after(("reseat_plug", "not_cured")), tiny_vocabulary)
    again = belief(tiny_posterior, after(("reseat_plug", "not_cured"), ("reseat_plug", "not_cured")), tiny_vocabulary)
    assert 0 < chance(again, "plug_loose") < chance(tried, "plug_loose")


def test_an_inconclusive_check_changes_nothing(tiny_posterior: Posterior, tiny_vocabulary: Vocabulary) -> None:
    before = belief(tiny_posterior, STUCK, tiny_vocabulary)
    assert belief(tiny_posterior, after(("meter_coil", "inconclusive")), tiny_vocabulary).mean == pytest.approx(
        before.mean
    )


def test_a_missing_year_is_the_mixture_of_the_ages(tiny_posterior: Posterior, tiny_vocabulary: Vocabulary) -> None:
    family = tiny_posterior.positions["family"]["crane"]
    share = tiny_posterior.arrays["age_share"][family]
    ages = [band.from_age for band in tiny_vocabulary.age_bands]
    by_age = [belief(tiny_posterior, replace(STUCK, age_years=age), tiny_vocabulary).mean for age in ages]
    unknown = belief(tiny_posterior, replace(STUCK, age_years=None), tiny_vocabulary)
    assert unknown.mean == pytest.approx(share @ by_age)


def test_weighted_quantiles_with_equal_weights_are_order_statistics() -> None:
    values = np.arange(100.0)[:, None]
    assert weighted_quantiles(values, np.ones(100), (0.05, 0.5, 0.95))[:, 0] == pytest.approx([4, 49, 94])


def test_thousands_of_cases_get_the_odds_of_one(tiny_posterior: Posterior, tiny_vocabulary: Vocabulary) -> None:
    others = [replace(STUCK, also_present=("dark",)), replace(STUCK, also_absent=("dark",), age_years=None)]
    looked = after(("look_at_plug", "clear"))
    cases = [STUCK, replace(STUCK, shop="nobody's"), replace(STUCK, age_years=None), looked, *others]
    rows = rank_many(tiny_posterior, cases, tiny_vocabulary)
    means = mean_odds(tiny_posterior, cases, tiny_vocabulary)
    for at, case in enumerate(cases):
        assert means[at] == pytest.approx(belief(tiny_posterior, case, tiny_vocabulary).mean, abs=1e-5)
        ranked = rank_suspects(belief(tiny_posterior, case, tiny_vocabulary), tiny_vocabulary)
        got = rows[rows["case"] == at].set_index("suspect")
        for odds in ranked:
            assert got.loc[odds.suspect, "probability"] == pytest.approx(odds.probability, abs=1e-5)
            assert got.loc[odds.suspect, "low_90"] == pytest.approx(odds.low, abs=0.05)


def test_advice_leaves_out_what_has_given_its_answer(tiny_posterior: Posterior, tiny_vocabulary: Vocabulary) -> None:
    first = advise(tiny_posterior, STUCK, tiny_vocabulary).answer
    assert first.check in tiny_vocabulary.checks
    later = advise(tiny_posterior, after(("look_at_plug", "clear")), tiny_vocabulary).answer
    assert "look_at_plug" not in {choice.check for choice in later.choices}


def test_an_unknown_symptom_is_refused_with_the_known_ones(
    tiny_posterior: Posterior, tiny_vocabulary: Vocabulary
) -> None:
    with pytest.raises(InputError, match=r"No symptom is called 'haunted'\. Known symptoms: stuck, dark"):
        advise(tiny_posterior, replace(STUCK, symptom="haunted"), tiny_vocabulary)
