"""Open Repair Data: field names and words as published, in and out again, and nothing that should stay at home.

Field names and repair states: Open Repair Data Standard v0.3 of the Open Repair Alliance.
"""

import csv
from dataclasses import replace
from datetime import date
from pathlib import Path

import pandas as pd
import pytest

from analytics.errors import InputError
from analytics.vocabulary import Vocabulary
from pipelines.bench_tickets import TicketRow
from pipelines.column_maps import find_column_map, read_column_map
from pipelines.exports import OPEN_REPAIR_FIELDS, export_open_repair
from pipelines.history import read_tickets
from pipelines.intake import IngestReport, ingest_file, save_ticket

pytestmark = pytest.mark.slow

TODAY = date(2026, 11, 25)
FIRST = TicketRow(
    shop="Pier",
    ticket_number="P-17",
    machine="Captain's Grab no. 4",
    family="crane",
    built_year=1962,
    opened_on=date(2020, 5, 1),
    symptom="stuck",
    complaint='Says "it hums", then stops',
    suspects=("plug_loose",),
    confirmation="cured",
    result="fixed",
)
TICKETS = (
    FIRST,
    replace(FIRST, ticket_number="P-18", built_year=None, suspects=(), confirmation="", result="handed_on"),
    replace(FIRST, ticket_number="P-19", family="", complaint="", suspects=(), confirmation="", result="not_fixed"),
)


@pytest.fixture
def store_path(tmp_path: Path, tiny_vocabulary: Vocabulary) -> Path:
    path = tmp_path / "store.duckdb"
    for ticket in TICKETS:
        save_ticket(ticket, store_path=path, vocabulary=tiny_vocabulary, today=TODAY)
    return path


def export(store_path: Path, vocabulary: Vocabulary, country: str = "GBR") -> list[dict[str, str]]:
    path = store_path.with_name("open.csv")
    export_open_repair(path, store_path=store_path, vocabulary=vocabulary, country=country)
    with path.open(encoding="utf-8", newline="") as stream:
        return list(csv.DictReader(stream))


def take_in(path: Path, store_path: Path, vocabulary: Vocabulary) -> IngestReport:
    return ingest_file(
        path,
        store_path=store_path,
        vocabulary=vocabulary,
        shop="",
        column_map=read_column_map(find_column_map("open_repair")),
        today=TODAY,
    )


def test_the_file_has_the_published_fields_and_words(store_path: Path, tiny_vocabulary: Vocabulary) -> None:
    rows = export(store_path, tiny_vocabulary)
    assert tuple(rows[0]) == OPEN_REPAIR_FIELDS
    assert sorted(row["repair_status"] for row in rows) == ["End of life", "Fixed", "Repairable"]
    fixed = next(row for row in rows if row["repair_status"] == "Fixed")
    told = {name: cell for name, cell in fixed.items() if cell and name != "id"}
    assert told == {
        **{"data_provider": "Pier", "country": "GBR", "product_category": "Grab is stuck", "brand": "Crane grab"},
        **{"year_of_manufacture": "1962", "product_age": "58", "repair_status": "Fixed", "event_date": "2020-05-01"},
        "problem": 'Says "it hums", then stops',
    }


def test_machines_and_ticket_numbers_stay_at_home(store_path: Path, tiny_vocabulary: Vocabulary) -> None:
    export(store_path, tiny_vocabulary)
    text = store_path.with_name("open.csv").read_text(encoding="utf-8")
    assert "Captain" not in text
    assert "P-17" not in text


def test_exported_tickets_come_back_alike(store_path: Path, tmp_path: Path, tiny_vocabulary: Vocabulary) -> None:
    export(store_path, tiny_vocabulary)
    again = tmp_path / "again.duckdb"
    report = take_in(tmp_path / "open.csv", again, tiny_vocabulary)
    assert (report.rows_in, report.stored) == (3, 3)
    kept = ["shop", "opened_on", "family", "built_year", "symptom", "complaint", "result"]
    before, after = (read_tickets(path)[kept].sort_values("result", ignore_index=True) for path in (store_path, again))
    pd.testing.assert_frame_equal(before, after)


def test_words_of_other_repairers_are_understood(tmp_path: Path, tiny_vocabulary: Vocabulary) -> None:
    # A row as published, with an unknown year written in two ways, and a label in `fault_type`.
    path = tmp_path / "published.csv"
    path.write_text(
        "id,data_provider,country,partner_product_category,product_category,brand,year_of_manufacture,product_age,"
        "repair_status,repair_barrier_if_end_of_life,group_identifier,event_date,problem,fault_type\n"
        "x1,Friends,GBR,Toys,Grab is stuck,Crane grab,????,,Fixed,,7,2019-02-03,stuck,Plug loose\n"
        "x2,Friends,GBR,Toys,Grab is stuck,Unknown,,,Unknown,,7,2019-02-03,stuck,\n"
        "x3,Friends,GBR,Toys,Grab is stuck,Crane grab,1950,,Binned,,7,2019-02-03,stuck,\n",
        encoding="utf-8",
    )
    report = take_in(path, tmp_path / "store.duckdb", tiny_vocabulary)
    assert report.reasons["reason_code"].tolist() == ["unknown_result"]
    tickets = read_tickets(tmp_path / "store.duckdb").set_index("ticket_number")
    assert tickets.loc["x1", ["family", "suspects", "result"]].to_list() == ["crane", "plug_loose", "fixed"]
    assert tickets.loc["x2", ["family", "suspects", "result"]].to_list() == ["", "", "not_fixed"]


def test_a_spreadsheet_runs_no_cell(tmp_path: Path, tiny_vocabulary: Vocabulary) -> None:
    # Marks that begin a formula: OWASP, "CSV Injection".
    path = tmp_path / "store.duckdb"
    for number, mark in enumerate("=+-@"):
        ticket = replace(FIRST, ticket_number=str(number), complaint=f"{mark}cmd|'/C calc'!A0")
        save_ticket(ticket, store_path=path, vocabulary=tiny_vocabulary, today=TODAY)
    assert all(row["problem"].startswith("'") for row in export(path, tiny_vocabulary))


def test_what_cannot_be_exported_is_said(store_path: Path, tmp_path: Path, tiny_vocabulary: Vocabulary) -> None:
    with pytest.raises(InputError, match=r"'Britain' is no country code\. Give three letters, like GBR"):
        export(store_path, tiny_vocabulary, country="Britain")
    with pytest.raises(InputError, match="no tickets to export yet"):
        export(tmp_path / "empty.duckdb", tiny_vocabulary)
    with pytest.raises(
        InputError, match=r"no column map 'open_repairs'\. Give the path of a CSV file, or one of: open_rep"
    ):
        find_column_map("open_repairs")
