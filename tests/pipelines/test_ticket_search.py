"""Tickets are found by words and facts, and what is found can be taken along and read again."""

from datetime import date
from pathlib import Path

import pandas as pd
import pytest

from analytics.case import CheckResult
from analytics.vocabulary import Vocabulary
from pipelines.bench_tickets import TicketRow
from pipelines.column_maps import read_column_map
from pipelines.import_preview import guess_map, laid_down, look_at_rows, map_of_file, remember_map
from pipelines.intake import IngestReport, ingest_file, save_ticket
from pipelines.readers import read_raw
from pipelines.settings import Settings, seed_folder
from pipelines.store import data_version, reading
from pipelines.ticket_search import Wanted, search_tickets, tickets_as_csv

TODAY = date(2026, 11, 25)
TICKETS = (
    TicketRow(
        shop="Pier",
        ticket_number="P-1",
        opened_on=date(2024, 3, 1),
        symptom="stuck",
        family="crane",
        built_year=1962,
        machine="Grab 3",
        also_present=("dark",),
        complaint='Hums, then "nothing"\nat all',
        suspects=("plug_loose", "coil_open"),
        confirmation="cured",
        checks=(CheckResult("meter_coil", "fault_found", 5.5), CheckResult("replace_coil", "cured")),
        minutes=1000 / 3,
    ),
    TicketRow(shop="Pier", ticket_number="P-2", opened_on=date(2024, 3, 2), symptom="dark", complaint="No HUM"),
    TicketRow(shop="Harbour", ticket_number="1", opened_on=date(2024, 3, 3), symptom="stuck", also_absent=("dark",)),
)


@pytest.fixture
def store_path(tmp_path: Path, tiny_vocabulary: Vocabulary) -> Path:
    path = tmp_path / "store.duckdb"
    for ticket in TICKETS:
        save_ticket(ticket, store_path=path, vocabulary=tiny_vocabulary, today=TODAY)
    return path


# What is looked for -> numbers found, newest first.
SEARCHES: list[tuple[Wanted, list[str]]] = [
    (Wanted(), ["1", "P-2", "P-1"]),
    (Wanted(text="hum"), ["P-2", "P-1"]),
    (Wanted(text="  NOTHING   hums "), ["P-1"]),
    (Wanted(text="grab p-1"), ["P-1"]),
    (Wanted(text="hum absent"), []),
    (Wanted(text="%"), []),
    (Wanted(shop="Pier"), ["P-2", "P-1"]),
    (Wanted(symptom="dark"), ["P-2", "P-1"]),
    (Wanted(suspect="coil_open"), ["P-1"]),
    (Wanted(since=date(2024, 3, 2), until=date(2024, 3, 2)), ["P-2"]),
    (Wanted(text="hum", shop="Pier", symptom="stuck", suspect="plug_loose"), ["P-1"]),
]


@pytest.mark.parametrize(("wanted", "numbers"), SEARCHES, ids=lambda value: str(value)[:60])
def test_every_filter_finds_what_it_says(wanted: Wanted, numbers: list[str], store_path: Path) -> None:
    page = search_tickets(store_path, wanted)
    assert page.rows["ticket"].tolist() == numbers
    assert page.total == len(numbers)


def test_a_long_list_shows_its_newest_and_counts_all(
    store_path: Path, tmp_path: Path, tiny_vocabulary: Vocabulary
) -> None:
    lines = [f"{n},Quay,{date(2000, 1, 1) + pd.Timedelta(days=n)},stuck" for n in range(300)]
    (tmp_path / "many.csv").write_text("\n".join(["ticket,shop,opened_on,symptom", *lines]))
    ingest(tmp_path / "many.csv", store_path, tiny_vocabulary)
    page = search_tickets(store_path, Wanted(shop="Quay"))
    assert (len(page.rows), page.total, page.rows["ticket"].iloc[0]) == (200, 300, "299")


def ingest(path: Path, store_path: Path, vocabulary: Vocabulary) -> IngestReport:
    return ingest_file(
        path, store_path=store_path, vocabulary=vocabulary, shop="", column_map=read_column_map(), today=TODAY
    )


def test_a_download_read_again_adds_nothing_and_fills_an_empty_store_with_the_same(
    store_path: Path, tmp_path: Path, tiny_vocabulary: Vocabulary
) -> None:
    (tmp_path / "found.csv").write_bytes(tickets_as_csv(store_path, Wanted()))
    again = ingest(tmp_path / "found.csv", store_path, tiny_vocabulary)
    assert (again.stored, again.quarantined, again.duplicates) == (0, 0, 3)
    ingest(tmp_path / "found.csv", tmp_path / "other.duckdb", tiny_vocabulary)
    with reading(store_path) as ours, reading(tmp_path / "other.duckdb") as theirs:
        assert data_version(ours) == data_version(theirs)


def test_a_download_runs_no_formula(tmp_path: Path, tiny_vocabulary: Vocabulary) -> None:
    ticket = TicketRow(shop="Pier", ticket_number="1", opened_on=TODAY, symptom="stuck", complaint="=1+1")
    save_ticket(ticket, store_path=tmp_path / "store.duckdb", vocabulary=tiny_vocabulary, today=TODAY)
    assert b",'=1+1," in tickets_as_csv(tmp_path / "store.duckdb", Wanted())


def test_columns_are_guessed_from_shipped_and_earlier_maps(tmp_path: Path) -> None:
    settings = Settings(tmp_path)
    open_repair = guess_map(settings, ["id", "data_provider", "event_date", "problem", "product_category"])
    assert (open_repair.headers["ticket"], open_repair.headers["complaint"]) == (("id",), ("problem",))
    own = read_column_map(seed_folder() / "demo" / "cockle_row_columns.csv")
    headers = [spelling for spellings in own.headers.values() for spelling in spellings[:1]]
    assert guess_map(settings, headers).headers["shop"] == ()
    remember_map(settings, "abc", own)
    assert guess_map(settings, headers).headers["shop"] == ("Where",)
    assert map_of_file(settings, "abc", []) == own


def test_the_look_before_reading_says_what_the_intake_says(
    tmp_path: Path, store_path: Path, tiny_vocabulary: Vocabulary
) -> None:
    lines = ["ticket,opened_on,symptom", "1,3/31/2024,stuck", "2,04/03/2024,Grab is stuk", "3,04/03/2024,vanilla", "4"]
    with laid_down("../../elsewhere/list.csv", "\n".join(lines).encode()) as path:
        raw = read_raw(path)
        report = ingest(path, store_path, tiny_vocabulary)
    column_map = guess_map(Settings(tmp_path), list(raw.frame.columns))
    look = look_at_rows(raw, column_map, shop="Pier", vocabulary=tiny_vocabulary, today=TODAY)
    assert raw.name == "list.csv"
    # No shop was given to the intake; with one, rows 1 and 2 are tickets.
    assert report.quarantined == 4
    assert (look.row_count, look.good_count) == (4, 2)
    assert look.problems["reason_code"].tolist() == ["unknown_symptom", "cell_count"]
    assert "month/day/year" in look.notes[0]
    assert look.matches.set_index("written")["code"].to_dict() == {"stuck": "stuck", "Grab is stuk": "stuck"}
