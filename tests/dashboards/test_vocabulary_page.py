"""The Vocabulary page on small real stores, run without a browser."""

from datetime import UTC, date, datetime
from pathlib import Path

import pytest
from streamlit.testing.v1 import AppTest

from analytics.vocabulary import Vocabulary
from pipelines.bench_tickets import TicketRow
from pipelines.catalogue import read_vocabulary, write_vocabulary
from pipelines.intake import save_ticket
from pipelines.prior_sources import RULES_NAME
from pipelines.settings import DATA_VARIABLE, Settings
from pipelines.vocabulary_copies import list_stamps
from pipelines.vocabulary_edits import save_edit
from pipelines.vocabulary_frames import ALL_COLUMNS, hash_folder, open_vocabulary

pytestmark = pytest.mark.slow

PAGE = Path(__file__).resolve().parents[2] / "dashboards" / "sheets" / "vocabulary.py"


@pytest.fixture
def shop(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, tiny_vocabulary: Vocabulary) -> Settings:
    """A data folder with the tiny vocabulary and no store."""
    write_vocabulary(tiny_vocabulary, tmp_path / "vocabulary")
    monkeypatch.setenv(DATA_VARIABLE, str(tmp_path))
    return Settings(tmp_path)


@pytest.fixture
def quay(shop: Settings, tiny_vocabulary: Vocabulary) -> Settings:
    """The same with one ticket of a player piano that was dark."""
    ticket = TicketRow(shop="Quay", ticket_number="0", opened_on=date(2020, 5, 1), symptom="dark", family="piano")
    save_ticket(ticket, store_path=shop.store_path, vocabulary=tiny_vocabulary, today=date(2026, 11, 25))
    return shop


def open_page(part: str = "link") -> AppTest:
    page = AppTest.from_file(str(PAGE), default_timeout=60)
    page.session_state["vocabulary_part"] = part
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
    return "\n".join(text.value for kind in kinds for text in kind).replace("\\", "").replace("**", "")


def keys_of(page: AppTest) -> set[str]:
    return {button.key for button in page.button}


def note_link(page: AppTest, symptom: str, suspect: str, strength: str) -> AppTest:
    page.selectbox(key="vocabulary_symptom").set_value(symptom)
    run(page)
    page.selectbox(key=f"vocabulary_suspect_{symptom}").set_value(suspect)
    run(page)
    page.button_group(key=f"vocabulary_strength_{symptom}_{suspect}").set_value(strength)
    return press(run(page), "vocabulary_note_link")


def edit_table(page: AppTest, file: str, **edits: object) -> AppTest:
    """What a person does in the cells of a list; AppTest has no hands for an editor."""
    page.selectbox(key="vocabulary_table").set_value(file)
    run(page)
    key = f"vocabulary_editor_{file}_{page.session_state['vocabulary_round']}"
    page.session_state[key] = {"edited_rows": {}, "added_rows": [], "deleted_rows": [], **edits}
    return run(page)


def test_a_link_is_changed_looked_at_saved_and_taken_back(shop: Settings) -> None:
    before = hash_folder(shop.vocabulary_folder)
    page = note_link(open_page(), "stuck", "coil_open", "often")
    assert "Noted, not saved: 1 row changed." in said(page)
    page = press(page, "vocabulary_look")
    assert "What points to what: 'Grab is stuck → Coil open', strength from rarely to often." in said(page)
    assert "Coil open for 'Grab is stuck': from about 1 in 20 to about 3 in 10" in said(page)
    assert hash_folder(shop.vocabulary_folder) == before
    page = press(page, "vocabulary_save")
    assert read_vocabulary(shop.vocabulary_folder).links["stuck", "coil_open"] == "often"
    assert "Saved. The version before it is kept" in said(page)
    page = press(page, "vocabulary_undo")
    assert "Nothing is noted yet." in said(page)
    assert hash_folder(shop.vocabulary_folder) == before
    assert len(list_stamps(shop.data_folder)) == 2


def test_every_list_can_be_opened_and_what_is_typed_stays_noted_from_list_to_list(shop: Settings) -> None:
    page = open_page("tables")
    for file in ALL_COLUMNS:
        assert len(edit_table(page, file).dataframe) == 1
    page = edit_table(page, "suspects.csv", edited_rows={0: {"name": "Plug off"}})
    page = edit_table(page, "checks.csv", edited_rows={1: {"minutes": "7"}})
    page = edit_table(page, "suspects.csv")
    page = edit_table(page, "suspects.csv", edited_rows={1: {"name": "Switch sooty"}})
    assert "Noted, not saved: 3 rows changed." in said(page)
    page = press(press(page, "vocabulary_look"), "vocabulary_save")
    saved = read_vocabulary(shop.vocabulary_folder)
    assert [saved.suspects[code].name for code in ("plug_loose", "switch_dirty")] == ["Plug off", "Switch sooty"]
    assert saved.checks["meter_coil"].minutes == 7.0


