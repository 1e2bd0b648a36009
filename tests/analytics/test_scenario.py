"""Simulated frequencies against the stated truth: sums of Bernoulli trials, of known mean and variance."""

import json
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from analytics.errors import InputError
from analytics.scenario import World, make_world, softmax, suspect_probabilities
from analytics.scenario_arrivals import simulate_cells
from analytics.scenario_bench import make_benches
from analytics.scenario_effects import Spreads
from analytics.scenario_tickets import COMEBACK_DAYS, History, simulate_tickets
from analytics.scenario_truth import truth_of, world_from_truth
from analytics.scenario_untidy import TEMPLATE, Pen, spoil_rows, write_rows
from analytics.vocabulary import CONFIRMATIONS, Vocabulary

# A standard normal goes beyond it once in 300,000: with a few dozen sums a true world passes, whatever the seed.
FAR = 4.7
SHOPS = ("North Quay", "South Quay")
PHRASES = {"stuck": ("It will not move.", "Klemmt"), "plug_loose": ("helps to wiggle the plug",)}


@pytest.fixture(scope="module")
def world(tiny_vocabulary: Vocabulary) -> World:
    return make_world(tiny_vocabulary, SHOPS, np.random.default_rng(3))


@pytest.fixture(scope="module")
def history(world: World) -> History:
    return simulate_tickets(world, np.random.default_rng(4), count=3_000, phrases=PHRASES)


def _deviations(counts: pd.DataFrame) -> pd.Series:
    """Standard deviations between `seen` and its expectation; one row a trial: key columns, seen (0 or 1), chance."""
    keys = [column for column in counts.columns if column not in ("seen", "chance")]
    trials = counts.assign(variance=counts["chance"] * (1.0 - counts["chance"]))
    sums = trials.groupby(keys)[["seen", "chance", "variance"]].sum()
    return ((sums["seen"] - sums["chance"]) / np.sqrt(sums["variance"])).abs()


def _suspect_deviations(cells: pd.DataFrame, world: World, by: str) -> pd.Series:
    """Of the suspects of each symptom, within each value of the column `by`."""
    parts = []
    for (symptom, family, shop, band), tickets in cells.groupby(["symptom", "family", "shop", "age_band"]):
        where = {"family": family, "shop": shop, "age_band": band}
        chances = suspect_probabilities(world, symptom, **where)
        for suspect, chance in zip(world.vocabulary.suspects_of(symptom), chances, strict=True):
            seen = (tickets["suspect"] == suspect).to_numpy().astype(float)
            row = {"symptom": symptom, "by": where[by], "suspect": suspect, "seen": seen, "chance": chance}
            parts.append(pd.DataFrame(row))
    return _deviations(pd.concat(parts))


def test_probabilities_of_a_symptom_are_the_softmax_of_its_log_odds(world: World) -> None:
    chances = suspect_probabilities(world, "stuck", family="piano", shop="South Quay", age_band="old")
    odds = np.exp(world.log_odds["stuck"][1, 1, 2])
    np.testing.assert_allclose(chances, odds / odds.sum())
    assert chances.sum() == pytest.approx(1.0)
    assert all(np.allclose(softmax(table).sum(axis=-1), 1.0) for table in world.log_odds.values())


def test_log_odds_add_up_from_the_stated_effects(world: World, tiny_vocabulary: Vocabulary) -> None:
    effects = world.effects
    # "dark" is the second symptom; its list starts after the four suspects of "stuck": fuse_blown (suspect 3, failure
    # mode 3) comes first. Family 0, shop 1, age band 2.
    assert tiny_vocabulary.suspects_of("dark")[0] == "fuse_blown"
    expected = (
        effects.link[4]
        + effects.family[0, 3]
        + effects.shop[1, 3]
        + effects.age_mode[3, 2]
        + effects.age_suspect[3, 2]
        + effects.age_symptom[1, 3, 2]
    )
    assert world.log_odds["dark"][0, 1, 2, 0] == pytest.approx(expected)


@pytest.mark.parametrize("by", ["family", "shop", "age_band"])
def test_simulated_cells_agree_with_the_stated_truth_and_not_with_a_shifted_one(world: World, by: str) -> None:
    cells = simulate_cells(world, np.random.default_rng(5), count=60_000)
    assert _suspect_deviations(cells, world, by).max() < FAR
    shifted = {symptom: table + 0.15 * (np.arange(table.shape[-1]) == 0) for symptom, table in world.log_odds.items()}
    assert _suspect_deviations(cells, replace(world, log_odds=shifted), by).max() > FAR


