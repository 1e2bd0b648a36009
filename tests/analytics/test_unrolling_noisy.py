"""Noise is seen through where many shops agree, and what is not known is not invented."""

import numpy as np
import pandas as pd
import pytest
from scipy.stats import dlaplace, poisson

from analytics.noisy_counts import expected_under_noise, laplace_variance
from analytics.unrolling_noisy import NoisyCounts, place_noisy_families, unroll_noisy
from analytics.vocabulary import Vocabulary

EPSILON = 1.0


@pytest.mark.parametrize("epsilon", [0.3, 1.0, 4.0])
def test_the_variance_of_the_noise_is_that_of_a_library(epsilon: float) -> None:
    """scipy.stats.dlaplace: P(x) = tanh(a / 2) exp(-a |x|)."""
    assert laplace_variance(epsilon) == pytest.approx(dlaplace(epsilon).var())


@pytest.mark.parametrize(("rate", "told", "epsilon"), [(3.0, 5, 1.0), (0.4, 0, 0.5), (20.0, 12, 2.0), (7.0, 0, 0.7)])
def test_a_noisy_count_is_expected_as_bayes_rule_has_it(rate: float, told: int, epsilon: float) -> None:
    """By listing: scipy.stats.poisson times the chance of what was told; told as 0 was 0 or less."""
    counts = np.arange(200)
    noise = dlaplace(epsilon)
    chance = poisson(rate).pmf(counts) * (noise.pmf(told - counts) if told else noise.cdf(-counts))
    expected = counts @ chance / chance.sum()
    found = expected_under_noise(np.array([rate]), np.array([told]), epsilon)
    assert found[0] == pytest.approx(expected, rel=1e-6)


type Shops = list[NoisyCounts]


def _shops(rng: np.random.Generator, count: int, vocabulary: Vocabulary) -> tuple[Shops, Shops]:
    """By complaint and by family: shops of about 40 tickets of one complaint.

    Three plugs in four are of cranes, three switches in four of pianos.
    """
    odds = {"plug_loose": 0.6, "switch_dirty": 0.35, "coil_open": 0.05}
    cranes = {"plug_loose": 0.75, "switch_dirty": 0.25, "coil_open": 0.5}
    noise, by_complaint, by_family = dlaplace(EPSILON), [], []
    for at in range(count):
        cells, families = [], []
        for symptom in vocabulary.symptoms:
            for suspect in (*vocabulary.suspects_of(symptom), ""):
                mean = 40 * odds.get(suspect, 0.0) if symptom == "stuck" else 0.0
                cells.append((symptom, suspect, rng.poisson(mean) + noise.rvs(random_state=rng)))
        for suspect in vocabulary.suspects:
            share = cranes.get(suspect, 0.5)
            for family, part in (("crane", share), ("piano", 1.0 - share), ("", 0.0)):
                told = rng.poisson(40 * odds.get(suspect, 0.0) * part) + noise.rvs(random_state=rng)
                families.append((suspect, family, told))
        for told, rows, first in ((by_complaint, cells, "symptom"), (by_family, families, "suspect")):
            columns = [first, "suspect" if first == "symptom" else "family", "tickets"]
            told.append(NoisyCounts(f"club-{at}", pd.DataFrame(rows, columns=columns).query("tickets > 0"), EPSILON))
    return by_complaint, by_family


def test_odds_and_families_come_back_from_behind_the_noise(tiny_vocabulary: Vocabulary) -> None:
    """Thirty shops. Plain sums would say more of what never happens: noise below 0 is cut away, noise above is not."""
    told, by_family = _shops(np.random.default_rng(3), 30, tiny_vocabulary)
    cells = place_noisy_families(unroll_noisy(told, tiny_vocabulary), by_family, tiny_vocabulary)
    named = cells[(cells["symptom"] == "stuck") & (cells["suspect"] != "")]
    share = named.groupby("suspect")["weight"].sum() / named["weight"].sum()
    truth = {"plug_loose": 0.6, "switch_dirty": 0.35, "coil_open": 0.05}
    assert share.reindex(list(truth)).to_dict() == pytest.approx(truth, abs=0.02)
    plain = pd.concat([one.told for one in told]).query("symptom == 'stuck' and suspect != ''")
    sums = plain.groupby("suspect")["tickets"].sum() / plain["tickets"].sum()
    assert share.get("something_else", 0.0) < 0.5 * sums["something_else"]
    # 420 tickets of the switch: a standard deviation of 0.02 by chance and 0.02 by the noise of sixty counts
    for suspect, cranes in (("plug_loose", 0.75), ("switch_dirty", 0.25)):
        mine = named[named["suspect"] == suspect].groupby("family")["weight"].sum()
        assert mine["crane"] / mine.sum() == pytest.approx(cranes, abs=0.08)


def test_noisy_counts_weigh_less_than_counts_without_noise(tiny_vocabulary: Vocabulary) -> None:
    told, _ = _shops(np.random.default_rng(4), 12, tiny_vocabulary)
    cells = unroll_noisy(told, tiny_vocabulary).query("symptom == 'stuck'")
    weight = (cells["weight"] * cells["worth"]).groupby(cells["shop"]).sum()
    # 24, 14 and 2 of 40 with a variance of 1.84: by hand 24 * 24 / 25.84 + 14 * 14 / 15.84 + 4 / 3.84 = 35.7
    assert weight.mean() == pytest.approx(35.7, rel=0.1)
    assert set(weight.index) == {one.code for one in told}
