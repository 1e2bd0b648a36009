"""Tickets closed since the fit move the stored draws to where Bayes' rule puts them."""

from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from analytics.case import Case
from analytics.evidence import Evidence, add_evidence, empty_evidence, make_evidence
from analytics.live_transform import carry, effective_share, find_move
from analytics.live_update import MAX_NEW_SHARE, update_posterior
from analytics.posterior import Posterior
from analytics.suspects import belief
from analytics.vocabulary import Vocabulary

SURE = "reproduced_and_cured"
STUCK = Case("stuck", family="crane", shop="Pier", age_years=40)


def tickets(*rows: tuple[str, float], **context: str) -> Evidence:
    """Evidence of tickets on stuck cranes of middle age at the Pier: (suspect, how many)."""
    usual = {"symptom": "stuck", "family": "crane", "shop": "Pier", "age_band": "middle", "results": "", "others": ""}
    cells = pd.DataFrame(
        [
            {
                **usual,
                "suspect": suspect,
                "confirmation": "reproduced_and_cured" if suspect else "",
                **context,
                "weight": n,
            }
            for suspect, n in rows
        ]
    )
    return evidence_of(cells)


def evidence_of(
    cells: pd.DataFrame, *, check_counts: pd.DataFrame | None = None, check_minutes: pd.DataFrame | None = None
) -> Evidence:
    nothing = empty_evidence()
    return make_evidence(
        cells,
        check_counts=nothing.check_counts if check_counts is None else check_counts,
        check_minutes=nothing.check_minutes if check_minutes is None else check_minutes,
        companions=nothing.companions,
        ticket_count=round(cells["weight"].sum()),
    )


def odds(posterior: Posterior, case: Case, vocabulary: Vocabulary) -> dict[str, float]:
    found = belief(posterior, case, vocabulary)
    return dict(zip(found.suspects, found.mean.tolist(), strict=True))


def exact_mean(posterior: Posterior, case: Case, vocabulary: Vocabulary, counts: dict[str, float]) -> dict[str, float]:
    """Bayes' rule without any approximation but the draws themselves: each weighs by the likelihood of the tickets."""
    found = belief(posterior, case, vocabulary)
    chance = found.mass / found.mass.sum(1, keepdims=True)
    log_weight = sum(n * np.log(chance[:, found.suspects.index(suspect)]) for suspect, n in counts.items())
    weight = np.exp(log_weight - np.max(log_weight))
    return dict(zip(found.suspects, (weight @ chance / weight.sum()).tolist(), strict=True))


@pytest.fixture(scope="module")
def many_draws(tiny_vocabulary: Vocabulary, make_posterior: Callable[..., Posterior]) -> Posterior:
    return make_posterior(tiny_vocabulary, draw_count=4000)


