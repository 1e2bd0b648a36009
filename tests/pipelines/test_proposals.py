"""A draft vocabulary speaks the shop's words, holds together, and takes in the very file it was made from."""

import csv
from collections.abc import Sequence
from datetime import date
from pathlib import Path

import pytest

from analytics.errors import InputError
from analytics.vocabulary import SOMETHING_ELSE, AgeBand, Vocabulary
from pipelines.catalogue import read_vocabulary, write_vocabulary
from pipelines.column_maps import read_column_map
from pipelines.intake import ingest_file
from pipelines.proposals import propose_vocabulary
from pipelines.readers import read_raw
from pipelines.settings import seed_folder
from pipelines.spelling_groups import group_spellings, make_code

HEADER = ("ticket", "shop", "family", "built_year", "opened_on", "symptom", "suspect", "checks")
# Invented: (family, symptom, suspect, checks, how many tickets).
TICKETS = (
    ("Bubble organ", "Pipes stay silent", "Bellows leaking", "Press the bellows = fault found / 4", 24),
    (
        "Bubble organ",
        "Pipes stay silent",
        "bellows leaky",
        "Press the bellows = clear / 6; Patch bellows = cured / 30",
        4,
    ),
    ("bubble organ", "Pipes stay silent", "Air valve stuck object", "", 3),
    ("Buble organ", "Pipes stay silnet", "Crank", "Press the bellows = clear", 1),
    ("Wheel of wishes", "Wheel will not turn", "Something else", "", 2),
    ("Wheel of wishes", "Wheel will not turn; Pipes stay silent", "", "Push the wheel = clear / 1", 5),
)


def write_tickets(path: Path, tickets: Sequence[tuple[str, str, str, str, int]]) -> Path:
    with path.open("w", encoding="utf-8", newline="") as stream:
        writer = csv.writer(stream)
        writer.writerow(HEADER)
        rows = [ticket[:4] for ticket in tickets for _ in range(ticket[4])]
        for number, (family, symptom, suspect, checks) in enumerate(rows):
            # Ages run through 0, 2, 4 ... in the order of the rows.
            years = (str(2020 - 2 * number), "2020-06-01")
            writer.writerow([number, "Pier", family, *years, symptom, suspect, checks])
    return path


@pytest.fixture(scope="module")
def base() -> Vocabulary:
    return read_vocabulary(seed_folder() / "vocabulary")


