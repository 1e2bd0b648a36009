"""Every row of a file becomes a ticket, a duplicate or a quarantined row with a sentence; nothing changes silently."""

import csv
import json
from collections.abc import Callable, Mapping
from dataclasses import replace
from datetime import date
from pathlib import Path
from threading import Thread
from typing import Any

import openpyxl
import pandas as pd
import pytest

from analytics.case import CheckResult
from analytics.errors import InputError
from analytics.vocabulary import Vocabulary
from pipelines.bench_tickets import TicketRow
from pipelines.catalogue import read_vocabulary
from pipelines.column_maps import read_column_map
from pipelines.history import read_quarantine, read_tickets
from pipelines.intake import IngestReport, ingest_file, release, save_ticket
from pipelines.settings import seed_folder
from pipelines.store import data_version, reading, writing
from pipelines.store_checks import check_store

TODAY = date(2026, 11, 25)
GOOD = {"ticket": "1", "shop": "Pier", "opened_on": "2024-03-31", "symptom": "Grab is stuck"}

Ingest = Callable[..., IngestReport]


@pytest.fixture
def store_path(tmp_path: Path) -> Path:
    return tmp_path / "store.duckdb"


@pytest.fixture
def ingest(tmp_path: Path, store_path: Path, tiny_vocabulary: Vocabulary) -> Ingest:
    """Function that writes rows (field -> text) to a file and reads it in."""

    def run(*rows: Mapping[str, str], name: str = "tickets.csv", shop: str = "") -> IngestReport:
        path = tmp_path / name
        with path.open("w", encoding="utf-8", newline="") as stream:
            writer = csv.DictWriter(stream, list(dict.fromkeys(header for row in rows for header in row)))
            writer.writeheader()
            writer.writerows(rows)
        return ingest_file(
            path,
            store_path=store_path,
            vocabulary=tiny_vocabulary,
            shop=shop,
            column_map=read_column_map(),
            today=TODAY,
        )

    return run


def stored(store_path: Path) -> dict[str, list[tuple[object, ...]]]:
    """Everything in the store."""
    tables = ("raw_files", "raw_rows", "tickets", "ticket_symptoms", "ticket_suspects", "ticket_checks")
    with reading(store_path) as con:
        return {
            table: sorted(con.execute(f"from {table}").fetchall(), key=repr)
            for table in (*tables, "quarantine", "duplicates", "matches")
        }


def counts(report: IngestReport) -> tuple[int, int, int, int]:
    return report.rows_in, report.stored, report.quarantined, report.duplicates


def test_full_row_becomes_a_ticket_with_codes(ingest: Ingest, store_path: Path) -> None:
    row = {
        **{"ticket": "7", "shop": "Pier", "machine": "Grab 3", "family": "grab machine", "built_year": "ca. 1962"},
        **{"opened_on": "31.03.2024", "closed_on": "01.04.2024", "symptom": "jaws do not move; not: No lights"},
        **{
            "complaint": "It, um, hangs",
            "suspect": "coil open circuit; Plug loos",
            "confirmation": "Reproduced and cured",
        },
        **{
            "result": "Fixed",
            "checks": "Meter the coil = fault found / 5,5; Replace the coil=cured",
            "minutes": "45 min",
        },
    }
    assert counts(ingest(row)) == (1, 1, 0, 0)
    rows = stored(store_path)
    key = rows["tickets"][0][0]
    assert rows["tickets"][0][1:13] == (
        *("Pier", "7", "Grab 3", "crane", 1962, date(2024, 3, 31), date(2024, 4, 1), "stuck", "It, um, hangs"),
        *("fixed", "reproduced_and_cured", 45.0),
    )
    assert rows["ticket_symptoms"] == [(key, "dark", False)]
    assert rows["ticket_suspects"] == [(key, "coil_open"), (key, "plug_loose")]
    assert rows["ticket_checks"] == [
        (key, 1, "meter_coil", "fault_found", 5.5),
        (key, 2, "replace_coil", "cured", None),
    ]
    matches = {(field, written): code for field, written, code, *_ in rows["matches"]}
    assert matches["suspect", "Plug loos"] == "plug_loose"
    assert json.loads(str(rows["raw_rows"][0][2])) == row


