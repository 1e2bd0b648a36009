"""Replicated counts against binomials, and leaving one out against the one case in which it has a closed form."""

from collections.abc import Iterable
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from analytics.case import Case
from analytics.evidence import CELL_COLUMNS, Evidence, empty_evidence, make_evidence
from analytics.leave_one_out import compare_scores, count_left_out, leave_tickets_out
from analytics.pointwise import score_evidence
from analytics.posterior import Posterior
from analytics.predictive import Entry, TableCheck, check_predictions
from analytics.suspects import prior_belief
from analytics.vocabulary import Vocabulary

STUCK = ("plug_loose", "switch_dirty", "coil_open", "something_else")


def evidence_of(rows: Iterable[tuple[object, ...]]) -> Evidence:
    """Rows: symptom, family, shop, age band, suspect, confirmation, results, weight."""
    cells = pd.DataFrame([(*row[:7], "", row[7]) for row in rows], columns=list(CELL_COLUMNS))
    nothing = empty_evidence()
    return make_evidence(
        cells,
        check_counts=nothing.check_counts,
        check_minutes=nothing.check_minutes,
        companions=nothing.companions,
        ticket_count=round(cells["weight"].sum()),
    )


def certain(posterior: Posterior, draw_count: int = 3000) -> Posterior:
    """The first draw, again and again: a model that is sure of everything."""
    return replace(posterior, draws=posterior.draws.isel(draw=[0] * draw_count))


def stuck_tickets(counts: Iterable[float], *, band: str = "old", grade: str = "reproduced_and_cured") -> Evidence:
    rows = [("stuck", "crane", "Pier", band, k, grade, "", n) for k, n in zip(STUCK, counts, strict=True)]
    return evidence_of(rows)


def chances(posterior: Posterior, vocabulary: Vocabulary) -> np.ndarray:
    return prior_belief(posterior, Case("stuck", "crane", "Pier", age_years=70), vocabulary)[0]


def find_entry(tables: tuple[TableCheck, ...], name: str, codes: tuple[str, str]) -> Entry:
    [table] = (table for table in tables if table.name == name)
    return next(entry for entry in table.worst if entry.codes == codes)


def test_replicated_counts_of_a_certain_model_are_binomial(
    tiny_vocabulary: Vocabulary, tiny_posterior: Posterior
) -> None:
    """40 tickets: mean n p, variance n p (1 - p)."""
    sure, counts = certain(tiny_posterior), (10.0, 10.0, 10.0, 10.0)
    tables = check_predictions(sure, stuck_tickets(counts), rng=np.random.default_rng(1))
    for suspect, chance in zip(STUCK, chances(sure, tiny_vocabulary), strict=True):
        entry = find_entry(tables, "suspect_by_symptom", ("stuck", suspect))
        sd = np.sqrt(40 * chance * (1 - chance))
        assert entry.expected == pytest.approx(40 * chance, abs=5 * sd / np.sqrt(3000))
        assert entry.residual == pytest.approx((10 - 40 * chance) / sd, rel=0.1, abs=0.1)


def test_a_guess_at_a_lower_grade_is_spread_over_the_list(
    tiny_vocabulary: Vocabulary, tiny_posterior: Posterior
) -> None:
    """P(written) = (1 - r) p + r / 4, with r the shop's misread rate of that grade."""
    sure = certain(tiny_posterior, 2)
    scores = score_evidence(sure, stuck_tickets((1.0, 1.0, 1.0, 1.0), grade="symptom_went_away"))
    rate = sure.arrays["misread"][0, 1, sure.positions["shop"]["Pier"]]
    expected = np.log((1 - rate) * chances(sure, tiny_vocabulary) + rate / 4)
    by_suspect = sorted(zip(scores.link, scores.log_likelihood[:, 0], strict=True))
    assert [value for _, value in by_suspect] == pytest.approx(expected)