@pytest.fixture(scope="module")
def tickets_path(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return write_tickets(tmp_path_factory.mktemp("shop") / "tickets.csv", TICKETS)


@pytest.fixture(scope="module")
def draft(tickets_path: Path, base: Vocabulary) -> Vocabulary:
    return propose_vocabulary(read_raw(tickets_path), column_map=read_column_map(), base=base)


def test_draft_can_be_written_and_read_back(draft: Vocabulary, tmp_path: Path) -> None:
    write_vocabulary(draft, tmp_path / "vocabulary")
    assert read_vocabulary(tmp_path / "vocabulary") == draft


def test_draft_takes_in_its_own_file(draft: Vocabulary, tickets_path: Path, tmp_path: Path) -> None:
    report = ingest_file(
        tickets_path,
        store_path=tmp_path / "store.duckdb",
        vocabulary=draft,
        shop="",
        column_map=read_column_map(),
        today=date(2026, 11, 25),
    )
    # The five tickets with a check that never told anything about a known suspect wait for a person.
    assert report.reasons["reason_code"].tolist() == ["unknown_check"]
    assert (report.rows_in, report.stored, report.quarantined) == (39, 34, 5)


def test_rare_misspellings_become_aliases(draft: Vocabulary) -> None:
    assert {code: term.aliases for code, term in draft.families.items()} == {
        "bubble_organ": ("Buble organ",),
        "wheel_of_wishes": (),
    }
    assert {code: term.aliases for code, term in draft.symptoms.items()} == {
        "pipes_stay_silent": ("Pipes stay silnet",),
        "wheel_will_not_turn": (),
    }


def test_suspects_are_taken_apart_by_the_failure_modes_of_the_base(draft: Vocabulary) -> None:
    parts = {code: (suspect.component, suspect.failure_mode) for code, suspect in draft.suspects.items()}
    assert parts == {
        "bellows_leaking": ("bellows", "leaking"),
        # "stuck object" is what the base calls blocked.
        "air_valve_stuck_object": ("air_valve", "blocked"),
        "crank": ("crank", "crank_faulty"),
        SOMETHING_ELSE: ("", ""),
    }
    assert draft.suspects["bellows_leaking"].aliases == ("bellows leaky",)


def test_links_are_those_of_the_tickets_and_equally_strong(draft: Vocabulary) -> None:
    # 24 + 4, 3 and 1 of 32 tickets, commonest first. The wheel has no named suspect: the commonest are listed.
    listed = ("bellows_leaking", "air_valve_stuck_object", "crank")
    symptoms = ("pipes_stay_silent", "wheel_will_not_turn")
    assert draft.links == {
        **{(symptom, suspect): "sometimes" for symptom in symptoms for suspect in listed},
        **{(symptom, SOMETHING_ELSE): "rarely" for symptom in symptoms},
    }
    assert draft.suspects_of("pipes_stay_silent") == (*listed, SOMETHING_ELSE)


def test_checks_of_the_tickets_carry_what_they_told(draft: Vocabulary) -> None:
    press, patch = draft.checks["press_the_bellows"], draft.checks["patch_bellows"]
    # 24 of 28 found, beside four draft tickets at 0.7: (24 + 2.8) / 32 = 0.84; 4 of 4 cured beside 4 at 0.85: 0.925.
    assert (press.kind, dict(press.reveals), press.minutes) == ("inspection", {"bellows_leaking": 0.84}, 4.0)
    assert (patch.kind, patch.minutes) == ("remedy", 30.0)
    assert patch.cures["bellows_leaking"] == pytest.approx(0.925, abs=0.006)
    for check in draft.checks.values():
        assert check.instruction.startswith("Unplug the machine")
        assert "mains_present" in check.hazards


def test_age_bands_hold_equally_many_tickets(tmp_path: Path, base: Vocabulary) -> None:
    # 60 tickets aged 0, 2, ... 118: sixths end before 19, 39, 59, 78 and 98 (numpy's linear quantiles, cut to years).
    path = write_tickets(tmp_path / "many.csv", [("Organ", "Silent", "Bellows leaking", "", 60)])
    draft = propose_vocabulary(read_raw(path), column_map=read_column_map(), base=base)
    assert draft.age_bands[0] == AgeBand("age_0_18", 0, 18)
    assert [band.from_age for band in draft.age_bands] == [0, 19, 39, 59, 78, 98]
    assert draft.age_bands[-1].to_age == 130


def test_few_ages_leave_the_bands_of_the_base(draft: Vocabulary, base: Vocabulary) -> None:
    assert draft.age_bands == base.age_bands


def test_file_without_suspects_is_refused(tmp_path: Path, base: Vocabulary) -> None:
    path = write_tickets(tmp_path / "no.csv", [("Organ", "Silent", "", "", 3)])
    with pytest.raises(InputError, match=r"'no\.csv' names no symptom, or no suspect"):
        propose_vocabulary(read_raw(path), column_map=read_column_map(), base=base)


def test_two_common_words_and_two_numbers_stay_two_things() -> None:
    numbered = group_spellings({"Long model 1": 9, "Long model 2": 1})
    assert set(numbered.groups) == {"long_model_1", "long_model_2"}
    groups = group_spellings({"Coil open": 10, "Coin open": 8, "coil opne": 2})
    assert {code: group.aliases for code, group in groups.groups.items()} == {
        "coil_open": ("coil opne",),
        "coin_open": (),
    }
    assert groups.code_of["coil opne"] == "coil_open"


@pytest.mark.parametrize(
    ("text", "code"), [("Größe drei", "grosse_drei"), ("3 lamps", "no_3_lamps"), ("?", "unnamed"), ("Coil", "coil_2")]
)
def test_codes_are_plain_words_and_not_taken(text: str, code: str) -> None:
    assert make_code(text, {"coil": None}) == code