# Cell that makes a good row a bad one -> (reason code, words of the sentence).
BAD_CELLS: dict[str, tuple[dict[str, str], str, str]] = {
    "year_19e9": ({"built_year": "19e9"}, "bad_year", "built_year '19e9' is not a year from 1850 to 2026"),
    "year_too_early": ({"built_year": "1776"}, "bad_year", "is not a year from 1850"),
    "year_19e9_opened": ({"opened_on": "19e9"}, "bad_date", "'19e9' is not a date. Write it like 2024-03-31"),
    "impossible_date": ({"opened_on": "2024-02-30"}, "bad_date", "'2024-02-30' is not a date"),
    "two_digit_year": ({"opened_on": "31.03.24"}, "bad_date", "'31.03.24' is not a date"),
    "year_zero": ({"opened_on": "0000-01-01"}, "bad_date", "is not a date"),
    "in_the_future": ({"opened_on": "2026-11-26"}, "bad_date", "is after today, 2026-11-25"),
    "closed_in_the_future": ({"closed_on": "2027-01-01"}, "bad_date", "closed_on '2027-01-01' is after today"),
    "closed_before_opened": ({"closed_on": "2024-03-30"}, "closed_before_opened", "before it was opened on 2024-03-31"),
    "built_after_opened": ({"built_year": "2025"}, "built_after_opened", "Built in 2025, after it was opened"),
    "negative_minutes": ({"minutes": "-5"}, "bad_minutes", "-5 minutes are not possible. Allowed: 0 to 10,000"),
    "endless_minutes": ({"minutes": "10001"}, "bad_minutes", "10001 minutes are not possible"),
    "minutes_in_words": ({"minutes": "half a day"}, "bad_minutes", "'half a day' is not a number of minutes"),
    "formula_as_symptom": ({"symptom": "=cmd|' /C calc'!A0"}, "unknown_symptom", "No symptom is called '=cmd|'"),
    "unknown_symptom": (
        {"symptom": "smells of vanilla"},
        "unknown_symptom",
        "No symptom is called 'smells of vanilla'. Closest: '",
    ),
    "unknown_second_symptom": ({"symptom": "stuck; not: vanilla"}, "unknown_symptom", "called 'vanilla'"),
    "first_symptom_absent": ({"symptom": "not: dark"}, "unknown_symptom", "Put what the machine does wrong first"),
    "there_and_not_there": ({"symptom": "stuck; dark; not: dark"}, "unknown_symptom", "both there and not there"),
    "unknown_family": ({"family": "submarine"}, "unknown_family", "No family is called 'submarine'. Closest: '"),
    "unknown_suspect": ({"suspect": "coil shorted"}, "unknown_suspect", "Closest: 'Coil open'"),
    "unknown_check": ({"checks": "Sing to it = clear"}, "unknown_check", "No check is called 'Sing to it'"),
    "check_without_outcome": (
        {"checks": "Meter the coil"},
        "bad_check",
        "Write check = outcome / minutes; outcomes: fault",
    ),
    "unknown_outcome": ({"checks": "Meter the coil = fine"}, "bad_check", "The outcome 'fine' is not known"),
    "check_minutes": ({"checks": "Meter the coil = clear / soon"}, "bad_check", "'soon' is not a number of minutes"),
    "unknown_result": ({"result": "sold"}, "unknown_result", "Allowed: fixed, not_fixed, no_fault_found, handed_on"),
    "unknown_confirmation": ({"confirmation": "sure"}, "unknown_confirmation", "'sure' is not known"),
    "no_fault_yet_suspect": (
        {"result": "no_fault_found", "suspect": "Coil open"},
        "contradiction",
        "'Coil open' is written",
    ),
    "no_ticket_number": ({"ticket": " "}, "required_field_missing", "The cell 'ticket' is blank"),
    "no_symptom": ({"symptom": ""}, "required_field_missing", "The cell 'symptom' is blank"),
    "no_opened_on": ({"opened_on": ""}, "required_field_missing", "The cell 'opened_on' is blank"),
    "no_shop": ({"shop": ""}, "required_field_missing", "No shop is given"),
}


