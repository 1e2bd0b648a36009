"""The Model page on small real stores, run without a browser."""

import json
import math
import time
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest
from streamlit.testing.v1 import AppTest

from analytics.age_curves import age_curve
from analytics.check_knowledge import know_checks
from analytics.posterior import Diagnostics, Posterior
from analytics.vocabulary import Vocabulary
from dashboards.model_checks import check_frame
from dashboards.model_score import calibration_finding
from pipelines.backtest_files import Backtest, save_backtest
from pipelines.bench_tickets import TicketRow
from pipelines.catalogue import write_vocabulary
from pipelines.intake import save_ticket
from pipelines.posteriors import FitRow, list_fits, save_posterior
from pipelines.refit_status import RefitStatus, read_refit_status, refit_lock, write_refit_status
from pipelines.session_scores import read_served_places
from pipelines.settings import DATA_VARIABLE, Settings
from pipelines.store import registered, run_query, writing

pytestmark = pytest.mark.slow

FOLDER = Path(__file__).resolve().parents[2] / "dashboards"
PAGE = FOLDER / "sheets" / "model.py"
TODAY = date(2026, 11, 25)
NOVEMBER = datetime(2026, 11, 1, tzinfo=UTC).replace(tzinfo=None)
HELD = Diagnostics(1.004, 900.0, 0, "alpha[0]")
FAILED = Diagnostics(1.2, 80.0, 3, "alpha[0]")


@pytest.fixture
def shop(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, tiny_vocabulary: Vocabulary) -> Settings:
    """A data folder with the tiny vocabulary and no store."""
    write_vocabulary(tiny_vocabulary, tmp_path / "vocabulary")
    monkeypatch.setenv(DATA_VARIABLE, str(tmp_path))
    return Settings(tmp_path)


@pytest.fixture
def stocked_shop(shop: Settings, tiny_vocabulary: Vocabulary) -> Settings:
    """The same with six tickets and no fit."""
    suspects = ("plug_loose", "switch_dirty", "coil_open")
    for at in range(6):
        ticket = TicketRow(
            shop="Pier",
            ticket_number=str(at),
            opened_on=date(2020, 5, 1) + timedelta(at),
            symptom="stuck",
            built_year=1960,
            suspects=(suspects[at % 3],),
        )
        save_ticket(ticket, store_path=shop.store_path, vocabulary=tiny_vocabulary, today=TODAY)
    return shop


@pytest.fixture
def fitted_shop(stocked_shop: Settings, tiny_posterior: Posterior) -> Settings:
    """The same with a hand-made fit that has seen four of the six."""
    return add_fit(stocked_shop, tiny_posterior, "good", HELD)


def add_fit(settings: Settings, posterior: Posterior, fit_id: str, diagnostics: Diagnostics) -> Settings:
    # each a minute after the one before, all of them before now but the fourth
    fitted_at = datetime.now(UTC) - timedelta(minutes=3 - len(list_fits(settings)))
    row = FitRow(fit_id, fitted_at.replace(tzinfo=None), "4-0", "priors", "code", seconds=21.0, last_order=4)
    save_posterior(settings, Posterior(fit_id, posterior.draws, diagnostics, ticket_count=200), row)
    return settings


def open_page(part: str = "fit") -> AppTest:
    page = AppTest.from_file(str(PAGE), default_timeout=60)
    page.session_state["model_part"] = part
    page.run()
    assert not page.exception
    return page


def told(page: AppTest) -> str:
    """All sentences of the page."""
    parts = [*page.markdown, *page.caption, *page.info, *page.success, *page.warning, *page.error]
    return "\n".join(part.value for part in parts).replace("\\", "")


def test_without_a_store_the_page_says_how_to_begin_and_makes_none(shop: Settings) -> None:
    assert any("1. Bring your tickets" in text.value for text in open_page().markdown)
    assert not shop.store_path.exists()


def test_an_empty_store_says_what_to_do(shop: Settings) -> None:
    with writing(shop.store_path):
        pass
    page = open_page()
    assert any(button.key == "first_run_own" for button in page.button)
    assert not any(button.key == "model_start_fit" for button in page.button)