def test_what_cannot_be_saved_is_refused_by_table_and_row(quay: Settings) -> None:
    before = hash_folder(quay.vocabulary_folder)
    page = edit_table(open_page("tables"), "families.csv", deleted_rows=[1])
    page = edit_table(page, "checks.csv", edited_rows={0: {"minutes": "a few"}})
    page = press(page, "vocabulary_look")
    assert "Checks, row 1 (Look at the plug): minutes is 'a few'. Allowed: a number of minutes" in said(page)
    assert "'Player piano' (piano) cannot be taken out, because 1 stored ticket uses it." in said(page)
    assert "vocabulary_save" not in keys_of(page)
    page = press(page, "vocabulary_drop_sure")
    assert "Nothing is noted yet." in said(page)
    assert hash_folder(quay.vocabulary_folder) == before


def say_rule(page: AppTest, **numbers: float) -> AppTest:
    page.selectbox(key="vocabulary_rule_symptom").set_value("stuck")
    run(page)
    page.selectbox(key="vocabulary_rule_suspect_stuck").set_value("coil_open")
    run(page)
    for name, value in numbers.items():
        page.number_input(key=f"vocabulary_rule_{name}").set_value(value)
    return press(page, "vocabulary_note_rule")


def test_a_rule_of_thumb_is_said_saved_and_taken_out(shop: Settings) -> None:
    page = say_rule(open_page("rules"), about_in_ten=8.0, low_in_ten=5.0, high_in_ten=9.5, worth_tickets=50.0)
    assert "The nearest possible: worth about 9.8 tickets" in said(page)
    assert "Nothing is noted yet." in said(page)
    page = say_rule(page, about_in_ten=8.0, low_in_ten=5.0, high_in_ten=9.5, worth_tickets=10.0)
    assert "Coil open for 'Grab is stuck': about 8 in 10, surely between 5 and 9.5, worth 10 tickets" in said(page)
    page = press(page, "vocabulary_look")
    assert "Coil open for 'Grab is stuck': from about 1 in 20 to about 6 in 10" in said(page)
    page = press(page, "vocabulary_save")
    assert (shop.vocabulary_folder / RULES_NAME).exists()
    page = press(press(press(page, "vocabulary_remove_rule_0"), "vocabulary_look"), "vocabulary_save")
    assert not (shop.vocabulary_folder / RULES_NAME).exists()


def test_a_second_editor_does_not_save_over_the_first(shop: Settings) -> None:
    mine, other = (note_link(open_page(), "dark", "plug_loose", how) for how in ("often", "rarely"))
    press(press(mine, "vocabulary_look"), "vocabulary_save")
    other = press(press(other, "vocabulary_look"), "vocabulary_save")
    assert "Somebody else saved the vocabulary since you opened it" in other.error[0].value
    assert read_vocabulary(shop.vocabulary_folder).links["dark", "plug_loose"] == "often"


def test_broken_lists_are_named_and_the_newest_version_that_holds_is_offered(shop: Settings) -> None:
    folder = shop.data_folder / "vocabulary"
    good = (folder / "symptoms.csv").read_text()
    (folder / "symptoms.csv").write_text("nonsense\n")
    page = open_page()
    assert "symptoms.csv" in page.error[0].value
    assert "There is no earlier version that holds" in said(page)
    (folder / "symptoms.csv").write_text(good)
    opened = open_vocabulary(folder)
    edited = {**opened.frames, "families.csv": opened.frames["families.csv"].assign(note="x")}
    save_edit(shop, edited, opened_hash=opened.folder_hash, now=datetime(2026, 11, 25, tzinfo=UTC))
    (folder / "symptoms.csv").write_text("nonsense\n")
    page = press(open_page(), "vocabulary_bring_back_good")
    assert hash_folder(folder) == opened.folder_hash
    assert "is the vocabulary again" in said(page)


def test_lists_that_only_contradict_themselves_can_be_mended_on_the_page(shop: Settings) -> None:
    path = shop.data_folder / "vocabulary" / "links.csv"
    path.write_text(path.read_text().replace("stuck,coil_open,rarely", "stuck,coil_open,perhaps"))
    page = open_page()
    assert "'perhaps' is no strength" in page.error[0].value
    page = note_link(page, "stuck", "coil_open", "sometimes")
    press(press(page, "vocabulary_look"), "vocabulary_save")
    assert read_vocabulary(shop.vocabulary_folder).links["stuck", "coil_open"] == "sometimes"


def test_an_earlier_version_is_brought_back_from_the_list(shop: Settings) -> None:
    assert "there is no earlier version" in said(open_page("copies"))
    page = note_link(open_page(), "stuck", "fuse_blown", "rarely")
    page = press(press(page, "vocabulary_look"), "vocabulary_save")
    page.session_state["vocabulary_part"] = "copies"
    page = run(page)
    assert "1 row removed against now" in page.selectbox(key="vocabulary_copy").options[0]
    press(page, "vocabulary_bring_back")
    assert ("stuck", "fuse_blown") not in read_vocabulary(shop.vocabulary_folder).links


@pytest.mark.usefixtures("shop")
def test_tickets_become_a_draft_to_download() -> None:
    page = open_page("draft")
    rows = "ticket,opened_on,symptom,suspect,confirmation\n1,2020-01-02,no light,lamp blown,cured\n"
    page.file_uploader(key="vocabulary_draft_file").set_value(("own.csv", rows.encode(), "text/csv"))
    assert "1 complaint, 1 suspect" in said(run(page))
    page.file_uploader(key="vocabulary_draft_file").set_value(("own.csv", b"", "text/csv"))
    assert "is empty" in run(page).error[0].value