def test_bad_cells_send_their_rows_to_quarantine_with_a_sentence(ingest: Ingest, store_path: Path) -> None:
    blank = {header: "" for cells, _, _ in BAD_CELLS.values() for header in cells}
    bad = [{**GOOD, "ticket": kind, **cells} for kind, (cells, _, _) in BAD_CELLS.items()]
    report = ingest(blank | GOOD, *bad)
    assert counts(report) == (1 + len(bad), 1, len(bad), 0)
    waiting = read_quarantine(store_path)
    # Line 1 is the header, line 2 the good row.
    told = dict(zip(BAD_CELLS, waiting[["line", "reason_code"]].itertuples(index=False, name=None), strict=True))
    assert told == {kind: (line, code) for line, (kind, (_, code, _)) in enumerate(BAD_CELLS.items(), start=3)}
    for (_, _, words), reason in zip(BAD_CELLS.values(), waiting["reason"], strict=True):
        assert words in reason
    assert waiting["reason"].iloc[0] in " ".join(report.sentences())


def test_row_with_two_faults_is_told_both(ingest: Ingest, store_path: Path) -> None:
    ingest({**GOOD, "minutes": "-1", "family": "submarine"})
    reason = read_quarantine(store_path)["reason"].iloc[0]
    assert "minutes are not possible" in reason
    assert "No family is called" in reason


def test_doubtful_years_are_read_with_sense(ingest: Ingest, store_path: Path) -> None:
    years = {"?": None, "????": None, "unknown": None, "ca. 1962": 1962, "1963?": 1963, "c1964": 1964, "~1965": 1965}
    report = ingest(*({**GOOD, "ticket": written, "built_year": written} for written in years))
    assert report.quarantined == 0
    assert {row[2]: row[5] for row in stored(store_path)["tickets"]} == years


# Dates with / of a file -> the opening dates that come of it (None: quarantined), words of the note.
SLASHES = {
    "day_first": (["04/03/2024", "31/03/2024"], [date(2024, 3, 4), date(2024, 3, 31)], "day/month/year"),
    "month_first": (
        ["04/03/2024", "3/31/2024"],
        [date(2024, 4, 3), date(2024, 3, 31)],
        "month/day/year, as '3/31/2024'",
    ),
    "in_doubt": (["04/03/2024", "05/03/2024"], [date(2024, 3, 4), date(2024, 3, 5)], "no date in this file shows"),
    "mixed": (["31/03/2024", "3/31/2024"], [date(2024, 3, 31), None], "'3/31/2024' cannot be one"),
}


@pytest.mark.parametrize("kind", SLASHES)
def test_order_of_day_and_month_is_decided_for_the_whole_file(kind: str, ingest: Ingest, store_path: Path) -> None:
    written, expected, words = SLASHES[kind]
    report = ingest(*({**GOOD, "ticket": str(at), "opened_on": text} for at, text in enumerate(written)))
    by_number = {row[2]: row[6] for row in stored(store_path)["tickets"]}
    assert [by_number.get(str(at)) for at in range(len(written))] == expected
    assert words in " ".join(report.sentences())


def test_workbook_with_date_cells_is_read(tmp_path: Path, store_path: Path, tiny_vocabulary: Vocabulary) -> None:
    book = openpyxl.Workbook()
    assert book.active is not None
    book.active.append(["ticket", "opened_on", "symptom", "built_year", "suspect"])
    book.active.append([1, date(2024, 3, 31), "Grab is stuck", 1962, "Plug loose"])
    book.save(tmp_path / "book.xlsx")
    report = ingest_file(
        tmp_path / "book.xlsx",
        store_path=store_path,
        vocabulary=tiny_vocabulary,
        shop="Pier",
        column_map=read_column_map(),
        today=TODAY,
    )
    assert counts(report) == (1, 1, 0, 0)
    row = stored(store_path)["tickets"][0]
    assert row[1:7] == ("Pier", "1", None, None, 1962, date(2024, 3, 31))
    # No result and no confirmation were written: the sentences say what was taken instead.
    assert row[10:12] == ("fixed", "symptom_went_away")
    assert "taken as fixed where a suspect is named" in " ".join(report.sentences())


def test_formula_in_free_text_stays_inert_text(ingest: Ingest, store_path: Path) -> None:
    assert counts(ingest({**GOOD, "complaint": "=cmd|' /C calc'!A0"})) == (1, 1, 0, 0)
    assert read_tickets(store_path)["complaint"].tolist() == ["=cmd|' /C calc'!A0"]


