"""The comebacks of the Shop page, and a machine that came back on the bench, on small real stores without a browser."""

from dataclasses import replace
from datetime import date, timedelta
from pathlib import Path

import pytest
from streamlit.testing.v1 import AppTest

from analytics.case import CheckResult
from analytics.posterior import Posterior
from analytics.session import Session
from analytics.vocabulary import Vocabulary
from dashboards.shop_comebacks import hold_frame
from dashboards.shop_page import PART
from pipelines import review_comebacks, review_failures, review_repeaters, review_wear
from pipelines.advice_in_words import say_last_repair
from pipelines.bench_advice import serve_advice
from pipelines.bench_tickets import TicketRow
from pipelines.catalogue import write_vocabulary
from pipelines.intake import save_ticket
from pipelines.sessions import start_session
from pipelines.settings import DATA_VARIABLE, Settings

pytestmark = pytest.mark.slow

PAGE = Path(__file__).resolve().parents[2] / "dashboards" / "sheets" / "shop.py"
TODAY = date(2026, 11, 25)
LAST_VISIT = date(2024, 5, 1) + timedelta(30 * 23)


@pytest.fixture
def shop(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, tiny_vocabulary: Vocabulary) -> Settings:
    """Two machines, each with a ticket every 60 days; one is not named on its last ticket."""
    write_vocabulary(tiny_vocabulary, tmp_path / "vocabulary")
    monkeypatch.setenv(DATA_VARIABLE, str(tmp_path))
    settings = Settings(tmp_path)
    for at in range(24):
        ticket = TicketRow(
            shop="Pier",
            ticket_number=str(at),
            opened_on=date(2024, 5, 1) + timedelta(30 * at),
            closed_on=date(2024, 5, 1) + timedelta(30 * at + 5),
            symptom="stuck",
            machine=f"No. {at % 2}",
            family="crane",
            built_year=1960,
            suspects=("plug_loose",) if at % 3 else ("switch_dirty",),
            confirmation="cured",
            result="fixed",
            checks=(CheckResult("reseat_plug" if at % 3 else "clean_switch", "cured", 5.0),),
        )
        save_ticket(ticket, store_path=settings.store_path, vocabulary=tiny_vocabulary, today=TODAY)
    return settings


def open_page() -> AppTest:
    page = AppTest.from_file(str(PAGE), default_timeout=60)
    page.session_state[PART] = "comebacks"
    return page.run()


@pytest.mark.usefixtures("shop")
def test_every_question_about_comebacks_has_its_answer() -> None:
    page = open_page()
    assert not page.exception
    questions = [heading.value for heading in page.subheader]
    assert questions == [
        *(review_comebacks.QUESTION_PAIRS, review_comebacks.QUESTION_REMEDIES, review_comebacks.QUESTION_SUSPECTS),
        *(review_repeaters.QUESTION_REPEATERS, review_repeaters.QUESTION_TRENDS, review_wear.QUESTION),
        review_failures.QUESTION,
    ]
    assert len(page.get("vega_lite_chart")) >= 6


def test_hold_curves_begin_with_all_and_fall(shop: Settings) -> None:
    table = review_comebacks.review_comebacks(shop, today=TODAY)[1].table
    for _, line in hold_frame(table).groupby("name"):
        assert line["holds"].iloc[0] == 10.0
        assert line["holds"].is_monotonic_decreasing
        assert ((line["low"] <= line["holds"]) & (line["holds"] <= line["high"])).all()


def test_without_named_machines_the_page_says_so(shop: Settings, tiny_vocabulary: Vocabulary) -> None:
    shop.store_path.unlink()
    ticket = TicketRow(shop="Pier", ticket_number="1", opened_on=date(2024, 5, 1), symptom="stuck")
    save_ticket(ticket, store_path=shop.store_path, vocabulary=tiny_vocabulary, today=TODAY)
    page = open_page()
    assert not page.exception
    assert "No ticket names the machine" in "".join(one.value for one in page.markdown)


def test_a_machine_that_came_back_is_known_on_the_bench(
    shop: Settings, tiny_posterior: Posterior, tiny_vocabulary: Vocabulary
) -> None:
    # its last ticket, number 23, was closed five days after LAST_VISIT: the plug
    facts = Session(code="", shop="Pier", symptom="stuck", opened_on=LAST_VISIT + timedelta(25), machine="No. 1")
    session = start_session(shop.store_path, facts, tiny_vocabulary)
    ask = {"posterior": tiny_posterior, "vocabulary": tiny_vocabulary}
    last = serve_advice(shop.store_path, session, **ask).case.last_repair
    assert last is not None
    assert (last.suspect, last.days) == ("plug_loose", 20)
    assert say_last_repair(last, tiny_vocabulary).startswith(
        "'Plug loose' was repaired 20 days ago; the same complaint"
    )
    other = start_session(shop.store_path, replace(facts, machine="No. 7"), tiny_vocabulary)
    assert serve_advice(shop.store_path, other, **ask).case.last_repair is None