@pytest.mark.usefixtures("stocked_shop")
def test_without_a_fit_there_is_a_button_that_makes_one_and_the_other_parts_say_so() -> None:
    page = open_page()
    assert page.info[0].value.startswith("6 tickets in the store, but nothing has been learnt")
    assert [button.label for button in page.button] == ["Start a fit"]
    for part in ("right", "learnt", "checks"):
        assert "needs a fit that holds" in open_page(part).info[0].value


def test_the_newest_fit_is_told_with_each_limit_and_the_tickets_since(fitted_shop: Settings) -> None:
    page = open_page()
    text = told(page)
    assert "Learnt from **200 tickets**" in text
    assert "in 21 seconds" in text
    assert "at most 1.004 times as wide as one run by itself (limit 1.01)" in text
    assert "at least 900 independent draws (needed: at least 400)" in text
    assert "It never happened (limit 0)" in text
    # two of six came after the fit; a fifth of 200 fitted ones are 40, so the 41st is one too many
    assert "2 tickets closed since the fit already count" in text
    assert "due after about 40 tickets more" in text
    assert list(page.dataframe[0].value["Verdict"]) == ["in use"]
    assert len(list_fits(fitted_shop)) == 1


def test_a_fit_that_did_not_hold_is_not_hidden_and_the_one_in_use_is_named(
    fitted_shop: Settings, tiny_posterior: Posterior
) -> None:
    add_fit(fitted_shop, tiny_posterior, "newer", FAILED)
    page = open_page()
    assert "It does not hold, so it is not used" in page.warning[0].value
    assert told(page).count("Not good enough") == 3
    assert "It happened 3 times (limit 0)" in told(page)
    assert list(page.dataframe[0].value["Verdict"]) == ["does not hold", "in use"]


def test_only_a_fit_that_did_not_hold_leaves_the_bench_without_answers(
    stocked_shop: Settings, tiny_posterior: Posterior
) -> None:
    add_fit(stocked_shop, tiny_posterior, "bad", FAILED)
    page = open_page()
    assert "there is no earlier one that does" in page.warning[0].value
    assert page.button[0].label == "Start a fit"


def test_lost_draws_leave_the_button_that_makes_new_ones(fitted_shop: Settings) -> None:
    (fitted_shop.posteriors_folder / "good.nc").unlink()
    page = open_page()
    assert "draws of fit good are missing" in page.error[0].value
    assert page.button[0].label == "Start a fit"


def test_a_fit_that_runs_shows_a_bar_and_no_button(fitted_shop: Settings) -> None:
    with refit_lock(fitted_shop):
        write_refit_status(fitted_shop, status(is_running=True, share=0.4))
        page = open_page()
        assert "Fitting: 40 of 100 done" in page.get("progress")[0].proto.text
        assert not page.button


def test_a_press_that_comes_too_late_starts_no_second_fit(fitted_shop: Settings) -> None:
    page = open_page()
    with refit_lock(fitted_shop):
        # somebody else pressed between the drawing of the button and the press
        write_refit_status(fitted_shop, status(is_running=True, share=0.1))
        page.button(key="model_start_fit").click().run()
        assert not page.exception
        assert "no second one was started" in page.info[0].value
    assert not (fitted_shop.data_folder / "refit.log").exists()


def test_a_fit_that_failed_is_told_until_one_holds(fitted_shop: Settings, tiny_posterior: Posterior) -> None:
    write_refit_status(fitted_shop, status(is_running=False, share=0.3, sentences=("The *computer* went off.",)))
    assert "The *computer* went off." in open_page().error[0].value.replace("\\", "")
    for fit_id in ("second", "third"):
        add_fit(fitted_shop, tiny_posterior, fit_id, HELD)
    assert open_page().error
    add_fit(fitted_shop, tiny_posterior, "later", HELD)
    assert not open_page().error


def status(*, is_running: bool, share: float, sentences: tuple[str, ...] = ()) -> RefitStatus:
    started = datetime.now(UTC).isoformat(timespec="seconds")
    return RefitStatus(
        is_running=is_running, is_published=False, share=share, sentences=sentences, data_version="6-0",
        started_at=started,
    )  # fmt: skip