def test_same_file_twice_changes_nothing_and_says_so(ingest: Ingest, store_path: Path) -> None:
    rows = ({**GOOD, "minutes": "-1"}, {**GOOD, "ticket": "2"})
    ingest(*rows)
    before = stored(store_path)
    again = ingest(*rows, name="copy.csv")
    assert stored(store_path) == before
    assert counts(again) == (2, 0, 0, 2)
    assert "nothing was changed" in again.sentences()[1]


def test_same_ticket_again_is_a_duplicate_and_a_changed_one_a_conflict(ingest: Ingest, store_path: Path) -> None:
    first = {**GOOD, "suspect": "Plug loose; Coil open", "checks": "Meter the coil = clear / 5"}
    same = {**first, "opened_on": "31.03.2024", "suspect": "Coil open; plug loose"}
    changed = {**first, "checks": "Meter the coil = clear / 6"}
    # Within one file, and then against the store.
    assert counts(ingest(first, same, changed)) == (3, 1, 1, 1)
    before = stored(store_path)["tickets"], stored(store_path)["ticket_checks"]
    assert counts(ingest(changed, same, {**GOOD, "ticket": "9"}, name="later.csv")) == (3, 1, 1, 1)
    after = stored(store_path)
    assert before[0][0] in after["tickets"]
    assert before[1] == after["ticket_checks"]
    waiting = read_quarantine(store_path)
    assert waiting["reason_code"].tolist() == ["conflict", "conflict"]
    assert "already known and says something else. Nothing was overwritten" in waiting["reason"].iloc[0]


def test_rows_are_conserved_in_a_messy_file(tmp_path: Path, store_path: Path, tiny_vocabulary: Vocabulary) -> None:
    lines = ["ticket,shop,opened_on,symptom,complaint"]
    lines += [f'{n},Pier,2024-03-{n % 31 + 1:02},Grab is stuck,"two\nlines"' for n in range(40)]
    lines += [
        "41,Pier,2024-03-01",
        "42,Pier,2024-03-01,stuck,a,b,c",
        "",
        "43,Pier,2024-13-01,stuck,",
        "1,Pier,?,stuck,",
    ]
    lines += [lines[5], lines[6], "7,Pier,2024-03-08,No lights,other"]
    (tmp_path / "messy.csv").write_text("\n".join(lines) + "\n")
    report = ingest_file(
        tmp_path / "messy.csv",
        store_path=store_path,
        vocabulary=tiny_vocabulary,
        shop="",
        column_map=read_column_map(),
        today=TODAY,
    )
    # 40 good; cells missing, cells too many, two bad dates, one conflict; two rows again.
    assert counts(report) == (47, 40, 5, 2)
    assert report.reasons.set_index("reason_code")["row_count"].to_dict() == {
        "bad_date": 2,
        "cell_count": 2,
        "conflict": 1,
    }
    assert len(stored(store_path)["raw_rows"]) == 47
    assert check_store(store_path, tiny_vocabulary).empty


def test_file_of_broken_rows_only_is_kept_for_correction(
    tmp_path: Path, store_path: Path, tiny_vocabulary: Vocabulary
) -> None:
    (tmp_path / "broken.csv").write_text("ticket,shop,opened_on,symptom\n1,Pier,2024-03-31,stuck,x\n2,Pier\n")
    report = ingest_file(
        tmp_path / "broken.csv",
        store_path=store_path,
        vocabulary=tiny_vocabulary,
        shop="",
        column_map=read_column_map(),
        today=TODAY,
    )
    assert counts(report) == (2, 0, 2, 0)
    release_line(store_path, tiny_vocabulary, 3, {"opened_on": "2024-03-31", "symptom": "stuck"})
    assert read_tickets(store_path)["ticket_number"].tolist() == ["2"]
    assert check_store(store_path, tiny_vocabulary).empty


REFUSED_FILES = {
    "empty": b"",
    "photo": b"\xff\xd8\xff\xe0\x00\x10JFIF\x00" + bytes(range(256)) * 8,
    "invalid_utf8": "ticket,shop,opened_on,symptom\n1,Prëmier,2024-03-31,stuck\n".encode() * 2 + b"\xff\xfe\n",
    "missing_column": b"ticket,opened_on,simptom\n1,2024-03-31,stuck\n",
    "thousand_columns": b"ticket,opened_on,symptom" + b",x" * 1000 + b"\n1,2024-03-31,stuck\n",
}


