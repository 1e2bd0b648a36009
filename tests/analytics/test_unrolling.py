"""What bundles hide is estimated without bias from what all of them show, and totals stay true."""

from itertools import product
from math import factorial

import numpy as np
import pandas as pd
import pytest

from analytics.hidden_counts import expected_counts
from analytics.rollup import roll_up
from analytics.rollup_cells import BUNDLE_COLUMNS
from analytics.rollup_checks import AT_FAULT, CHECK_COLUMNS, ELSEWHERE, add_minutes, minutes_sums, roll_up_minutes
from analytics.unrolling import Contribution, unroll
from analytics.unrolling_checks import outcome_counts, unroll_outcomes
from analytics.vocabulary import Vocabulary

K = 5


@pytest.mark.parametrize(("rates", "total", "most"), [((3.0, 1.0, 0.2), 6, 4), ((1.0, 2.0), 8, 4), ((9.0, 1.0), 5, 3)])
def test_hidden_counts_are_those_of_counting_every_case(rates: tuple[float, ...], total: int, most: int) -> None:
    """Conditional expectation from its definition, by listing all counts (multinomial coefficients by hand)."""
    cases = [case for case in product(range(most + 1), repeat=len(rates)) if sum(case) == total]
    weights = [np.prod([r**n / factorial(n) for r, n in zip(rates, case, strict=True)]) for case in cases]
    expected = np.average(np.array(cases), axis=0, weights=weights)
    np.testing.assert_allclose(expected_counts(np.array(rates), total, most), expected, rtol=1e-9)


def test_hidden_counts_ignore_a_limit_that_cannot_be_kept() -> None:
    np.testing.assert_allclose(expected_counts(np.array([1.0, 3.0]), 20, 4), [5.0, 15.0])


def _shops(rng: np.random.Generator, count: int) -> list[pd.DataFrame]:
    """Shops of 60 tickets of one complaint; cranes meet the plug, pianos the switch; the coil is rare."""
    odds = {"crane": (0.6, 0.2, 0.12, 0.08), "piano": (0.2, 0.6, 0.12, 0.08)}
    suspects = ["plug_loose", "switch_dirty", "coil_open", "something_else"]
    shops = []
    for _ in range(count):
        rows = []
        for _ in range(60):
            family = str(rng.choice(["crane", "piano"], p=[0.6, 0.4]))
            rows.append(("stuck", family, "old", str(rng.choice(suspects, p=odds[family])), "cured", "", "", 1))
        shops.append(pd.DataFrame(rows, columns=list(BUNDLE_COLUMNS)))
    return shops


def _unrolled(shops: list[pd.DataFrame], vocabulary: Vocabulary) -> pd.DataFrame:
    rolled = [roll_up(shop, vocabulary, threshold=K) for shop in shops]
    parts = [Contribution(f"club-{at}", one.cells, one.families, K - 1) for at, one in enumerate(rolled)]
    return unroll(parts, vocabulary)


def test_unrolling_keeps_every_shop_s_total_and_says_no_more_than_it_knows(tiny_vocabulary: Vocabulary) -> None:
    shops = _shops(np.random.default_rng(3), 4)
    cells = _unrolled(shops, tiny_vocabulary)
    assert cells.groupby("shop")["weight"].sum().to_dict() == pytest.approx({f"club-{at}": 60.0 for at in range(4)})
    assert set(cells["age_band"]) == {"unknown"}
    assert set(cells["confirmation"]) == {"cured"}


def test_not_even_a_hundredth_of_a_ticket_is_lost(tiny_vocabulary: Vocabulary) -> None:
    """Merged suspects hold traces of a ticket, too small to be split by family; their sum is still every ticket."""
    shops = _shops(np.random.default_rng(5), 6)
    few = pd.DataFrame([("stuck", family, "old", "plug_loose", "cured", "", "", 7) for family in ("crane", "piano")],
                       columns=list(BUNDLE_COLUMNS))  # fmt: skip
    cells = _unrolled([*shops, few], tiny_vocabulary)
    assert cells["weight"].sum() == pytest.approx(6 * 60 + 14)
    assert (cells["weight"] > 0).all()


def test_rare_suspects_and_families_come_back_as_often_as_they_were(tiny_vocabulary: Vocabulary) -> None:
    """40 shops: truth counted from the very tickets. A suspect a fifth off, or families a tenth, would fail."""
    shops = _shops(np.random.default_rng(7), 40)
    cells, truth = _unrolled(shops, tiny_vocabulary), pd.concat(shops)
    found = cells.groupby("suspect")["weight"].sum()
    counted = truth.groupby("suspect")["tickets"].sum()
    assert found.to_dict() == pytest.approx(counted.to_dict(), rel=0.2)
    placed = cells[cells["family"] != ""]
    for suspect in ("plug_loose", "switch_dirty"):
        ours = placed[placed["suspect"] == suspect].groupby("family")["weight"].sum()
        theirs = truth[truth["suspect"] == suspect].groupby("family")["tickets"].sum()
        assert ours["crane"] / ours.sum() == pytest.approx(theirs["crane"] / theirs.sum(), abs=0.1)


def test_a_hidden_outcome_is_estimated_and_not_taken_for_none(tiny_vocabulary: Vocabulary) -> None:
    """Nine shops tell 20 found and hide the clear ones (0 to 4); one tells 20 and 6. Not 180 of 180, and not 9 x 6."""
    full = pd.DataFrame([("look_at_plug", AT_FAULT, "fault_found", 20), ("look_at_plug", AT_FAULT, "clear", 6)],
                        columns=list(CHECK_COLUMNS))  # fmt: skip
    parts = [(full, 4), *[(full.iloc[:1], 4)] * 9]
    found = unroll_outcomes(parts, tiny_vocabulary).set_index("outcome")["tickets"]
    assert found["fault_found"] == 200
    # each hidden count is Poisson, at most 4, of a mean m that solves m = 20 (6 + 9 h + 2) / (200 + 8), h its mean:
    # by hand m = 2.7, h = 2.24 (10 tickets of the seeded 8 in 10 are with it)
    assert found["clear"] == pytest.approx(6 + 9 * 2.24, rel=0.01)


def test_outcomes_reach_the_suspects_that_the_check_can_tell_of(tiny_vocabulary: Vocabulary) -> None:
    rows = [("look_at_plug", AT_FAULT, "fault_found", 8.0), ("look_at_plug", ELSEWHERE, "clear", 30.0)]
    counts = outcome_counts(pd.DataFrame(rows, columns=list(CHECK_COLUMNS)), {"coil_open": 5.0}, tiny_vocabulary)
    told = counts.groupby(counts["suspect"] == "plug_loose")["count"].sum()
    assert told.to_dict() == pytest.approx({True: 8.0, False: 30.0})


def test_minutes_come_back_but_for_the_rounding() -> None:
    minutes = np.log([2.0, 3.0, 3.0, 5.0, 8.0, 9.0, 11.0])
    counted = pd.DataFrame([("look_at_plug", 7, minutes.sum(), (minutes**2).sum())],
                           columns=["check", "count", "log_sum", "log_square_sum"])  # fmt: skip
    rolled = roll_up_minutes(counted, threshold=K)
    assert rolled["tickets"].tolist() == [5]
    sums = minutes_sums(add_minutes(pd.concat([rolled, rolled]))).iloc[0]
    assert sums["count"] == 10
    assert sums["log_sum"] / 10 == pytest.approx(minutes.mean(), abs=0.01)
    assert sums["log_square_sum"] / 10 == pytest.approx((minutes**2).mean(), abs=0.05)
