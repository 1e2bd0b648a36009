"""The Shop page on small real stores, run without a browser."""

from datetime import date, timedelta
from pathlib import Path

import pytest
from streamlit.testing.v1 import AppTest

from analytics.case import CheckResult
from analytics.vocabulary import Vocabulary
from dashboards.sentences import sentence
from dashboards.shop_arrivals import load_frame
from dashboards.shop_page import PART
from pipelines.bench_tickets import TicketRow
from pipelines.catalogue import write_vocabulary
from pipelines.intake import save_ticket
from pipelines.review_arrivals import AHEAD, QUESTION_LOAD, review_arrivals
from pipelines.review_checks import QUESTION_FIX
from pipelines.settings import DATA_VARIABLE, Settings

pytestmark = pytest.mark.slow

PAGE = Path(__file__).resolve().parents[2] / "dashboards" / "sheets" / "shop.py"
TODAY = date(2026, 11, 25)


@pytest.fixture
def shop(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, tiny_vocabulary: Vocabulary) -> Settings:
    """A data folder with the tiny vocabulary and no store."""
    write_vocabulary(tiny_vocabulary, tmp_path / "vocabulary")
    monkeypatch.setenv(DATA_VARIABLE, str(tmp_path))
    return Settings(tmp_path)


@pytest.fixture
def stocked_shop(shop: Settings, tiny_vocabulary: Vocabulary) -> Settings:
    """The same with a ticket every three weeks for a year and a half, and no fit."""
    remedy = next(check.code for check in tiny_vocabulary.checks_for("stuck") if "plug_loose" in check.cures)
    for at in range(26):
        ticket = TicketRow(
            shop="Pier",
            ticket_number=str(at),
            opened_on=date(2025, 5, 1) + timedelta(21 * at),
            symptom="stuck",
            family="crane",
            suspects=("plug_loose",),
            checks=(CheckResult("look_at_plug", "fault_found", 2.0), CheckResult(remedy, "cured", 5.0)),
            minutes=20.0 + at,
        )
        save_ticket(ticket, store_path=shop.store_path, vocabulary=tiny_vocabulary, today=TODAY)
    return shop


def open_page(part: str) -> AppTest:
    page = AppTest.from_file(str(PAGE), default_timeout=60)
    page.session_state[PART] = part
    return page.run()


def headings(page: AppTest) -> list[str]:
    assert not page.exception
    return [heading.value for heading in page.subheader]


@pytest.mark.usefixtures("stocked_shop")
def test_checks_come_with_question_answer_chart_and_table() -> None:
    page = open_page("checks")
    assert headings(page)[0] == QUESTION_FIX
    assert "fixes per bench hour" in "".join(one.value for one in page.markdown)
    assert len(page.get("vega_lite_chart")) >= 4
    assert len(page.expander) >= 4


@pytest.mark.usefixtures("stocked_shop")
def test_arrivals_come_with_the_months_ahead() -> None:
    page = open_page("arrivals")
    assert headings(page)[0] == QUESTION_LOAD
    assert "November 2026 to January 2027" in "".join(one.value for one in page.markdown)


def test_months_to_come_stand_last_and_have_no_tickets(stocked_shop: Settings) -> None:
    table = review_arrivals(stocked_shop, today=TODAY)[0].table
    frame = load_frame(table)
    assert list(frame["month"]) == sorted(frame["month"])
    assert frame["tickets"].isna().sum() == AHEAD
    assert frame["tickets"].isna().tail(AHEAD).all()


def test_a_broken_table_of_machines_is_refused_on_the_page(stocked_shop: Settings) -> None:
    (stocked_shop.data_folder / "machines_kept.csv").write_text("shop,family\nPier,crane\n", encoding="utf-8")
    page = open_page("arrivals")
    assert "machines" in page.error[0].value
    assert not page.exception


def test_a_broken_vocabulary_is_refused_on_the_page(stocked_shop: Settings) -> None:
    (stocked_shop.vocabulary_folder / "checks.csv").write_text("code\nx\n", encoding="utf-8")
    page = open_page("checks")
    assert "checks.csv" in page.error[0].value
    assert not page.exception


@pytest.mark.usefixtures("shop")
def test_an_empty_shop_is_told_how_to_begin() -> None:
    page = open_page("checks")
    assert headings(page) == [sentence("firstrun.heading")]
