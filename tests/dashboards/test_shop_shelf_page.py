"""The Shop page's parts about spare parts and donors, run without a browser."""

from dataclasses import replace
from datetime import date, timedelta
from pathlib import Path

import pytest
from streamlit.testing.v1 import AppTest

from analytics.vocabulary import Vocabulary
from dashboards.shop_donor import CHANCE, COMPONENT, UNITS, good_frame, read_good
from pipelines.bench_tickets import TicketRow
from pipelines.catalogue import write_vocabulary
from pipelines.intake import save_ticket
from pipelines.settings import DATA_VARIABLE, Settings
from pipelines.shelf_files import PART_COLUMNS, parts_path
from pipelines.store import writing

pytestmark = pytest.mark.slow

PAGE = Path(__file__).resolve().parents[2] / "dashboards" / "sheets" / "shop.py"
HEADER = ",".join(PART_COLUMNS)


@pytest.fixture
def vocabulary(tiny_vocabulary: Vocabulary) -> Vocabulary:
    coil = replace(tiny_vocabulary.checks["replace_coil"], part="coil")
    return replace(tiny_vocabulary, checks={**tiny_vocabulary.checks, "replace_coil": coil})


@pytest.fixture
def shop(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, vocabulary: Vocabulary) -> Settings:
    """A shop whose coils were used on ten tickets; there is no fit."""
    write_vocabulary(vocabulary, tmp_path / "vocabulary")
    monkeypatch.setenv(DATA_VARIABLE, str(tmp_path))
    settings = Settings(tmp_path)
    for at in range(10):
        ticket = TicketRow(
            shop="Pier",
            ticket_number=str(at),
            opened_on=date(2024, 5, 1) + timedelta(40 * at),
            symptom="stuck",
            family="crane",
            suspects=("coil_open",),
            confirmation="cured",
            result="fixed",
        )
        save_ticket(ticket, store_path=settings.store_path, vocabulary=vocabulary, today=date(2026, 11, 25))
    return settings


def open_part(part: str) -> AppTest:
    page = AppTest.from_file(str(PAGE), default_timeout=60)
    page.session_state["shop_part"] = part
    page.run()
    assert not page.exception
    return page


def told(page: AppTest) -> str:
    parts = [*page.markdown, *page.caption, *page.info, *page.success, *page.error, *page.subheader]
    return "\n".join(part.value for part in parts).replace("\\", "")


def test_without_a_list_the_shelf_says_what_is_used_and_what_is_missing(shop: Settings) -> None:
    text = told(open_part("shelf"))
    assert "'coil' is used most" in text
    assert "10 tickets" in text
    assert "No part can be planned yet" in text
    assert "1 part of 1" in text
    assert not parts_path(shop).exists()


def test_with_a_list_the_shelf_says_what_to_order_and_a_surer_shelf_orders_more(shop: Settings) -> None:
    parts_path(shop).write_text(f"{HEADER}\ncoil,0,0,12.50,180,\n", encoding="utf-8")
    page = open_part("shelf")
    ordered = orders_of(page)
    page.select_slider(key="shop_shelf_service").set_value(0.99).run()
    assert not page.exception
    assert 0 < ordered < orders_of(page)


def orders_of(page: AppTest) -> int:
    """Units that the page says to order."""
    tables = [table.value for table in page.dataframe if list(table.value.columns[:3]) == ["part", "to order", "cost"]]
    return int(tables[0]["to order"].sum())


def test_a_broken_list_is_refused_by_line_and_named(shop: Settings) -> None:
    parts_path(shop).write_text(f"{HEADER}\ncoil,many,,,,\n", encoding="utf-8")
    text = told(open_part("shelf"))
    assert "parts.csv, line 2: on_shelf is 'many'" in text
    assert "Correct the file parts.csv" in text
    assert "'coil' is used most" in text


@pytest.mark.usefixtures("shop")
def test_a_donor_needs_prices_and_an_offer_needs_an_assembly() -> None:
    page = open_part("donor")
    assert "cannot be said before prices of parts are known" in told(page)
    page.button(key="shop_donor_weigh").click().run()
    assert "No assembly of the donor was named as good" in told(page)


def test_a_donor_of_each_kind_is_valued_by_the_list(shop: Settings) -> None:
    parts_path(shop).write_text(f"{HEADER}\ncoil,0,0,12.50,180,\n", encoding="utf-8")
    assert "A donor of the kind 'Crane grab' spares most" in told(open_part("donor"))


def test_assemblies_without_a_chance_are_left_out(vocabulary: Vocabulary) -> None:
    frame = good_frame(vocabulary)
    assert frame[COMPONENT].tolist() == ["coil"]
    assert read_good(frame) == {}
    frame.loc[0, [CHANCE, UNITS]] = [9.0, 2]
    assert read_good(frame)["coil"].chance == pytest.approx(0.9)
    assert read_good(frame)["coil"].units == 2


@pytest.mark.parametrize("part", ["shelf", "donor"])
def test_an_empty_store_and_a_broken_vocabulary_are_said(shop: Settings, part: str) -> None:
    suspects = shop.vocabulary_folder / "suspects.csv"
    suspects.write_text(suspects.read_text(encoding="utf-8").replace(",coil,", ",wheel,"), encoding="utf-8")
    assert "wheel" in told(open_part(part))
    shop.store_path.unlink()
    with writing(shop.store_path):
        pass
    assert any(button.key == "first_run_own" for button in open_part(part).button)
