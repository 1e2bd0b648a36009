"""Evidence counts what the tickets say, checked by counting on paper."""

from dataclasses import replace
from datetime import date
from math import log
from pathlib import Path

import pandas as pd
import pytest

from analytics.case import CheckResult
from analytics.evidence import Evidence, empty_evidence
from analytics.vocabulary import Vocabulary
from pipelines.bench_tickets import TicketRow
from pipelines.history import TicketCounts, count_like_tickets, read_evidence, read_tickets
from pipelines.intake import save_ticket

TODAY = date(2026, 11, 25)
PLAIN = TicketRow(shop="Pier", ticket_number="", opened_on=date(2020, 5, 1), symptom="stuck")

# The tickets to count. Ages in 2020: 1962 -> 58 (middle), 1960 -> 60 (old), 1890 -> 130, 1880 -> 140 (both old).
TICKETS = [
    replace(
        PLAIN,
        family="crane",
        built_year=1962,
        suspects=("plug_loose",),
        confirmation="cured",
        also_absent=("dark",),
        checks=(CheckResult("look_at_plug", "fault_found", 2.0), CheckResult("reseat_plug", "cured", 8.0)),
    ),
    replace(
        PLAIN,
        family="crane",
        built_year=1960,
        suspects=("coil_open", "plug_loose"),
        confirmation="cured",
        also_present=("dark",),
        checks=(CheckResult("look_at_plug", "fault_found", 4.0), CheckResult("meter_coil", "fault_found")),
    ),
    replace(PLAIN, built_year=1880, suspects=("switch_dirty",), confirmation="reproduced_and_cured", symptom="dark"),
    replace(
        PLAIN,
        also_present=("dark",),
        result="handed_on",
        checks=(
            CheckResult("reseat_plug", "not_cured", 3.0),
            CheckResult("look_at_plug", "clear", 0.0),
            CheckResult("look_at_plug", "clear", 1.0),
        ),
    ),
    replace(PLAIN, result="no_fault_found", checks=(CheckResult("meter_coil", "clear", 6.0),)),
    replace(PLAIN, result="not_fixed"),
    replace(PLAIN, result="not_fixed", shop="Harbour", opened_on=date(2021, 1, 1)),
]


@pytest.fixture(scope="module")
def store_path(tmp_path_factory: pytest.TempPathFactory, tiny_vocabulary: Vocabulary) -> Path:
    path = tmp_path_factory.mktemp("history") / "store.duckdb"
    for number, ticket in enumerate(TICKETS):
        numbered = replace(ticket, ticket_number=f"No. {number}", complaint=f"Words {number}")
        save_ticket(numbered, store_path=path, vocabulary=tiny_vocabulary, today=TODAY)
    return path


@pytest.fixture(scope="module")
def evidence(store_path: Path, tiny_vocabulary: Vocabulary) -> Evidence:
    return read_evidence(store_path, tiny_vocabulary)


def rows(frame: pd.DataFrame) -> set[tuple[object, ...]]:
    return set(frame.itertuples(index=False, name=None))


def test_cells_are_the_tickets_counted_by_hand(evidence: Evidence) -> None:
    assert rows(evidence.cells) == {
        ("stuck", "crane", "Pier", "middle", "plug_loose", "cured", "", "", 1.0),
        ("stuck", "crane", "Pier", "old", "coil_open", "cured", "", "", 0.5),
        ("stuck", "crane", "Pier", "old", "plug_loose", "cured", "", "", 0.5),
        ("dark", "", "Pier", "old", "switch_dirty", "reproduced_and_cured", "", "", 1.0),
        (
            *("stuck", "", "Pier", "unknown", "", ""),
            *("look_at_plug=clear;look_at_plug=clear;reseat_plug=not_cured", "dark=present", 1.0),
        ),
        ("stuck", "", "Pier", "unknown", "", "", "", "", 1.0),
        ("stuck", "", "Harbour", "unknown", "", "", "", "", 1.0),
    }
    # Seven tickets, of which no_fault_found without a suspect is in no cell.
    assert evidence.ticket_count == 6
    assert evidence.cells["weight"].sum() == 6.0
    assert (evidence.families, evidence.shops) == (("crane",), ("Harbour", "Pier"))


def test_checks_count_for_confirmed_suspects_only(evidence: Evidence) -> None:
    assert rows(evidence.check_counts) == {
        ("look_at_plug", "plug_loose", "fault_found", 1.0 + 0.5),
        ("look_at_plug", "coil_open", "fault_found", 0.5),
        ("reseat_plug", "plug_loose", "cured", 1.0),
        ("meter_coil", "plug_loose", "fault_found", 0.5),
        ("meter_coil", "coil_open", "fault_found", 0.5),
    }


def test_minutes_are_summed_as_logarithms_and_none_are_left_out(evidence: Evidence) -> None:
    frame = evidence.check_minutes.set_index("check")
    assert frame["count"].to_dict() == {"look_at_plug": 3.0, "meter_coil": 1.0, "reseat_plug": 2.0}
    assert frame["log_sum"]["look_at_plug"] == pytest.approx(log(2) + log(4) + log(1))
    assert frame["log_square_sum"]["reseat_plug"] == pytest.approx(log(8) ** 2 + log(3) ** 2)


def test_companions_are_other_symptoms_of_confirmed_suspects(evidence: Evidence) -> None:
    assert rows(evidence.companions) == {
        ("plug_loose", "dark", "absent", 1.0),
        ("plug_loose", "dark", "present", 0.5),
        ("coil_open", "dark", "present", 0.5),
    }


def test_until_leaves_out_what_was_opened_on_that_day_or_later(store_path: Path, tiny_vocabulary: Vocabulary) -> None:
    before_harbour = read_evidence(store_path, tiny_vocabulary, until=date(2021, 1, 1))
    assert (before_harbour.ticket_count, before_harbour.shops) == (5, ("Pier",))
    nothing = read_evidence(store_path, tiny_vocabulary, until=date(2020, 5, 1))
    assert nothing.ticket_count == 0
    for name in ("cells", "check_counts", "check_minutes", "companions"):
        pd.testing.assert_frame_equal(getattr(nothing, name), getattr(empty_evidence(), name))


def test_like_tickets_are_counted(store_path: Path) -> None:
    assert count_like_tickets(store_path, symptom="stuck", family="crane") == TicketCounts(2, 6, 2, 7)
    assert count_like_tickets(store_path, symptom="stuck", family="") == TicketCounts(0, 6, 0, 7)


def test_tickets_are_found_by_any_of_their_words(store_path: Path) -> None:
    assert read_tickets(store_path)["ticket_number"].tolist()[:2] == ["No. 6", "No. 0"]
    assert read_tickets(store_path, text="COIL_open")["suspects"].tolist() == ["coil_open; plug_loose"]
    assert read_tickets(store_path, text="words 3")["ticket_number"].tolist() == ["No. 3"]
    # Signs that SQL patterns know are plain text here.
    assert read_tickets(store_path, text="%").empty
    assert len(read_tickets(store_path, limit=3)) == 3