@pytest.mark.slow
def test_one_press_starts_one_fit_and_what_holds_is_in_use(stocked_shop: Settings) -> None:
    page = open_page()
    page.button(key="model_start_fit").click().run()
    deadline = time.monotonic() + 240
    while (running := read_refit_status(stocked_shop)) is not None and running.is_running:
        assert time.monotonic() < deadline
        time.sleep(0.3)
    page.run()
    assert not page.exception
    assert [part.value for part in page.success] == [
        "It holds: every answer on the bench comes from it.",
        "The new fit is in use from now on.",
    ]
    assert len(list_fits(stocked_shop)) == 1


@pytest.mark.usefixtures("fitted_shop")
def test_without_closed_sessions_backtest_or_proof_each_says_how_to_get_one() -> None:
    text = told(open_page("right"))
    assert "No machine that was taken on the bench has been closed" in text
    assert "`faultodds backtest`" in text
    assert "`faultodds proof`" in text


def test_the_running_score_counts_first_places_of_the_first_advice(fitted_shop: Settings) -> None:
    # A: first of two, said 0.8. B: second of two, said 0.25 and 0.75; its later advice must not count as a first place.
    keep_score(fitted_shop, "A", [(0, {"plug_loose": 0.8, "coil_open": 0.2})], truth="plug_loose")
    keep_score(
        fitted_shop,
        "B",
        [(0, {"plug_loose": 0.75, "coil_open": 0.25}), (1, {"plug_loose": 0.5, "coil_open": 0.5})],
        truth="coil_open",
    )
    places = read_served_places(fitted_shop.store_path)
    assert (places.sessions, places.first_one, places.first_three) == (2, 1, 2)
    # hand arithmetic: a session counts once, with the mean over its advice
    assert places.log_loss == pytest.approx((-math.log(0.8) + (-math.log(0.25) - math.log(0.5)) / 2) / 2)
    assert places.blind_log_loss == pytest.approx(math.log(2))
    text = told(open_page("right"))
    assert "2 machines closed on the bench. In **1** of them" in text
    assert "another one can change the picture" in text


def keep_score(settings: Settings, code: str, advice: list[tuple[int, dict[str, float]]], *, truth: str) -> None:
    """Writes advice and its scores as the bench does."""
    with writing(settings.store_path) as con:
        for position, said in advice:
            key = {"code": code, "position": position, "fit_id": "good"}
            run_query(con, "insert_served_advice", **key, next_check="", expected_minutes=1.0, served_at=NOVEMBER)
            odds = pd.DataFrame({"suspect": list(said), "probability": list(said.values())}).astype({"suspect": "str"})
            with registered(con, new_odds=odds):
                run_query(con, "insert_served_odds", **key)
        truths = pd.DataFrame({"position": [at for at, _ in advice], "suspect": truth}).astype(
            {"position": "int32", "suspect": "str"}
        )
        with registered(con, truths=truths):
            run_query(con, "insert_served_scores", code=code, least_probability=1e-6)


def title_of(chart: Any) -> list[str]:
    return json.loads(chart.proto.spec)["title"]["text"]


def bins(*rows: tuple[float, float, float, float]) -> pd.DataFrame:
    frame = pd.DataFrame(rows, columns=["forecast_mean", "observed_rate", "low", "high"])
    return frame.assign(count=100)


def test_a_stored_backtest_is_a_picture_and_words(fitted_shop: Settings) -> None:
    folds = pd.DataFrame({"start": ["2020-01-01"], "scored": [120], "max_rhat": [1.03]})
    table = pd.DataFrame({"method": ["this model"], "top_1": [0.41], "top_3": [0.72]})
    found = Backtest(NOVEMBER, folds, table, bins((0.3, 0.28, 0.2, 0.37)))
    save_backtest(fitted_shop, found)
    page = open_page("right")
    text = told(page)
    assert "with 120 tickets" in text
    assert "first for about 4 in 10, among the first three for about 7 in 10" in text
    assert "Said 3.0 in 10: happened 2.8 in 10 (between 2.0 and 3.7), 100 times" in text
    assert "runs agree within 1.030, limit 1.01" in text
    assert title_of(page.get("vega_lite_chart")[0]) == [
        "The odds kept their word:",
        "said 3.0 in 10, happened 2.8 in 10",
    ]


