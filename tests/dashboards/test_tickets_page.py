"""The Tickets page on small real stores, run without a browser."""

from collections.abc import Mapping
from datetime import date
from pathlib import Path

import pandas as pd
import pytest
from streamlit.testing.v1 import AppTest

from analytics.vocabulary import Vocabulary
from pipelines.bench_tickets import TicketRow
from pipelines.catalogue import write_vocabulary
from pipelines.history import read_quarantine, read_tickets
from pipelines.intake import save_ticket
from pipelines.settings import DATA_VARIABLE, Settings
from pipelines.store import writing
from pipelines.store_checks import check_store

pytestmark = pytest.mark.slow

PAGE = Path(__file__).resolve().parents[2] / "dashboards" / "sheets" / "tickets.py"
# Headers of nobody's template; the month first, as 3/31/2024 shows; line 3 has no such symptom, line 4 no such date.
OWN_FILE = """Ref,Arrived,Trouble,Fault,Bench
1,3/31/2024,Grab is stuk,plug not seated,left
2,04/03/2024,vanilla,coil open,left
3,2/30/2024,Cabinet is dark,,right
"""
OWN_COLUMNS = {"ticket": "Ref", "opened_on": "Arrived", "symptom": "Trouble", "suspect": "Fault"}


@pytest.fixture
def shop(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, tiny_vocabulary: Vocabulary) -> Settings:
    """A data folder with the tiny vocabulary and no store."""
    write_vocabulary(tiny_vocabulary, tmp_path / "vocabulary")
    monkeypatch.setenv(DATA_VARIABLE, str(tmp_path))
    return Settings(tmp_path)


@pytest.fixture
def quay(shop: Settings, tiny_vocabulary: Vocabulary) -> Settings:
    """The same with a store that has one ticket: AppTest chooses a workshop from a list, it cannot type a new one."""
    ticket = TicketRow(shop="Quay", ticket_number="0", opened_on=date(2020, 5, 1), symptom="dark")
    save_ticket(ticket, store_path=shop.store_path, vocabulary=tiny_vocabulary, today=date(2026, 11, 25))
    return shop


def open_page(part: str) -> AppTest:
    page = AppTest.from_file(str(PAGE), default_timeout=30)
    page.session_state["tickets_part"] = part
    return run(page)


def run(page: AppTest) -> AppTest:
    page.run()
    assert not page.exception
    return page


def press(page: AppTest, key: str) -> AppTest:
    page.button(key=key).click()
    return run(page)


def said(page: AppTest) -> str:
    """Everything the page says in sentences."""
    kinds = (page.success, page.info, page.warning, page.error, page.markdown, page.caption)
    return "\n".join(text.value for kind in kinds for text in kind).replace("\\", "")


def upload(text: str | bytes = OWN_FILE, name: str = "list.csv") -> AppTest:
    page = open_page("bring")
    data = text.encode() if isinstance(text, str) else text
    page.file_uploader(key="upload_file").set_value((name, data, "text/csv"))
    return run(page)


def choose_columns(page: AppTest, columns: Mapping[str, str] = OWN_COLUMNS) -> AppTest:
    for field, header in columns.items():
        box = next(box for box in page.selectbox if box.key.startswith(f"upload_{field}_"))
        box.set_value(header)
    return run(page)


def bring_own_file() -> AppTest:
    page = choose_columns(upload())
    page.selectbox(key="upload_shop").set_value("Quay")
    return press(run(page), "upload_store")


@pytest.mark.parametrize("part", ["find", "entry", "bring", "correct"])
def test_without_a_store_the_page_says_how_to_begin_and_makes_none(part: str, shop: Settings) -> None:
    page = open_page(part)
    assert part in ("entry", "bring") or "no tickets yet" in page.info[0].value
    assert not shop.store_path.exists()


def test_an_empty_store_says_how_to_begin_and_leads_there(shop: Settings) -> None:
    with writing(shop.store_path):
        pass
    page = press(open_page("find"), "tickets_bring")
    assert page.file_uploader(key="upload_file").label.startswith("File with one repair a row")
    assert "Nothing waits" in open_page("correct").info[0].value


