"""What is served is the newest fit with the tickets stored since, and a refit never stands in anybody's way."""

import time
from dataclasses import replace
from datetime import date
from pathlib import Path

import duckdb
import pandas as pd
import pytest

from analytics.case import Case
from analytics.posterior import Diagnostics, Posterior
from analytics.suspects import belief
from analytics.vocabulary import Vocabulary
from pipelines.bench_tickets import TicketRow
from pipelines.catalogue import read_vocabulary
from pipelines.history import read_evidence
from pipelines.intake import save_ticket
from pipelines.live import load_live, serving_state
from pipelines.posteriors import FitRow, newest_fit, save_posterior
from pipelines.refit_start import refit_unless_tried, start_background_refit
from pipelines.refit_status import RefitStatus, is_refit_running, read_refit_status, refit_lock, write_refit_status
from pipelines.settings import Settings
from pipelines.store import SQL_FOLDER, last_ticket_order, reading, writing

TODAY = date(2026, 11, 25)
STUCK = Case("stuck", family="crane", shop="Pier", age_years=40)
RUNNING = RefitStatus(
    is_running=True,
    is_published=False,
    share=0.25,
    sentences=(),
    data_version="3-abc",
    started_at="2026-11-25T10:00:00",
)


@pytest.fixture
def settings(tmp_path: Path) -> Settings:
    return Settings(tmp_path / "data")


def store_tickets(settings: Settings, vocabulary: Vocabulary, *numbers: int, suspect: str = "coil_open") -> None:
    for number in numbers:
        ticket = TicketRow(
            shop="Pier",
            ticket_number=f"No. {number}",
            opened_on=date(2020, 5, 1),
            symptom="stuck",
            family="crane",
            built_year=1980,
            suspects=(suspect,),
            confirmation="reproduced_and_cured",
            result="fixed",
        )
        save_ticket(ticket, store_path=settings.store_path, vocabulary=vocabulary, today=TODAY)


def store_fit(settings: Settings, posterior: Posterior, fit_id: str = "first") -> None:
    """The hand-made posterior as if it had been fitted to all tickets stored so far."""
    with reading(settings.store_path) as con:
        last_order = last_ticket_order(con)
    row = FitRow(fit_id, pd.Timestamp(2026, 11, 25, 12, last_order), "x", "x", "0", seconds=1.0, last_order=last_order)
    save_posterior(settings, replace(posterior, fit_id=fit_id), row)


def coil_odds(posterior: Posterior, vocabulary: Vocabulary) -> float:
    found = belief(posterior, STUCK, vocabulary)
    return float(found.mean[found.suspects.index("coil_open")])


def test_tickets_since_the_fit_count_once_and_fitted_ones_do_not(
    settings: Settings, tiny_vocabulary: Vocabulary, tiny_posterior: Posterior
) -> None:
    store_tickets(settings, tiny_vocabulary, 1, 2)
    store_fit(settings, tiny_posterior)
    before, state = load_live(settings, tiny_vocabulary), serving_state(settings)
    assert before.ticket_count == 0
    assert coil_odds(before.posterior, tiny_vocabulary) == pytest.approx(coil_odds(tiny_posterior, tiny_vocabulary))

    store_tickets(settings, tiny_vocabulary, 3, 4, 5)
    after = load_live(settings, tiny_vocabulary)
    assert (after.ticket_count, after.posterior.fit_id) == (3, "first")
    assert coil_odds(after.posterior, tiny_vocabulary) > coil_odds(before.posterior, tiny_vocabulary) + 0.02
    assert serving_state(settings).fit_id == state.fit_id == "first"
    assert serving_state(settings).ticket_count == state.ticket_count + 3
    assert serving_state(settings).newest_ticket != state.newest_ticket

    store_fit(settings, tiny_posterior, "second")
    assert load_live(settings, tiny_vocabulary).ticket_count == 0


def test_a_fit_that_does_not_hold_is_not_served(
    settings: Settings, tiny_vocabulary: Vocabulary, tiny_posterior: Posterior
) -> None:
    store_tickets(settings, tiny_vocabulary, 1)
    store_fit(settings, tiny_posterior)
    store_tickets(settings, tiny_vocabulary, 2)
    store_fit(settings, replace(tiny_posterior, diagnostics=Diagnostics(1.2, 30.0, 5, "alpha[0]")), "bad")
    assert newest_fit(settings).fit_id == "first"
    assert load_live(settings, tiny_vocabulary).ticket_count == 1