@pytest.mark.parametrize(
    ("rows", "title"),
    [
        ([(0.3, 0.33, 0.31, 0.35)], "The odds kept their word:"),  # beyond chance, but too little to matter
        ([(0.3, 0.5, 0.2, 0.8)], "The odds kept their word:"),  # chance explains it
        ([(0.3, 0.3, 0.2, 0.4), (0.6, 0.4, 0.3, 0.5)], "Not quite as said:"),
    ],
)
def test_odds_are_called_off_only_when_chance_does_not_explain_it(
    rows: list[tuple[float, float, float, float]], title: str
) -> None:
    assert calibration_finding(bins(*rows))[0] == title


@pytest.mark.usefixtures("fitted_shop")
def test_what_was_learnt_is_told_for_the_complaint_and_the_failure_chosen() -> None:
    page = open_page("learnt")
    assert len(page.get("vega_lite_chart")) == 2
    assert told(page).count("before any ticket, now") == 4
    page.selectbox(key="model_symptom").set_value("dark").run()
    page.selectbox(key="model_mode").set_value("loose").run()
    assert not page.exception
    assert told(page).count("before any ticket, now") == 3
    # both tickets of a loose plug were 60 years old
    assert "60+ years: about" in told(page)
    assert [line for line in told(page).splitlines() if "60+" in line and "2 tickets" in line]


@pytest.mark.usefixtures("fitted_shop")
def test_the_map_of_checks_says_what_each_finds_and_cures() -> None:
    page = open_page("checks")
    assert title_of(page.get("vega_lite_chart")[0])[0] == "The tickets bear out the lists:"
    text = told(page)
    assert ". Plug loose" in text
    assert "finds Coil open: seeded" in text
    assert "sees a fault that is not there" in text
    page.button_group(key="model_checks_what").set_value("modelcheck.cures").run()
    assert not page.exception
    assert page.get("vega_lite_chart")


def test_every_check_that_can_do_it_meets_every_suspect(tiny_posterior: Posterior, tiny_vocabulary: Vocabulary) -> None:
    known = know_checks(tiny_posterior, tiny_vocabulary, symptom="stuck", made={})
    frame = check_frame(known, ["plug_loose", "coil_open"], lambda one: one.detection, tiny_vocabulary)
    said = {(row.check, row.number): row.text for row in frame.itertuples() if row.text}
    # seeded in the tiny vocabulary: 0.8 of loose plugs are seen, 0.95 of open coils metered; the draws lie around it
    assert set(said) == {("Look at the plug", 1), ("Meter the coil", 2)}
    assert said["Look at the plug", 1] == "8"
    assert len(frame) == 4


def test_an_age_curve_weighs_links_by_their_tickets(tiny_posterior: Posterior) -> None:
    # two links lead to a loose plug; with tickets on one only, the other still weighs one ticket
    cells = pd.DataFrame(
        [("stuck", "plug_loose", "old", 3.0), ("stuck", "plug_loose", "unknown", 5.0), ("stuck", "", "old", 9.0)],
        columns=["symptom", "suspect", "age_band", "weight"],
    )
    curve = age_curve(tiny_posterior, cells, mode="loose")
    stuck, dark = np.flatnonzero(
        tiny_posterior.arrays["link_mode"] == tiny_posterior.positions["mode"]["loose"]
    )  # "stuck" is listed first
    effect = tiny_posterior.arrays["age_effect"]
    mean = (3.0 * effect[:, stuck] + 1.0 * effect[:, dark]) / 4.0
    assert curve.tickets.tolist() == [0.0, 0.0, 3.0]
    np.testing.assert_allclose(curve.factor, np.exp(np.median(mean, axis=0)))
    assert (curve.low < curve.factor).all()
    assert (curve.factor < curve.high).all()


def test_a_vocabulary_that_contradicts_itself_gets_a_sentence(fitted_shop: Settings) -> None:
    path = fitted_shop.vocabulary_folder / "links.csv"
    path.write_text(path.read_text(encoding="utf-8").replace("plug_loose", "plug_lost"), encoding="utf-8")
    assert "plug_lost" in told(open_page()) or "plug_lost" in told(open_page("learnt"))