@pytest.mark.parametrize("kind", REFUSED_FILES)
def test_refused_file_leaves_the_store_as_it_was(
    kind: str, ingest: Ingest, tmp_path: Path, store_path: Path, tiny_vocabulary: Vocabulary
) -> None:
    ingest(GOOD)
    before = stored(store_path)
    (tmp_path / "bad.csv").write_bytes(REFUSED_FILES[kind])
    with pytest.raises(InputError):
        ingest_file(
            tmp_path / "bad.csv",
            store_path=store_path,
            vocabulary=tiny_vocabulary,
            shop="",
            column_map=read_column_map(),
            today=TODAY,
        )
    assert stored(store_path) == before


def test_two_readers_of_the_same_file_store_it_once(ingest: Ingest, store_path: Path) -> None:
    reports: list[IngestReport] = []
    rows = [{**GOOD, "ticket": str(number)} for number in range(300)]
    ingest(*rows[:1], name="other.csv")
    threads = [Thread(target=lambda: reports.append(ingest(*rows, name="shared.csv"))) for _ in range(2)]
    for thread in threads:
        thread.start()
        thread.join(0.05)
    for thread in threads:
        thread.join()
    assert sorted(report.stored for report in reports) == [0, 299]
    assert len(stored(store_path)["tickets"]) == 300


def release_line(store_path: Path, vocabulary: Vocabulary, line: int, corrections: Mapping[str, str]) -> str:
    file_hash = read_quarantine(store_path).set_index("line")["file_hash"].get(line, "none")
    return release(
        str(file_hash),
        line,
        corrections,
        store_path=store_path,
        vocabulary=vocabulary,
        column_map=read_column_map(),
        today=TODAY,
    )


def test_corrected_row_becomes_a_ticket_once(ingest: Ingest, store_path: Path, tiny_vocabulary: Vocabulary) -> None:
    # The file writes the month first; a corrected row is read as its neighbours were.
    ingest(
        {**GOOD, "opened_on": "3/31/2024"},
        {**GOOD, "ticket": "2", "opened_on": "04/03/2024", "symptom": "vanilla"},
    )
    raw = stored(store_path)["raw_rows"]
    key = release_line(store_path, tiny_vocabulary, 3, {"Symptoms": "Cabinet is dark"})
    ticket = read_tickets(store_path).set_index("ticket_id").loc[key]
    assert (ticket["symptom"], ticket["opened_on"]) == ("dark", pd.Timestamp(2024, 4, 3))
    assert stored(store_path)["raw_rows"] == raw
    assert read_quarantine(store_path).empty
    assert check_store(store_path, tiny_vocabulary).empty
    with pytest.raises(InputError, match="Line 3 of this file is not in quarantine"):
        release_line(store_path, tiny_vocabulary, 3, {"symptom": "Cabinet is dark"})


def test_correction_that_is_none_changes_nothing(ingest: Ingest, store_path: Path, tiny_vocabulary: Vocabulary) -> None:
    ingest(GOOD, {**GOOD, "minutes": "-1"}, {**GOOD, "ticket": "3", "symptom": ""})
    before = stored(store_path)
    refusals = {
        (3, "minutes", "-2"): "-2 minutes are not possible",
        (3, "minutes", "5"): "already known and says something else",
        (4, "symptom", "vanilla"): "No symptom is called 'vanilla'",
        (4, "colour", "red"): "'colour' is no column of a ticket",
    }
    for (line, header, text), words in refusals.items():
        with pytest.raises(InputError, match=words):
            release_line(store_path, tiny_vocabulary, line, {header: text})
    assert stored(store_path) == before


def test_correction_to_what_is_known_already_is_a_duplicate(
    ingest: Ingest, store_path: Path, tiny_vocabulary: Vocabulary
) -> None:
    ingest(GOOD, {**GOOD, "opened_on": "31.04.2024"})
    release_line(store_path, tiny_vocabulary, 3, {"opened_on": "31.03.2024"})
    assert len(stored(store_path)["tickets"]) == 1
    assert len(stored(store_path)["duplicates"]) == 1
    assert check_store(store_path, tiny_vocabulary).empty