def test_before_and_after_add_up_to_all(settings: Settings, tiny_vocabulary: Vocabulary) -> None:
    store_tickets(settings, tiny_vocabulary, 1, 2, 3, suspect="plug_loose")
    store_tickets(settings, tiny_vocabulary, 4)
    early = read_evidence(settings.store_path, tiny_vocabulary, up_to=3)
    late = read_evidence(settings.store_path, tiny_vocabulary, after=3)
    assert (early.cells["suspect"].tolist(), early.ticket_count) == (["plug_loose"], 3)
    assert (late.cells["suspect"].tolist(), late.ticket_count) == (["coil_open"], 1)


def test_an_older_store_keeps_its_tickets_and_its_fit(tmp_path: Path) -> None:
    # A store as version 2 of the schema left it, with two tickets and a fit that has seen both.
    path = tmp_path / "old.duckdb"
    with duckdb.connect(str(path)) as con:
        con.execute("create table schema_version (version integer primary key, applied_at timestamp not null)")
        for number in (1, 2):
            [migration] = (SQL_FOLDER / "migrations").glob(f"00{number}_*.sql")
            con.execute(migration.read_text(encoding="utf-8"))
            con.execute("insert into schema_version values (?, now()::timestamp)", [number])
        for ticket in ("a", "b"):
            con.execute(
                "insert into tickets by name select $id as ticket_id, 'Pier' as shop, $id as ticket_number, "
                "date '2020-01-01' as opened_on, 'stuck' as symptom, 'fixed' as result, 'bench' as source",
                {"id": ticket},
            )
        con.execute("insert into fits values ('old', now()::timestamp, 2, '2-abc', 'x', '0', 1, 1, 500, 0, true)")
    with writing(path) as con:
        orders = con.execute("select ticket_order from tickets order by ticket_id").fetchall()
        reach = con.execute("select fit_id, last_order from fit_reach").fetchall()
    assert (orders, reach) == ([(1,), (2,)], [("old", 2)])


def test_status_survives_and_a_job_that_died_is_told(settings: Settings) -> None:
    assert read_refit_status(settings) is None
    with refit_lock(settings) as lock:
        assert lock is not None
        write_refit_status(settings, RUNNING)
        assert read_refit_status(settings) == RUNNING
    died = read_refit_status(settings)
    assert died is not None
    assert not died.is_running
    assert "last good fit goes on being served" in died.sentences[0]


def test_there_are_never_two_refits(settings: Settings) -> None:
    with refit_lock(settings):
        assert is_refit_running(settings)
        assert not start_background_refit(settings)
    assert not is_refit_running(settings)


@pytest.mark.slow
def test_a_job_that_cannot_fit_says_why_and_lets_go(settings: Settings) -> None:
    assert start_background_refit(settings)
    status = wait_for_end(settings, seconds=60)
    assert status.sentences == ("There are no tickets to learn from yet. Run `faultodds ingest FILE` first.",)
    assert (status.is_running, status.is_published, is_refit_running(settings)) == (False, False, False)


@pytest.mark.slow
def test_a_job_fits_and_reports_while_it_runs(settings: Settings) -> None:
    vocabulary = read_vocabulary(settings.vocabulary_folder)
    symptom, family = next(iter(vocabulary.symptoms)), next(iter(vocabulary.families))
    suspects = vocabulary.suspects_of(symptom)
    for number in range(6):
        ticket = TicketRow(
            shop="Pier",
            ticket_number=str(number),
            opened_on=date(2020, 5, 1),
            symptom=symptom,
            family=family,
            built_year=1960,
            suspects=(suspects[number % 2],),
            confirmation="cured",
            result="fixed",
        )
        save_ticket(ticket, store_path=settings.store_path, vocabulary=vocabulary, today=TODAY)
    assert refit_unless_tried(settings)
    assert not start_background_refit(settings)
    status = wait_for_end(settings, seconds=500)
    # whether its diagnostics hold is the fit's affair; here it has to come to its end and say so
    assert status.share == 1.0
    assert "Fitted 6 tickets" in status.sentences[0]
    assert not refit_unless_tried(settings)


def wait_for_end(settings: Settings, *, seconds: float) -> RefitStatus:
    deadline = time.monotonic() + seconds
    while time.monotonic() < deadline:
        status = read_refit_status(settings)
        # the lock goes with the process, a moment after its last word
        if status is not None and not status.is_running and not is_refit_running(settings):
            return status
        time.sleep(0.2)
    raise AssertionError(f"The refit did not end within {seconds:.0f} seconds: {read_refit_status(settings)}")
