"""Rolling up: totals stay true, nothing small is published, and nothing small can be got by subtracting."""

from itertools import product

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from analytics.errors import InputError
from analytics.evidence import read_possible
from analytics.rollup import roll_up
from analytics.rollup_cells import BUNDLE_COLUMNS, LEVELS
from analytics.rollup_groups import shown_families
from analytics.vocabulary import CONFIRMATIONS, Vocabulary

pytestmark = pytest.mark.slow

_KEYS = list(BUNDLE_COLUMNS[:-1])


def _named(symptom: str, suspect: str, count: int, **other: str) -> tuple[object, ...]:
    place = {"family": "crane", "age": "old", "grade": CONFIRMATIONS[0]} | other
    return (symptom, place["family"], place["age"], suspect, place["grade"], "", "", count)


def _frame(*rows: tuple[object, ...]) -> pd.DataFrame:
    return pd.DataFrame(rows, columns=list(BUNDLE_COLUMNS))


_named_rows = st.builds(
    _named,
    st.sampled_from(["stuck", "dark"]),
    st.sampled_from(["plug_loose", "switch_dirty", "coil_open", "fuse_blown", "something_else"]),
    st.integers(1, 12),
    family=st.sampled_from(["crane", "piano", ""]),
    age=st.sampled_from(["young", "middle", "old", "unknown"]),
    grade=st.sampled_from(CONFIRMATIONS),
)
_open_rows = st.tuples(
    *(st.sampled_from(["stuck", "dark"]), st.sampled_from(["crane", "piano", ""]), st.sampled_from(["old", "unknown"])),
    *(st.just(""), st.just(""), st.sampled_from(["", "look_at_plug=clear"]), st.just(""), st.integers(1, 12)),
)


@settings(max_examples=200, deadline=None)
@given(st.lists(_named_rows | _open_rows, min_size=1, max_size=25), st.integers(2, 9), st.randoms())
def test_every_ticket_is_in_one_cell_and_no_cell_is_small(
    tiny_vocabulary: Vocabulary, rows: list[tuple[object, ...]], threshold: int, random: object
) -> None:
    tickets = _frame(*rows)
    total = int(tickets["tickets"].sum())
    if total < threshold:
        with pytest.raises(InputError, match="Wait until there are more"):
            roll_up(tickets, tiny_vocabulary, threshold=threshold)
        return
    rolled = roll_up(tickets, tiny_vocabulary, threshold=threshold)
    assert rolled.ticket_count == total == sum(rolled.rolled_up.values())
    assert rolled.cells["tickets"].min() >= threshold
    assert not rolled.cells.duplicated(_KEYS).any()
    shuffled = tickets.sample(frac=1.0, random_state=np.random.RandomState(random.randrange(1000)))  # type: ignore[attr-defined]
    pd.testing.assert_frame_equal(rolled.cells, roll_up(shuffled, tiny_vocabulary, threshold=threshold).cells)


@settings(max_examples=100, deadline=None)
@given(st.lists(_named_rows, min_size=1, max_size=25))
def test_a_symptom_never_gains_tickets(tiny_vocabulary: Vocabulary, rows: list[tuple[object, ...]]) -> None:
    tickets = _frame(*rows)
    if tickets["tickets"].sum() < 5:
        return
    published = roll_up(tickets, tiny_vocabulary).cells.groupby("symptom")["tickets"].sum()
    before = tickets.groupby("symptom")["tickets"].sum()
    assert all(published[symptom] == before[symptom] for symptom in published.index if symptom)


def test_a_shop_with_enough_everywhere_publishes_its_cells_as_they_are(tiny_vocabulary: Vocabulary) -> None:
    tickets = _frame(_named("stuck", "plug_loose", 900), _named("dark", "fuse_blown", 500, family="piano"))
    rolled = roll_up(tickets, tiny_vocabulary)
    assert sorted(rolled.cells["tickets"]) == [500, 900]
    assert rolled.families.empty
    assert rolled.rolled_up == {level: 1400 if level == "grade" else 0 for level in LEVELS}


def test_the_age_goes_first_then_the_family_then_the_suspect(tiny_vocabulary: Vocabulary) -> None:
    ages = roll_up(_frame(*(_named("stuck", "plug_loose", 120, age=age) for age in ("young", "old"))), tiny_vocabulary)
    assert ages.cells[["family", "age_band", "suspect", "tickets"]].values.tolist() == [
        ["crane", "unknown", "plug_loose", 240]
    ]
    families = roll_up(
        _frame(*(_named("stuck", "plug_loose", 3, family=family) for family in ("crane", "piano"))), tiny_vocabulary
    )
    assert families.cells[["family", "age_band", "suspect"]].values.tolist() == [["", "unknown", "plug_loose"]]
    suspects = roll_up(
        _frame(_named("stuck", "plug_loose", 9), *(_named("stuck", k, 3) for k in ("switch_dirty", "coil_open"))),
        tiny_vocabulary,
    )
    rest = suspects.cells[suspects.cells["suspect"] == ""].iloc[0]
    assert rest["tickets"] == 6
    assert read_possible(rest["results"]) == ("coil_open", "something_else", "switch_dirty")


