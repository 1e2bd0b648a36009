"""Replaying closed tickets: nothing later leaks into a forecast, and scores are those of hand arithmetic."""

from datetime import date
from math import log

import numpy as np
import pandas as pd
import pytest

from analytics.backtest import (
    Origin,
    Told,
    forecast_suspects,
    places_of_truth,
    rolling_origins,
    score_tickets,
    still_open,
    summarise_scores,
)
from analytics.case import Case, CheckResult
from analytics.errors import InputError
from analytics.posterior import Posterior
from analytics.suspects import belief
from analytics.vocabulary import Vocabulary

FAMILIAR = {"family": "crane", "shop": "Pier", "age": 40.0, "complaint": "It hums", "others": "dark=absent"}
TICKETS = pd.DataFrame(
    [
        {"ticket_id": "a", "symptom": "stuck", **FAMILIAR, "results": "look_at_plug=clear;reseat_plug=cured"},
        {"ticket_id": "b", "symptom": "dark", **FAMILIAR, "results": ""},
    ]
)


def test_origins_move_forward_without_gap_or_overlap() -> None:
    # 10 days, the first five only learnt from, the other five cut at 5 * 1/2 = 2.5, so after two days.
    first, second = rolling_origins(date(2024, 1, 1), date(2024, 1, 10), 2)
    assert first == Origin(date(2024, 1, 6), date(2024, 1, 8))
    assert second == Origin(date(2024, 1, 8), date(2024, 1, 11))


@pytest.mark.parametrize("folds", [0, 6])
def test_folds_that_cannot_be_cut_are_refused(folds: int) -> None:
    with pytest.raises(InputError, match=f"{folds} folds cannot be cut from tickets of 10 days. Allowed: 1 to 5"):
        rolling_origins(date(2024, 1, 1), date(2024, 1, 10), folds)


def test_a_forecast_knows_what_it_is_told_and_no_more(tiny_posterior: Posterior, tiny_vocabulary: Vocabulary) -> None:
    case = Case("stuck", "crane", "Pier", 40)
    looked = CheckResult("look_at_plug", "clear")
    for told, expected in (
        (Told(), case),
        (Told(others=True), Case("stuck", "crane", "Pier", 40, also_absent=("dark",))),
        (Told(checks=1), case.with_result(looked)),
    ):
        said = forecast_suspects(tiny_posterior, TICKETS, tiny_vocabulary, told)
        np.testing.assert_allclose(said[0], belief(tiny_posterior, expected, tiny_vocabulary).mean)
        np.testing.assert_allclose(said.sum(1), 1.0)
        assert said[1, 3] == 0.0  # a dark cabinet has three suspects, a stuck grab four


def test_no_year_is_no_age(tiny_posterior: Posterior, tiny_vocabulary: Vocabulary) -> None:
    said = forecast_suspects(tiny_posterior, TICKETS.assign(age=np.nan), tiny_vocabulary, Told())
    np.testing.assert_allclose(said[0], belief(tiny_posterior, Case("stuck", "crane", "Pier"), tiny_vocabulary).mean)


def test_a_ticket_is_open_until_its_last_check() -> None:
    assert still_open(TICKETS, 1).tolist() == [True, False]
    assert still_open(TICKETS, 2).tolist() == [False, False]


def test_a_suspect_off_the_list_counts_as_something_else() -> None:
    listed = {"stuck": ("plug_loose", "something_else")}
    tickets = pd.DataFrame({"symptom": "stuck", "suspect": ["plug_loose", "fuse_blown"]})
    assert places_of_truth(tickets, listed).tolist() == [0, 1]


def test_scores_of_a_ticket_are_shared_by_its_suspects() -> None:
    tickets = pd.DataFrame({"ticket_id": ["a", "a", "b"], "weight": [0.5, 0.5, 1.0]})
    said = np.array([[0.5, 0.25, 0.25, 0.0], [0.5, 0.25, 0.25, 0.0], [0.7, 0.3, 0.0, 0.0]])
    scores = score_tickets("ours", said, tickets, np.array([0, 1, 0])).set_index("ticket_id")
    # a: half of ln 2 and half of ln 4; Brier .25 + .0625 + .0625 = .375, minus 2 p, plus 1: .375 and .875; the places
    # 1 and 2.5 (two share second and third). b: Brier .49 + .09 - 1.4 + 1 = .18.
    assert scores.loc["a", ["log_loss", "brier", "rank", "top_1", "top_3"]].to_list() == pytest.approx(
        [1.5 * log(2), 0.625, 1.75, 0.5, 1.0]
    )
    assert scores.loc["b", ["log_loss", "brier", "rank"]].to_list() == pytest.approx([-log(0.7), 0.18, 1.0])


def test_differences_are_taken_ticket_by_ticket() -> None:
    def rows(method: str, **losses: float) -> pd.DataFrame:
        scores = {"brier": 0.0, "rank": 1.0, "top_1": 1.0, "top_3": 1.0}
        return pd.DataFrame([{"method": method, "ticket_id": t, "log_loss": x, **scores} for t, x in losses.items()])

    scores = pd.concat([rows("ours", a=1.0, b=5.0, c=9.0), rows("theirs", a=1.2, b=5.4)])
    table = summarise_scores(scores, {"ours": "ours", "theirs": "ours"}).set_index("method")
    # Differences .2 and .4: mean .3, sd .1414, over the root of two .1; the ticket c is not theirs.
    assert table.loc["theirs", ["tickets", "behind", "behind_se"]].to_list() == pytest.approx([2, 0.3, 0.1])
    assert table.loc["ours", ["tickets", "log_loss", "behind"]].to_list() == pytest.approx([3, 5.0, 0.0])
    hits = scores.assign(top_3=[1.0, 1.0, 0.0, 1.0, 0.0])
    table = summarise_scores(hits, {"ours": "ours", "theirs": "ours"}).set_index("method")
    # of a both, of b only ours among the first three: a half, and (0, 1) has the standard error a half
    assert table.loc["theirs", ["top_3_behind", "top_3_behind_se"]].to_list() == pytest.approx([0.5, 0.5])