def test_a_broken_vocabulary_gives_its_sentence(shop: Settings) -> None:
    (shop.data_folder / "vocabulary" / "symptoms.csv").write_text("nonsense\n")
    page = open_page("entry")
    assert "symptoms.csv" in page.error[0].value


def fill_in(page: AppTest, **changed: object) -> AppTest:
    key = f"_{page.session_state['entry_round']}" if "entry_round" in page.session_state else "_0"
    page.text_input(key=f"entry_ticket{key}").set_value("7")
    page.selectbox(key=f"entry_shop{key}").set_value("Quay")
    page.selectbox(key=f"entry_symptom{key}").set_value("stuck")
    page.multiselect(key=f"entry_also{key}").set_value(["dark"])
    page.multiselect(key=f"entry_suspect{key}").set_value(["coil_open"])
    page.selectbox(key=f"entry_confirmation{key}").set_value("cured")
    page.number_input(key=f"entry_built_year{key}").set_value(1962)
    page.number_input(key=f"entry_minutes{key}").set_value(changed.get("minutes", 45))
    page.text_area(key=f"entry_complaint{key}").set_value(str(changed.get("complaint", "It hums")))
    rows = {0: {"check": "meter_coil", "outcome": "fault_found", "minutes": 5}, 1: {"check": "replace_coil"}}
    rows[1] |= {"outcome": "cured"} if "outcome" not in changed else {}
    page.session_state[f"entry_checks{key}"] = {"edited_rows": rows, "added_rows": [], "deleted_rows": []}
    return press(page, "entry_save")


def test_a_ticket_written_by_hand_is_stored_once_and_never_overwritten(
    quay: Settings, tiny_vocabulary: Vocabulary
) -> None:
    page = fill_in(open_page("entry"))
    assert "Ticket 7 of Quay is stored" in page.success[0].value
    assert page.text_input(key="entry_ticket_1").value == ""
    assert page.selectbox(key="entry_shop_1").value == "Quay"
    ticket = read_tickets(quay.store_path).iloc[0]
    facts = ("ticket_number", "shop", "symptom", "suspects", "confirmation", "result", "built_year", "minutes")
    assert [ticket[name] for name in facts] == ["7", "Quay", "stuck", "coil_open", "cured", "fixed", 1962, 45.0]
    with writing(quay.store_path) as con:
        checks = con.execute("select check_code, outcome, minutes from ticket_checks order by position").fetchall()
    assert checks == [("meter_coil", "fault_found", 5.0), ("replace_coil", "cured", None)]
    assert "stored before and says exactly the same" in fill_in(page).success[0].value
    refused = fill_in(page, complaint="Something new")
    assert "already known and says something else" in refused.error[0].value
    assert refused.text_area(key="entry_complaint_2").value == "Something new"
    assert len(read_tickets(quay.store_path)) == 2
    assert check_store(quay.store_path, tiny_vocabulary).empty


@pytest.mark.usefixtures("quay")
def test_what_a_ticket_written_by_hand_still_needs_is_said() -> None:
    assert "choose what the machine did wrong" in press(open_page("entry"), "entry_save").error[0].value
    assert "A check has no outcome" in fill_in(open_page("entry"), outcome=None).error[0].value
    assert "not possible" in fill_in(open_page("entry"), minutes=20_000).error[0].value


def test_a_file_with_columns_of_its_own_is_read_in_once(quay: Settings, tiny_vocabulary: Vocabulary) -> None:
    page = bring_own_file()
    assert "Of 3 rows, 1 can become tickets and 2 would wait" in said(page)
    assert "No symptom is called 'vanilla'" in said(page)
    assert page.success[0].value.replace("\\", "") == (
        "list.csv: rows in 3; stored as tickets 1, in quarantine 2, already known 0."
    )
    matches = next(table.value for table in page.dataframe if "Likeness" in table.value)
    assert matches["Taken for"].tolist() == ["Grab is stuck"]
    before = read_tickets(quay.store_path)
    again = press(page, "upload_store")
    assert "nothing was changed" in said(again)
    pd.testing.assert_frame_equal(read_tickets(quay.store_path), before)
    assert check_store(quay.store_path, tiny_vocabulary).empty
    # The next list with these headers needs no naming of columns.
    page = upload(OWN_FILE.replace("stuk", "stuck"), "next.csv")
    boxes = {box.key.split("_")[1]: box.value for box in page.selectbox if box.key.startswith("upload_symptom")}
    assert boxes == {"symptom": "Trouble"}


