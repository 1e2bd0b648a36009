"""The methods to beat: forecasts stay in the list, use what they may, and cope with what they never met."""

from collections.abc import Callable
from functools import partial

import numpy as np
import pandas as pd
import pytest

from analytics.baselines import (
    PSEUDO_TICKETS,
    Listed,
    forecast_by_boosting,
    forecast_by_group,
    forecast_by_regression,
    forecast_by_symptom,
    forecast_by_worded_boosting,
    forecast_by_worded_regression,
    listed_suspects,
)

pytestmark = pytest.mark.slow

LISTS = {
    "stuck": ("plug_loose", "switch_dirty", "coil_open", "something_else"),
    "dark": ("fuse_blown", "something_else"),
}
METHODS = [
    forecast_by_symptom,
    partial(forecast_by_group, column="shop"),
    forecast_by_regression,
    forecast_by_boosting,
    forecast_by_worded_regression,
    forecast_by_worded_boosting,
]
Forecast = Callable[[pd.DataFrame, pd.DataFrame, Listed], np.ndarray]


def tickets(shop: str, symptom: str, suspect: str, count: int, complaint: str = "") -> pd.DataFrame:
    row = {"symptom": symptom, "family": "crane", "shop": shop, "age_band": "old", "complaint": complaint}
    return pd.DataFrame([{**row, "suspect": suspect, "weight": 1.0}] * count)


# Pier meets loose plugs, Harbour dirty switches; no coil was ever open.
TRAINING = pd.concat(
    [
        tickets("Pier", "stuck", "plug_loose", 45, "rattles when tilted"),
        tickets("Pier", "stuck", "switch_dirty", 15, "sparks and smells"),
        tickets("Harbour", "stuck", "switch_dirty", 45, "sparks and smells"),
        tickets("Harbour", "stuck", "plug_loose", 15, "rattles when tilted"),
        tickets("Pier", "dark", "fuse_blown", 20),
    ]
).sample(frac=1.0, random_state=1, ignore_index=True)
ASKED = pd.concat(
    [
        tickets("Pier", "stuck", "plug_loose", 1, "rattles when tilted"),
        tickets("Harbour", "stuck", "plug_loose", 1, "rattles when tilted"),
        tickets("Nowhere", "dark", "fuse_blown", 1, "word never met"),
    ],
    ignore_index=True,
)


@pytest.fixture(scope="module")
def listed() -> Listed:
    return listed_suspects(LISTS)


@pytest.mark.parametrize("forecast", METHODS)
def test_forecasts_fill_the_list_and_nothing_else(forecast: Forecast, listed: Listed) -> None:
    said = forecast(TRAINING, ASKED, listed)
    np.testing.assert_allclose(said.sum(1), 1.0)
    assert ((said > 0) == listed.used[[0, 0, 1]]).all()
    assert said[2, 0] > 0.8


def test_counts_are_smoothed_by_the_same_pseudo_tickets(listed: Listed) -> None:
    said = forecast_by_symptom(TRAINING, ASKED, listed)[0]
    # 60, 60, 0 and 0 of 120 tickets, a pseudo-tickets each; none of the coil or of something else: the fewest do best.
    least = PSEUDO_TICKETS[0]
    np.testing.assert_allclose(said, np.array([60 + least, 60 + least, least, least]) / (120 + 4 * least))


@pytest.mark.parametrize("forecast", METHODS[1:4])
def test_shops_are_told_apart(forecast: Forecast, listed: Listed) -> None:
    pier, harbour = forecast(TRAINING, ASKED, listed)[:2]
    # Three in four at Pier, one in four at Harbour; none can know it for sure from sixty tickets each.
    assert pier[0] == pytest.approx(0.75, abs=0.08)
    assert harbour[0] == pytest.approx(0.25, abs=0.08)


def test_a_group_never_met_gets_the_counts_of_the_symptom(listed: Listed) -> None:
    asked = ASKED.assign(symptom="stuck")
    said = forecast_by_group(TRAINING, asked, listed, column="shop")
    assert said[2, 0] == pytest.approx(0.5, abs=0.01)


@pytest.mark.parametrize("forecast", METHODS[4:])
def test_words_outweigh_the_shop(forecast: Forecast, listed: Listed) -> None:
    # Every loose plug rattled, no dirty switch did.
    assert forecast(TRAINING, ASKED, listed)[1, 0] > 0.85


def test_where_there_is_nothing_to_tell_apart_the_counts_stand(listed: Listed) -> None:
    training = tickets("Pier", "dark", "fuse_blown", 4)
    counts = forecast_by_symptom(training, ASKED, listed)
    np.testing.assert_allclose(counts[0], 0.25)
    np.testing.assert_allclose(forecast_by_regression(training, ASKED, listed), counts)