def test_ordinary_tickets_agree_with_the_stated_truth(world: World, history: History) -> None:
    ordinary = history.tickets[history.tickets["comeback_of"] == 0]
    assert len(ordinary) == 3_000
    ages = ordinary["opened_on"].dt.year - ordinary["built_year"]
    cells = ordinary.assign(
        suspect=ordinary["true_suspect"], age_band=[world.vocabulary.age_band_of(age) for age in ages]
    )
    assert _suspect_deviations(cells, world, "family").max() < FAR


def test_outcomes_of_checks_agree_with_the_stated_rates(world: World, history: History) -> None:
    told = history.checks[history.checks["outcome"] != "inconclusive"].merge(
        history.tickets[["ticket", "true_suspect"]], on="ticket"
    )
    check = pd.Index(list(world.vocabulary.checks)).get_indexer(told["check"])
    suspect = pd.Index(list(world.vocabulary.suspects)).get_indexer(told["true_suspect"])
    is_remedy = told["outcome"].isin(["cured", "not_cured"]).to_numpy()
    rates = np.where(is_remedy, world.cured[check, suspect], world.found[check, suspect])
    trials = pd.DataFrame(
        {
            "check": told["check"],
            "suspect": told["true_suspect"],
            "seen": told["outcome"].isin(["cured", "fault_found"]).astype(float),
            "chance": rates,
        }
    )
    assert _deviations(trials).max() < FAR
    assert _deviations(trials.assign(chance=trials["chance"] * 0.9)).max() > FAR


def test_repairs_fail_as_often_as_stated_within_a_year(world: World, history: History) -> None:
    tickets = history.tickets
    last_day = tickets["opened_on"].max()
    cured = history.checks[history.checks["outcome"] == "cured"].merge(tickets, on="ticket")
    watched = cured[cured["closed_on"] < last_day - pd.Timedelta(days=COMEBACK_DAYS)]
    check = pd.Index(list(world.vocabulary.checks)).get_indexer(watched["check"])
    suspect = pd.Index(list(world.vocabulary.suspects)).get_indexer(watched["true_suspect"])
    trials = pd.DataFrame(
        {
            "check": watched["check"],
            "seen": watched["ticket"].isin(tickets["comeback_of"]).astype(float),
            "chance": world.fails_within_year[check, suspect],
        }
    )
    assert trials["seen"].sum() > 50
    assert _deviations(trials).max() < FAR


def test_a_comeback_is_the_same_machine_symptom_and_suspect_within_a_year(history: History) -> None:
    tickets = history.tickets
    pairs = tickets.merge(tickets, left_on="comeback_of", right_on="ticket", suffixes=("", "_before"))
    for column in ("machine", "symptom", "true_suspect"):
        assert (pairs[column] == pairs[f"{column}_before"]).all()
    days = (pairs["opened_on"] - pairs["closed_on_before"]).dt.days
    assert days.between(1, COMEBACK_DAYS).all()


def test_careless_shops_write_the_easy_suspect(tiny_vocabulary: Vocabulary) -> None:
    careless = make_world(tiny_vocabulary, SHOPS, np.random.default_rng(3), spreads=Spreads(misrecording=0.25))
    tickets = simulate_tickets(careless, np.random.default_rng(4), count=4_000, phrases={}).tickets
    sure = tickets[tickets["confirmation"].isin(CONFIRMATIONS[:2]) & (tickets["true_suspect"] != "something_else")]
    benches, parts = make_benches(careless), []
    for (symptom, shop, grade), rows in sure.groupby(["symptom", "shop", "confirmation"]):
        ease = dict(zip(tiny_vocabulary.suspects_of(symptom), benches[symptom].ease, strict=True))
        guess = careless.misrecording[SHOPS.index(shop), CONFIRMATIONS.index(grade)]
        wrong = (rows["suspect"] != rows["true_suspect"]).to_numpy().astype(float)
        chance = guess * (1.0 - rows["true_suspect"].map(ease).to_numpy())
        parts.append(pd.DataFrame({"shop": shop, "grade": grade, "seen": wrong, "chance": chance}))
    assert _deviations(pd.concat(parts)).max() < FAR
    wrong = sure[(sure["suspect"] != sure["true_suspect"]) & (sure["symptom"] == "stuck")]
    # The plug takes three minutes, the coil thirty.
    assert (wrong["suspect"] == "plug_loose").sum() > 3 * (wrong["suspect"] == "coil_open").sum()