@pytest.mark.usefixtures("shop")
def test_a_needed_column_must_be_named_before_anything_is_read_in() -> None:
    page = choose_columns(upload(), {"symptom": ""})
    assert "symptom" in page.error[0].value
    assert not [button for button in page.button if button.key == "upload_store"]


REFUSED = {
    "empty": (b"", "is empty"),
    "photo": (b"\xff\xd8\xff\xe0\x00\x10JFIF\x00" + bytes(range(256)) * 8, "list.csv"),
    "thousand_columns": (b"ticket,opened_on,symptom" + b",x" * 1000 + b"\n1,2024-03-31,stuck\n", "limit is 200"),
    "old_office": (b"\xd0\xcf\x11\xe0" + b"x" * 600, "old office file"),
}


@pytest.mark.parametrize("kind", REFUSED)
def test_a_file_that_is_no_table_is_refused_in_words(kind: str, shop: Settings) -> None:
    data, words = REFUSED[kind]
    assert words in upload(data).error[0].value.replace("\\", "")
    assert not shop.store_path.exists()


def write_cell(page: AppTest, field: str, text: str) -> AppTest:
    box = next(box for box in page.text_input if box.key.startswith(f"waiting_{field}_"))
    box.set_value(text)
    return press(page, "waiting_release")


def test_a_corrected_row_is_released_and_found(quay: Settings, tiny_vocabulary: Vocabulary) -> None:
    page = press(bring_own_file(), "upload_go_correct")
    assert "2 rows could not become tickets" in said(page)
    assert "No symptom is called 'vanilla'" in page.warning[0].value
    assert "Bench: left" in said(page)
    assert "Still waiting: No symptom is called 'peach'" in write_cell(page, "symptom", "peach").error[0].value
    page = write_cell(page, "symptom", "Grab is stuck")
    assert "Line 3 of list.csv is now ticket 2 of Quay." in said(page)
    # As the neighbours of the row were read: the month first.
    assert read_tickets(quay.store_path)["opened_on"].max() == pd.Timestamp(2024, 4, 3)
    # The last row, made to say what ticket 1 says.
    for field, text in (("ticket", "1"), ("opened_on", "3/31/2024"), ("suspect", "plug loose")):
        page = write_cell(page, field, text)
    page = write_cell(page, "symptom", "stuck")
    assert "now says exactly what ticket 1 of Quay says already" in said(page)
    assert read_quarantine(quay.store_path).empty
    assert "Nothing waits" in said(page)
    assert check_store(quay.store_path, tiny_vocabulary).empty


@pytest.mark.usefixtures("quay")
def test_search_narrows_by_words_and_facts_and_speaks_in_names() -> None:
    fill_in(open_page("entry"), complaint="Buzzes all day")
    bring_own_file()
    page = open_page("find")
    assert "3 tickets found." in said(page)
    page.text_input(key="lookup_text").set_value("BUZZES")
    table = run(page).dataframe[0].value
    assert table["symptom"].tolist() == ["Grab is stuck; Cabinet is dark"]
    assert table["suspect"].tolist() == ["Coil open"]
    page.selectbox(key="lookup_suspect").set_value("plug_loose")
    assert "No ticket matches" in run(page).info[0].value


@pytest.mark.usefixtures("shop")
def test_the_name_of_a_file_stays_plain_text() -> None:
    page = upload("ticket,shop,opened_on,symptom\n1,Pier,2024-03-31,stuck\n", "![x](x.png).csv")
    report = press(page, "upload_store").success[0].value
    assert report.startswith(r"\!\[x\]\(x.png\)")