def test_gaussian_news_gives_the_conjugate_answer() -> None:
    # Source: normal prior, normal likelihood of known precision; closed form, e.g. Gelman et al., Bayesian Data
    # Analysis, 3rd ed., section 3.5: precision adds, the mean is the precision-weighted one.
    rng = np.random.default_rng(1)
    draws = rng.normal(size=(200, 3)) @ np.array([[1.0, 0.5, 0.0], [0.0, 0.8, 0.3], [0.0, 0.0, 0.6]]) + [1.0, -2.0, 0.5]
    seen, precision = np.array([1.7, -1.0, 0.0]), np.diag([4.0, 1.0, 9.0])

    def score(readout: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        off = seen - readout
        return (off @ precision).mean(0), precision, -0.5 * np.einsum("di,ij,dj->d", off, precision, off)

    move = find_move(draws, score)
    moved = draws + move.pull @ np.cov(draws.T)
    before = np.linalg.inv(np.cov(draws.T))
    after = np.linalg.inv(before + precision)
    np.testing.assert_allclose(np.cov(moved.T), after, atol=1e-8)
    np.testing.assert_allclose(moved.mean(0), after @ (before @ draws.mean(0) + precision @ seen), atol=1e-6)
    # Where everything is Gaussian nothing is left to be corrected.
    assert effective_share(move.log_weight) == pytest.approx(1.0, abs=1e-6)


def test_a_variable_follows_by_regression_and_only_what_it_is_related_to() -> None:
    rng = np.random.default_rng(2)
    read, noise = rng.normal(size=(300, 1)), rng.normal(size=300)
    values = np.stack([2.0 * read[:, 0] + 0.5 * noise, 2.0 * read[:, 0]], axis=1)
    before = values.copy()
    move = find_move(read, lambda readout: (np.array([3.0 * (1.0 - readout.mean())]), np.eye(1) * 3.0, -readout[:, 0]))
    carry(values, move, np.array([[True], [False]]))
    slope = np.cov(before[:, 0], read[:, 0])[0, 1] / np.var(read, ddof=1)
    moved_read = read[:, 0] + move.pull[:, 0] * np.var(read, ddof=1)
    # adjusted R squared to R squared, with 300 draws: 0.9998
    np.testing.assert_allclose(values[:, 0] - before[:, 0], slope * (moved_read - read[:, 0]), rtol=5e-4)
    np.testing.assert_array_equal(values[:, 1], before[:, 1])


def test_chance_likeness_moves_little() -> None:
    # Variables that have nothing to do with the row: plain regression would move each by its chance correlation.
    rng = np.random.default_rng(3)
    read, values = rng.normal(size=(600, 1)), rng.normal(size=(600, 2000))
    by_regression = values - values.mean(0)
    move = find_move(read, lambda readout: (np.array([3.0 * (1.0 - readout.mean())]), np.eye(1) * 3.0, -readout[:, 0]))
    chance = (by_regression.T @ move.deviation / 599 * move.pull.mean())[:, 0]
    before = values.mean(0)
    carry(values, move, np.ones((2000, 1), dtype=bool))
    assert ((values.mean(0) - before) ** 2).mean() < 0.5 * (chance**2).mean()


def test_no_new_ticket_changes_nothing(tiny_posterior: Posterior, tiny_vocabulary: Vocabulary) -> None:
    update = update_posterior(tiny_posterior, empty_evidence(), tiny_vocabulary)
    assert update.posterior is tiny_posterior
    assert (update.ticket_count, update.distance, update.is_spent) == (0, 0.0, False)
    assert update.sentence() == "No ticket was closed since the last fit."


@pytest.mark.parametrize("counts", [{"coil_open": 1.0}, {"coil_open": 3.0, "plug_loose": 2.0}, {"switch_dirty": 8.0}])
def test_odds_are_those_of_bayes_rule(
    many_draws: Posterior, tiny_vocabulary: Vocabulary, counts: dict[str, float]
) -> None:
    update = update_posterior(many_draws, tickets(*counts.items()), tiny_vocabulary)
    exact = exact_mean(many_draws, STUCK, tiny_vocabulary, counts)
    before, after = odds(many_draws, STUCK, tiny_vocabulary), odds(update.posterior, STUCK, tiny_vocabulary)
    for suspect, probability in exact.items():
        # a tenth of the way the tickets moved it, and the noise of the weights
        assert after[suspect] == pytest.approx(probability, abs=0.1 * abs(probability - before[suspect]) + 0.006)


def test_tickets_elsewhere_follow_what_they_share(many_draws: Posterior, tiny_vocabulary: Vocabulary) -> None:
    counts = {"switch_dirty": 8.0}
    moved = update_posterior(many_draws, tickets(*counts.items()), tiny_vocabulary).posterior
    other = replace(STUCK, family="piano", shop="Harbour")
    before, after = (odds(p, other, tiny_vocabulary)["switch_dirty"] for p in (many_draws, moved))
    here = odds(moved, STUCK, tiny_vocabulary)["switch_dirty"]
    assert before + 0.03 < after < here


def test_intervals_shrink(many_draws: Posterior, tiny_vocabulary: Vocabulary) -> None:
    moved = update_posterior(many_draws, tickets(("plug_loose", 5.0), ("switch_dirty", 5.0)), tiny_vocabulary).posterior
    width = [np.diff(belief(p, STUCK, tiny_vocabulary).interval(0.9), axis=0)[0] for p in (many_draws, moved)]
    assert (width[1][:2] < 0.8 * width[0][:2]).all()


def test_order_and_size_of_batches_hardly_matter(many_draws: Posterior, tiny_vocabulary: Vocabulary) -> None:
    first, second = tickets(("coil_open", 4.0)), tickets(("plug_loose", 3.0), family="piano", shop="Harbour")
    at_once = update_posterior(many_draws, add_evidence([first, second]), tiny_vocabulary).posterior
    answers = [odds(at_once, STUCK, tiny_vocabulary)]
    for order in ((first, second), (second, first)):
        moved = many_draws
        for part in order:
            moved = update_posterior(moved, part, tiny_vocabulary).posterior
        assert moved.ticket_count == at_once.ticket_count == many_draws.ticket_count + 7
        answers.append(odds(moved, STUCK, tiny_vocabulary))
    for other in answers[1:]:
        assert other == pytest.approx(answers[0], abs=0.01)


def test_tickets_that_bear_out_a_leaning_make_all_shops_differ_more(
    many_draws: Posterior, tiny_vocabulary: Vocabulary
) -> None:
    leaning = _leaning_shop(many_draws)
    moved = update_posterior(leaning, tickets(("switch_dirty", 3.0)), tiny_vocabulary).posterior
    at = leaning.draws["term"].values.tolist().index("shop")
    before, after = (p.arrays["spread"][:, at].mean() for p in (leaning, moved))
    # Bayes' rule on the draws: each weighs by the likelihood of the tickets
    found = belief(leaning, STUCK, tiny_vocabulary)
    weight = (found.mass[:, found.suspects.index("switch_dirty")] / found.mass.sum(1)) ** 3
    exact = weight @ leaning.arrays["spread"][:, at] / weight.sum()
    assert exact > 1.08 * before
    assert after == pytest.approx(exact, abs=0.2 * (exact - before))
    # a shop that nobody has met is one of them
    widened = moved.arrays["new_shop"].std() / leaning.arrays["new_shop"].std()
    assert widened == pytest.approx(after / before, abs=0.03)


def _leaning_shop(posterior: Posterior) -> Posterior:
    """Draws that differ in how alike they take shops for, and of which the Pier leans to switches by two spreads."""
    rng, terms = np.random.default_rng(4), posterior.draws["term"].values.tolist()
    arrays, mode = posterior.arrays, posterior.arrays["link_mode"]
    shop = np.exp(rng.normal(np.log(0.5), 0.4, posterior.draw_count))
    spread = arrays["spread"].copy()
    unit = rng.normal(size=arrays["gamma"].shape)
    switch = mode[arrays["link_suspect"] == posterior.positions["suspect"]["switch_dirty"]][0]
    unit[:, posterior.positions["shop"]["Pier"], switch] += 2.0
    ratio = shop / spread[:, terms.index("shop")]
    spread[:, terms.index("shop")] = shop
    changed = {
        "spread": spread,
        "gamma": unit * shop[:, None, None],
        "new_shop": arrays["new_shop"] * ratio[:, None],
    }
    dims = {name: posterior.draws[name].dims for name in changed}
    return replace(posterior, draws=posterior.draws.assign({n: (dims[n], v) for n, v in changed.items()}))


def test_twenty_tickets_of_a_new_shop_move_its_own_odds(many_draws: Posterior, tiny_vocabulary: Vocabulary) -> None:
    counts = {"coil_open": 14.0, "plug_loose": 6.0}
    new = replace(STUCK, shop="Lantern Quay")
    update = update_posterior(many_draws, tickets(*counts.items(), shop="Lantern Quay"), tiny_vocabulary)
    own = odds(update.posterior, new, tiny_vocabulary)["coil_open"]
    nobody = odds(update.posterior, replace(STUCK, shop="Nobody's"), tiny_vocabulary)["coil_open"]
    before = odds(many_draws, new, tiny_vocabulary)["coil_open"]
    # 14 of 20 were open coils: towards 0.7, and further than a shop that has sent no ticket yet
    assert before < 0.12 < nobody < own < 0.7
    assert "Lantern Quay" in update.posterior.positions["shop"]
    assert "Lantern Quay" not in many_draws.positions["shop"]


def test_two_new_families_do_not_share_their_draws(many_draws: Posterior, tiny_vocabulary: Vocabulary) -> None:
    both = add_evidence([tickets(("coil_open", 1.0), family="slot"), tickets(("coil_open", 1.0), family="scales")])
    moved = update_posterior(many_draws, both, tiny_vocabulary).posterior
    added = moved.arrays["beta"][:, -2:, 0]
    assert moved.positions["family"] == {"crane": 0, "piano": 1, "scales": 2, "slot": 3}
    assert abs(np.corrcoef(added.T)[0, 1]) < 0.1
    assert moved.arrays["age_share"].shape == (5, 3)


def test_a_guess_counts_less_than_a_sure_suspect(many_draws: Posterior, tiny_vocabulary: Vocabulary) -> None:
    sure, doubtful, open_end = (
        odds(update_posterior(many_draws, evidence, tiny_vocabulary).posterior, STUCK, tiny_vocabulary)["coil_open"]
        for evidence in (
            tickets(("coil_open", 4.0)),
            tickets(("coil_open", 4.0), confirmation="symptom_went_away"),
            tickets(("", 4.0), results="look_at_plug=clear;reseat_plug=not_cured;clean_switch=not_cured"),
        )
    )
    nothing = odds(many_draws, STUCK, tiny_vocabulary)["coil_open"]
    # three suspects out of five were as good as ruled out: that speaks for the other two, less than a name would
    assert nothing + 0.005 < open_end < doubtful < sure


def test_a_missing_year_is_no_obstacle(many_draws: Posterior, tiny_vocabulary: Vocabulary) -> None:
    moved = update_posterior(many_draws, tickets(("coil_open", 4.0), age_band="unknown"), tiny_vocabulary).posterior
    unknown = replace(STUCK, age_years=None)
    exact = exact_mean(many_draws, unknown, tiny_vocabulary, {"coil_open": 4.0})
    assert odds(moved, unknown, tiny_vocabulary)["coil_open"] == pytest.approx(exact["coil_open"], abs=0.015)


def test_checks_learn_from_their_outcomes_and_minutes(many_draws: Posterior, tiny_vocabulary: Vocabulary) -> None:
    counts = pd.DataFrame([("meter_coil", "coil_open", "clear", 6.0)], columns=["check", "suspect", "outcome", "count"])
    minutes = pd.DataFrame({"check": ["meter_coil"], "count": [4.0], "log_sum": [4 * np.log(20.0)]})
    evidence = evidence_of(
        tickets(("coil_open", 6.0)).cells,
        check_counts=counts,
        check_minutes=minutes.assign(log_square_sum=4 * np.log(20.0) ** 2),
    )
    moved = update_posterior(many_draws, evidence, tiny_vocabulary).posterior
    detection = many_draws.arrays["detection"][:, 1]
    weight = (1.0 - detection) ** 6  # Bayes' rule on the draws: six times looked, six times missed
    assert moved.arrays["detection"][:, 1].mean() == pytest.approx(weight @ detection / weight.sum(), abs=0.02)
    at = many_draws.positions["check"]["meter_coil"]
    # normal mean with known spread 0.5: prior N(log 5, 0.3), four readings of log 20
    told, believed = 4 / 0.5**2, 1 / 0.3**2
    expected = (believed * np.log(5.0) + told * np.log(20.0)) / (believed + told)
    assert moved.arrays["log_minutes"][:, at].mean() == pytest.approx(expected, abs=0.02)
    assert moved.arrays["log_minutes"][:, at].std() == pytest.approx((believed + told) ** -0.5, abs=0.01)


def test_many_new_tickets_make_a_refit_due(tiny_posterior: Posterior, tiny_vocabulary: Vocabulary) -> None:
    few = update_posterior(tiny_posterior, tickets(("plug_loose", 2.0)), tiny_vocabulary)
    assert (few.is_spent, few.ticket_count, few.new_share) == (False, 2, 2 / 200)
    assert few.sentence() == "2 tickets closed since the last fit already count. A new fit can wait."
    shares = {"plug_loose": 20.0, "switch_dirty": 21.0}
    many = update_posterior(tiny_posterior, tickets(*shares.items()), tiny_vocabulary)
    assert many.new_share > MAX_NEW_SHARE
    assert many.is_spent
    assert "faultodds fit" in many.sentence()


def test_a_ticket_the_fit_cannot_read_is_said_to_be_left_out(
    tiny_posterior: Posterior, tiny_vocabulary: Vocabulary
) -> None:
    both = add_evidence([tickets(("plug_loose", 1.0)), tickets(("plug_loose", 1.0), symptom="smells")])
    update = update_posterior(tiny_posterior, both, tiny_vocabulary)
    assert (update.ticket_count, update.left_out, update.is_spent) == (1, 1, True)
    assert "1 ticket cannot count yet, because the vocabulary was edited" in update.sentence()