def test_the_same_seed_gives_the_same_tickets(world: World, history: History) -> None:
    again = simulate_tickets(world, np.random.default_rng(4), count=3_000, phrases=PHRASES)
    pd.testing.assert_frame_equal(again.tickets, history.tickets)
    pd.testing.assert_frame_equal(again.checks, history.checks)


def test_a_jump_at_a_design_change_lies_between_the_two_middle_age_bands(tiny_vocabulary: Vocabulary) -> None:
    quiet = dict.fromkeys(("age_step_sd", "age_trend", "suspect_age_sd", "symptom_age_sd"), 0.0)
    still, jumped = (
        make_world(tiny_vocabulary, SHOPS, np.random.default_rng(3), spreads=Spreads(**quiet, jump_at_design_change=sd))
        for sd in (0.0, 1.0)
    )
    steps = np.diff(jumped.log_odds["stuck"] - still.log_odds["stuck"], axis=2)
    assert np.abs(steps[:, :, 0]).min() > 0.0  # of three bands the second is the first after the change
    np.testing.assert_allclose(steps[:, :, 1], 0.0, atol=1e-12)


def test_the_truth_survives_being_written_down(world: World, tiny_vocabulary: Vocabulary) -> None:
    stated = json.loads(json.dumps(truth_of(world)))
    again = world_from_truth(stated, tiny_vocabulary)
    assert truth_of(again) == truth_of(world)
    for symptom, table in world.log_odds.items():
        np.testing.assert_array_equal(again.log_odds[symptom], table)


def test_a_truth_is_refused_with_another_vocabulary(world: World, tiny_vocabulary: Vocabulary) -> None:
    other = replace(tiny_vocabulary, families=dict(list(tiny_vocabulary.families.items())[:1]))
    with pytest.raises(InputError, match="stated for other families"):
        world_from_truth(truth_of(world), other)


def test_asking_for_a_shop_that_is_not_there_names_those_that_are(world: World) -> None:
    with pytest.raises(InputError, match=r"no shop 'East Quay'.*North Quay, South Quay"):
        suspect_probabilities(world, "stuck", family="piano", shop="East Quay", age_band="old")


def test_hints_in_complaints_point_to_their_suspect_more_often_than_chance(history: History) -> None:
    stuck = history.tickets[history.tickets["symptom"] == "stuck"]
    hinted = stuck["complaint"].str.contains("wiggle the plug")
    is_plug = stuck["true_suspect"] == "plug_loose"
    assert is_plug[hinted].mean() > is_plug.mean() + 0.2
    assert 0.0 < is_plug[hinted].mean() < 1.0


def test_written_rows_are_untidy_and_spoilt_ones_impossible(history: History, tiny_vocabulary: Vocabulary) -> None:
    pen = Pen("North Quay", "NQ", "%Y-%m-%d", "%d.%m.%Y")
    rows = write_rows(history, tiny_vocabulary, np.random.default_rng(6), pen=pen)
    assert tuple(rows.columns) == TEMPLATE
    assert rows["ticket"].is_unique
    assert len(rows) == (history.tickets["shop"] == "North Quay").sum()
    no_year = rows["built_year"].isin(["", "?", "unknown"]).mean()
    assert 0.07 < no_year < 0.13  # 10 % of some 1,500 rows: four standard deviations are 3 %
    styles = (r"\d{4}-\d\d-\d\d", r"\d\d\.\d\d\.\d{4}")
    shares = [rows["opened_on"].str.fullmatch(style).mean() for style in styles]
    assert sum(shares) == pytest.approx(1.0)
    assert shares[0] > shares[1] > 0.1
    spoilt = spoil_rows(rows, np.random.default_rng(7))
    assert len(spoilt) == len(rows) + 4
    assert spoilt.duplicated().sum() == 4
    assert (spoilt["complaint"].str.startswith("=")).sum() == 1
    assert {"19e9", "-25", "makes a funny face"} <= set(spoilt.to_numpy().ravel())
