"""The Bench page on small real stores, run without a browser."""

from datetime import UTC, date, datetime
from pathlib import Path

import pytest
from streamlit.testing.v1 import AppTest

from analytics.posterior import Posterior
from analytics.vocabulary import Vocabulary
from dashboards.bench_state import OpenCase, read_address, write_address
from pipelines.bench_tickets import TicketRow
from pipelines.catalogue import write_vocabulary
from pipelines.intake import save_ticket
from pipelines.posteriors import FitRow, save_posterior
from pipelines.sessions import list_open_sessions, read_stored_session
from pipelines.settings import DATA_VARIABLE, Settings
from pipelines.store import reading, run_query, writing

FOLDER = Path(__file__).resolve().parents[2] / "dashboards"
PAGE = FOLDER / "sheets" / "bench.py"
TODAY = date(2026, 11, 25)
TICKET = TicketRow(
    shop="Pier", ticket_number="1", opened_on=date(2020, 5, 1), symptom="stuck", suspects=("plug_loose",)
)


@pytest.fixture
def shop(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, tiny_vocabulary: Vocabulary) -> Settings:
    """A data folder with the tiny vocabulary and no store."""
    settings = Settings(tmp_path)
    write_vocabulary(tiny_vocabulary, tmp_path / "vocabulary")
    monkeypatch.setenv(DATA_VARIABLE, str(tmp_path))
    return settings


@pytest.fixture
def fitted_shop(shop: Settings, tiny_vocabulary: Vocabulary, tiny_posterior: Posterior) -> Settings:
    """The same with one ticket and a hand-made fit that has seen it."""
    save_ticket(TICKET, store_path=shop.store_path, vocabulary=tiny_vocabulary, today=TODAY)
    row = FitRow("hand-made", datetime(2026, 11, 1, tzinfo=UTC), "1-0", "priors", "code", seconds=1.0, last_order=1)
    save_posterior(shop, tiny_posterior, row)
    return shop


def open_page(**address: str) -> AppTest:
    page = AppTest.from_file(str(PAGE), default_timeout=30)
    for name, value in address.items():
        page.query_params[name] = value
    page.run()
    assert not page.exception
    return page


def press(page: AppTest, label: str) -> AppTest:
    next(button for button in page.button if button.label == label).click().run()
    assert not page.exception
    return page


def take_on(page: AppTest, machine: str = "") -> AppTest:
    page.text_input(key="bench_take_machine").set_value(machine).run()
    return press(page, "Take it on the bench")


def code_of(page: AppTest) -> str:
    """Code of the session in the address."""
    found = page.query_params["session"]
    return found if isinstance(found, str) else found[0]


def odds(page: AppTest) -> list[str]:
    """The list of suspects in words."""
    words = next(part for part in page.expander if part.label == "All of them in words")
    return words.markdown[0].value.replace("\\", "").splitlines()


def first_check(page: AppTest) -> str:
    return next(heading.value for heading in page.subheader if "check:" in heading.value).split(": ")[1]


def test_without_a_store_the_page_says_how_to_begin_and_makes_none(shop: Settings) -> None:
    page = open_page()
    assert any("1. Bring your tickets" in text.value for text in page.markdown)
    assert not shop.store_path.exists()


def test_a_store_without_tickets_and_one_without_a_fit_show_the_step_that_is_next(
    shop: Settings, tiny_vocabulary: Vocabulary
) -> None:
    with writing(shop.store_path):
        pass
    assert any(button.key == "first_run_fill" for button in open_page().button)
    save_ticket(TICKET, store_path=shop.store_path, vocabulary=tiny_vocabulary, today=TODAY)
    page = open_page()
    assert any("1 ticket in the store" in text.value for text in page.markdown)
    assert any(button.key == "model_start_fit" for button in page.button)


@pytest.mark.usefixtures("fitted_shop")
def test_choosing_a_complaint_shows_suspects_a_check_and_its_cautions() -> None:
    page = open_page()
    page.selectbox(key="bench_symptom_input").set_value("stuck").run()
    assert len(odds(page)) == 4
    # an even chance of curing in 3 minutes beats a look of 2 that cures nothing
    assert first_check(page) == "Reseat the plug"
    assert "Mains inside" in page.warning[0].value
    assert "Local codes" in page.warning[0].value
    assert any("seen this once" in text.value for text in page.markdown)
    assert page.query_params["s"] == ["stuck"] or page.query_params["s"] == "stuck"


def test_looking_up_writes_nothing(fitted_shop: Settings) -> None:
    open_page(s="stuck", f="crane", y="1960", h="Pier")
    assert list_open_sessions(fitted_shop.store_path).empty


def test_an_outcome_changes_the_ranking_and_the_next_check_and_undo_takes_it_back(fitted_shop: Settings) -> None:
    page = take_on(open_page(s="stuck", f="crane", y="1960", h="Pier"))
    before = odds(page)
    assert before[0].startswith("1. Plug loose")
    press(page, "Not cured")
    assert odds(page)[0].startswith("1. Switch dirty")
    assert first_check(page) == "Clean the switch"
    press(page, "Undo the last one")
    assert odds(page) == before
    stored = read_stored_session(fitted_shop.store_path, code_of(page))
    assert [entry.kind for entry in stored.entries] == ["not_cured", "undo"]