def test_a_small_suspect_cannot_be_got_by_subtracting_or_by_knowing_the_rule(tiny_vocabulary: Vocabulary) -> None:
    """Four suspects are listed; were two shown, 8 in the others could only be 4 and 4: a third must be pulled in."""
    counts = {"plug_loose": 30, "switch_dirty": 20, "coil_open": 4, "something_else": 4}
    rolled = roll_up(_frame(*(_named("stuck", k, n) for k, n in counts.items())), tiny_vocabulary)
    assert dict(zip(rolled.cells["suspect"], rolled.cells["tickets"], strict=True)) == {"plug_loose": 30, "": 28}


def test_a_family_is_shown_by_its_size_whatever_its_suspects(tiny_vocabulary: Vocabulary) -> None:
    """A family that is known for its common suspect and unknown for its rare ones would seem to have no others."""
    mixed = [_named("stuck", "plug_loose", 196), *(_named("stuck", k, 2) for k in ("switch_dirty", "coil_open"))]
    pure = _named("stuck", "plug_loose", 199, family="piano")
    rolled = roll_up(_frame(*mixed, pure), tiny_vocabulary).cells.groupby("family")["tickets"].sum()
    assert rolled.to_dict() == {"crane": 200, "": 199}


def test_a_suspect_without_a_family_is_counted_by_family_from_the_side(tiny_vocabulary: Vocabulary) -> None:
    """By hand: 12 cranes and 6 pianos of two complaints; 2 pianos alone would be too few, so cranes stay with them."""
    cranes = [_named("stuck", "plug_loose", 7), _named("dark", "plug_loose", 5), _named("dark", "fuse_blown", 9)]
    pianos = [_named(*what, family="piano") for what in (("stuck", "plug_loose", 6), ("dark", "fuse_blown", 2))]
    rolled = roll_up(_frame(*cranes, *pianos), tiny_vocabulary)
    assert rolled.families.values.tolist() == [
        ["", "fuse_blown", "", "crane;piano", 11],
        ["", "plug_loose", "crane", "", 12],
        ["", "plug_loose", "piano", "", 6],
    ]
    assert rolled.rolled_up["sides"] == 18


@settings(max_examples=100, deadline=None)
@given(st.lists(_named_rows, min_size=1, max_size=25), st.integers(2, 9))
def test_the_side_by_families_has_the_margins_of_the_cells_and_nothing_small(
    tiny_vocabulary: Vocabulary, rows: list[tuple[object, ...]], threshold: int
) -> None:
    tickets = _frame(*rows)
    if tickets["tickets"].sum() < threshold:
        return
    rolled = roll_up(tickets, tiny_vocabulary, threshold=threshold)
    cells = rolled.cells[(rolled.cells["family"] == "") & (rolled.cells["symptom"] != "")]
    sides = cells.assign(symptom=cells["symptom"].where(cells["suspect"] == "", ""))
    told = rolled.families.groupby(["symptom", "suspect"])["tickets"].sum()
    assert told.to_dict() == sides.groupby(["symptom", "suspect"])["tickets"].sum().to_dict()
    assert (rolled.families["tickets"] >= threshold).all()


def test_who_knows_the_rule_can_say_of_no_hidden_family_that_it_is_there() -> None:
    """The attack by minimality (Wong, Fu, Wang, Pei, VLDB 2007), whole: all counts of four families up to nine in all.

    Every result is joined to all counts that may have led to it: among them each family that does not stand apart is
    empty once, unless all of them together are all that is told.
    """
    families, threshold, most = tuple("abcd"), 3, 9
    behind: dict[tuple[tuple[tuple[str, int], ...], int], list[tuple[int, ...]]] = {}
    for counts in (c for c in product(range(most + 1), repeat=4) if sum(c) <= most):
        totals = dict(zip(families, counts, strict=True))
        shown = shown_families(totals, families, unknown="", threshold=threshold)
        told = tuple((code, totals[code]) for code in shown)
        behind.setdefault((told, sum(counts) - sum(n for _, n in told)), []).append(counts)
    for (told, rest), possible in behind.items():
        assert rest == 0 or rest >= threshold or not told
        for at, family in enumerate(families):
            assert family in dict(told) or min(counts[at] for counts in possible) == 0, (told, rest, family)


def test_a_few_unresolved_tickets_do_not_cost_a_shop_what_it_knows(tiny_vocabulary: Vocabulary) -> None:
    open_ticket = ("stuck", "crane", "old", "", "", "look_at_plug=clear", "", 2)
    rolled = roll_up(
        _frame(_named("stuck", "plug_loose", 40), _named("dark", "fuse_blown", 6), open_ticket), tiny_vocabulary
    )
    cells = rolled.cells.set_index("symptom")["tickets"].to_dict()
    assert cells == {"stuck": 40, "": 8}