BENCH = TicketRow(
    shop="Pier",
    ticket_number="B-1",
    opened_on=date(2024, 3, 31),
    symptom="stuck",
    family="crane",
    built_year=1962,
    also_absent=("dark",),
    complaint="Says; so: = / odd things",
    suspects=("coil_open",),
    confirmation="cured",
    result="fixed",
    checks=(CheckResult("meter_coil", "fault_found", 5.5), CheckResult("replace_coil", "cured")),
    minutes=1000 / 3,
)


def test_bench_ticket_is_stored_as_it_was_given(store_path: Path, tiny_vocabulary: Vocabulary) -> None:
    key = save_ticket(BENCH, store_path=store_path, vocabulary=tiny_vocabulary, today=TODAY)
    rows = stored(store_path)
    assert rows["tickets"] == [
        (
            *(key, "Pier", "B-1", None, "crane", 1962, date(2024, 3, 31), None, "stuck", "Says; so: = / odd things"),
            *("fixed", "cured", 1000 / 3, "bench", None, None, 1),
        )
    ]
    assert rows["ticket_symptoms"] == [(key, "dark", False)]
    assert rows["ticket_checks"] == [
        (key, 1, "meter_coil", "fault_found", 5.5),
        (key, 2, "replace_coil", "cured", None),
    ]
    assert save_ticket(BENCH, store_path=store_path, vocabulary=tiny_vocabulary, today=TODAY) == key
    assert stored(store_path) == rows
    assert check_store(store_path, tiny_vocabulary).empty


@pytest.mark.parametrize(
    ("changed", "words"),
    [
        ({"symptom": "vanilla"}, "No symptom is called 'vanilla'"),
        ({"opened_on": date(2027, 1, 1)}, "is after today"),
        ({"ticket_number": ""}, "The cell 'ticket' is blank"),
        ({"minutes": -1.0}, "not possible"),
        ({"complaint": "something new"}, "already known and says something else"),
    ],
)
def test_bench_ticket_passes_the_same_gate(
    changed: dict[str, Any], words: str, store_path: Path, tiny_vocabulary: Vocabulary
) -> None:
    save_ticket(BENCH, store_path=store_path, vocabulary=tiny_vocabulary, today=TODAY)
    before = stored(store_path)
    with pytest.raises(InputError, match=words):
        save_ticket(replace(BENCH, **changed), store_path=store_path, vocabulary=tiny_vocabulary, today=TODAY)
    assert stored(store_path) == before


# A statement that damages a good store -> the rule that must notice.
DAMAGE = {
    "delete from duplicates": "rows_conserved",
    "delete from raw_rows where line = 2": "lines_used_twice",
    "insert into quarantine select file_hash, 2, 'x', 'x', null from raw_files": "lines_used_twice",
    "update tickets set symptom = 'vanilla'": "unknown_codes",
    "update ticket_checks set outcome = 'fine'": "words_not_allowed",
    "update tickets set result = 'sold'": "words_not_allowed",
    "update ticket_checks set position = 5 where position = 2": "contradictory_tickets",
    "update tickets set confirmation = null": "contradictory_tickets",
    "update tickets set closed_on = date '2000-01-01'": "contradictory_tickets",
    "insert into ticket_suspects values ('nobody', 'coil_open')": "loose_parts",
}


@pytest.mark.parametrize("statement", DAMAGE)
def test_damaged_store_is_noticed(
    statement: str, ingest: Ingest, store_path: Path, tiny_vocabulary: Vocabulary
) -> None:
    row = {**GOOD, "suspect": "Coil open", "checks": "Meter the coil = clear; Replace the coil = cured"}
    ingest(row, row)
    assert check_store(store_path, tiny_vocabulary).empty
    with writing(store_path) as con:
        con.execute(statement)
    assert DAMAGE[statement] in set(check_store(store_path, tiny_vocabulary)["rule"])


def test_template_is_read_without_a_complaint(store_path: Path) -> None:
    vocabulary = read_vocabulary(seed_folder() / "vocabulary")
    report = ingest_file(
        seed_folder() / "ticket_template.csv",
        store_path=store_path,
        vocabulary=vocabulary,
        shop="",
        column_map=read_column_map(),
        today=TODAY,
    )
    assert counts(report) == (2, 2, 0, 0)
    with reading(store_path) as con:
        assert data_version(con).startswith("2-")