def test_an_unresolved_ticket_sums_over_suspects(tiny_vocabulary: Vocabulary, tiny_posterior: Posterior) -> None:
    """sum_k P(k) P(clear | k) up to a common factor: a coil that meters well (0.95 seeded) rules the coil out."""
    sure = certain(tiny_posterior, 2)
    scores = score_evidence(sure, evidence_of([("stuck", "crane", "Pier", "old", "", "", "meter_coil=clear", 2.0)]))
    arrays = sure.arrays
    clear = np.full(4, 1 - arrays["false_alarm"][0, sure.positions["check"]["meter_coil"]])
    clear[2] = 1 - arrays["detection"][0, arrays["reveal_check"].tolist().index(1)]
    expected = np.log(chances(sure, tiny_vocabulary) @ (clear / clear.max()))
    assert scores.log_likelihood[0] == pytest.approx([expected, expected])
    assert not scores.is_named[0]


def test_tickets_the_model_wrote_itself_fit_and_others_do_not(
    tiny_vocabulary: Vocabulary, tiny_posterior: Posterior
) -> None:
    """Counts at their expectation are never surprising; the same counts turned round are."""
    sure = certain(tiny_posterior, 500)
    usual = np.round(200 * chances(sure, tiny_vocabulary))
    fits = check_predictions(sure, stuck_tickets(usual), rng=np.random.default_rng(2))
    turned = check_predictions(sure, stuck_tickets(usual[::-1]), rng=np.random.default_rng(2))
    assert all(table.p_value > 0.5 and table.surprising_count == 0 for table in fits)
    assert all(table.p_value < 0.01 and table.surprising_count > 0 for table in turned)
    assert {table.name for table in turned} == {"mode_by_age", "shop_by_mode", "suspect_by_symptom"}


def test_a_ticket_without_a_year_is_counted_where_no_year_is_needed(tiny_posterior: Posterior) -> None:
    tables = check_predictions(
        tiny_posterior, stuck_tickets((5.0, 5.0, 5.0, 5.0), band="unknown"), rng=np.random.default_rng(3)
    )
    assert {table.name: table.ticket_count for table in tables} == {
        "mode_by_age": 0.0,
        "shop_by_mode": 20.0,
        "suspect_by_symptom": 20.0,
    }


@pytest.fixture
def dirichlet_posterior(tiny_posterior: Posterior) -> Posterior:
    """Posterior of shares of `stuck` after (12, 6, 3, 1) tickets and one added to each: Dirichlet(13, 7, 4, 2). Nothing
    else varies.
    """
    draws = tiny_posterior.draws.isel(draw=[0] * 4000).copy(deep=True)
    share = np.random.default_rng(4).dirichlet([13.0, 7.0, 4.0, 2.0], 4000)
    alpha = draws["alpha"].values.copy()
    alpha[:, :4] = np.log(share)
    zero = {name: draws[name] * 0.0 for name in ("beta", "gamma", "age_effect")}
    return replace(tiny_posterior, draws=draws.assign(alpha=(draws["alpha"].dims, alpha), **zero))


def test_leaving_one_out_is_exact_where_counting_is(dirichlet_posterior: Posterior) -> None:
    """Multinomial with a Dirichlet(1, .., 1) prior: P(ticket of kind k | the others) = n_k / (N - 1 + K), conjugate;
    hand arithmetic: 12/25, 6/25, 3/25, 1/25.
    """
    scores = score_evidence(dirichlet_posterior, stuck_tickets((12.0, 6.0, 3.0, 1.0)))
    order = np.argsort(scores.link)
    exact = np.array([12.0, 6.0, 3.0, 1.0]) / 25
    assert np.exp(count_left_out(scores, dirichlet_posterior)[order]) == pytest.approx(exact)
    found = leave_tickets_out(scores)
    assert np.exp(found.log_score[order]) == pytest.approx(exact, rel=0.05)
    assert found.unreliable_share == 0.0
    difference = compare_scores(found.log_score, count_left_out(scores, dirichlet_posterior), scores.weight)
    assert abs(difference.nats) < 0.5


def test_a_difference_is_summed_over_tickets_not_cells() -> None:
    """3 tickets a nat worse, 1 even: -3, with standard error sqrt(4 * var) = sqrt(4 * 3/16) (hand arithmetic)."""
    found = compare_scores(np.array([-2.0, -1.0, np.nan]), np.array([-1.0, -1.0, -1.0]), np.array([3.0, 1.0, 9.0]))
    assert (found.nats, found.standard_error) == pytest.approx((-3.0, np.sqrt(0.75)))