@pytest.mark.usefixtures("fitted_shop")
def test_another_check_than_the_recommended_one_can_be_made() -> None:
    page = take_on(open_page(s="stuck", h="Pier"))
    page.selectbox(key=f"bench_check_{code_of(page)}_0").set_value("clean_switch").run()
    assert first_check(page) == "Clean the switch"
    press(page, "Not cured")
    assert any("Clean the switch: **Not cured**" in text.value for text in page.markdown)


@pytest.mark.usefixtures("fitted_shop")
def test_a_check_left_out_is_not_recommended_again() -> None:
    page = take_on(open_page(s="stuck", h="Pier"))
    press(page, "Cannot be done here")
    assert first_check(page) != "Reseat the plug"


def test_a_session_goes_on_in_another_window_and_ends_as_a_ticket(fitted_shop: Settings) -> None:
    first = take_on(open_page(s="stuck", f="crane", y="1960", h="Pier"), machine="Grab 3")
    press(first, "Not cured")
    page = open_page(session=code_of(first))
    assert any("Grab 3" in text.value for text in page.markdown)
    page.number_input(key=f"bench_minutes_{code_of(page)}_1").set_value(12.0).run()
    press(page, "Cured")
    assert "It works" in page.success[0].value
    assert page.multiselect[0].value == ["switch_dirty"]
    press(page, "Write the ticket")
    assert f"B-{code_of(first)}" in page.success[0].value
    with reading(fitted_shop.store_path) as con:
        score = run_query(con, "running_scores")
    assert score["sessions"].tolist() == [1]
    assert list_open_sessions(fitted_shop.store_path).empty


def test_a_session_left_open_waits_on_the_empty_bench(fitted_shop: Settings) -> None:
    page = take_on(open_page(s="stuck", h="Pier"))
    press(page, "Put it aside")
    assert not page.query_params
    waiting = next(button for button in page.button if button.label.startswith("Grab is stuck - Pier"))
    press(page, waiting.label)
    assert code_of(page) == list_open_sessions(fitted_shop.store_path)["code"].iloc[0]


@pytest.mark.usefixtures("fitted_shop")
def test_a_second_fault_is_looked_for_after_the_first_repair() -> None:
    page = take_on(open_page(s="stuck", h="Pier"))
    press(page, "Cured")
    page.selectbox(key="bench_also_kind").set_value("repaired").run()
    page.selectbox(key="bench_also_repaired").set_value("plug_loose").run()
    press(page, "Note it")
    assert not odds(page)[0].startswith("1. Plug loose")
    assert any("next check" in heading.value.lower() for heading in page.subheader)


@pytest.mark.usefixtures("fitted_shop")
def test_a_machine_without_a_workshop_is_not_taken_on() -> None:
    page = press(open_page(s="stuck"), "Take it on the bench")
    assert "needs the name of the workshop" in page.warning[0].value
    page.text_input(key="bench_take_shop").set_value("New Shed").run()
    assert code_of(press(page, "Take it on the bench"))


@pytest.mark.usefixtures("fitted_shop")
def test_a_code_that_is_none_gets_a_sentence() -> None:
    assert "No session has the code" in open_page(session="ZZZ").error[0].value


@pytest.mark.usefixtures("fitted_shop")
def test_start_over_empties_the_bench_and_the_address() -> None:
    page = press(open_page(s="stuck", f="crane", y="1960"), "Start over")
    assert page.selectbox(key="bench_symptom_input").value is None
    assert page.number_input(key="bench_built_year_input").value is None
    assert not page.query_params


@pytest.mark.usefixtures("fitted_shop")
@pytest.mark.parametrize(
    ("address", "told"),
    [
        ({"s": "![x](//host/x.png)"}, "complaint"),
        ({"s": "stuck", "f": "submarine"}, "kind of machine 'submarine'"),
        ({"s": "stuck", "h": "Nowhere"}, "workshop 'Nowhere'"),
        ({"s": "stuck", "y": "19x0"}, "Allowed: a year from 1850"),
        ({"s": "stuck", "y": "2999"}, "Allowed: a year from 1850"),
    ],
)
def test_a_broken_link_gives_a_sentence_and_keeps_the_rest(address: dict[str, str], told: str) -> None:
    page = open_page(**address)
    assert told in page.warning[0].value.replace("\\", "")
    if address["s"] == "stuck":
        assert len(odds(page)) == 4


def test_an_address_reopens_the_case_it_was_written_from(tiny_vocabulary: Vocabulary) -> None:
    address = {"s": "stuck", "f": "crane", "y": "1960", "h": "Pier"}
    case, problems = read_address(address, tiny_vocabulary, ("Harbour", "Pier"), today=TODAY)
    assert problems == ()
    assert write_address(case) == address
    assert case.as_case(TODAY).age_years == 2026 - 1960


def test_the_owners_words_stay_out_of_the_address() -> None:
    assert write_address(OpenCase(symptom="stuck", complaint="Mrs Somebody says it hums")) == {"s": "stuck"}
