"""A bench session is found by its code anywhere, keeps every entry, and ends as exactly one ticket."""

import re
from dataclasses import replace
from datetime import date
from math import log
from pathlib import Path

import duckdb
import pytest

from analytics.case import CheckResult
from analytics.errors import InputError
from analytics.posterior import Posterior
from analytics.session import BenchEvent, Session
from analytics.session_closing import Closing
from analytics.vocabulary import Vocabulary
from pipelines.bench_advice import serve_advice
from pipelines.session_scores import read_running_score
from pipelines.sessions import (
    CODE_LENGTH,
    CODE_LETTERS,
    close_session,
    list_open_sessions,
    read_session,
    read_stored_session,
    record_event,
    start_session,
    undo_event,
)
from pipelines.store import reading, run_query, writing
from pipelines.store_checks import check_store

TODAY = date(2024, 4, 2)
FACTS = Session("", shop="Pier", symptom="stuck", opened_on=date(2024, 3, 31), machine="Crane 3", family="crane")
CURED = Closing("fixed", ("plug_loose",), "cured")


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return tmp_path / "store.duckdb"


def start(path: Path, vocabulary: Vocabulary, *events: tuple[str, str], facts: Session = FACTS) -> Session:
    session = start_session(path, facts, vocabulary)
    for kind, about in events:
        session = record_event(path, session, BenchEvent(kind, about, 2.5), vocabulary)
    return session


def stored_tickets(path: Path) -> int:
    with reading(path) as con:
        return int(con.execute("select count(*) from tickets").fetchall()[0][0])


def test_session_comes_up_again_by_its_code_however_it_is_written(path: Path, tiny_vocabulary: Vocabulary) -> None:
    session = start(path, tiny_vocabulary, ("clear", "meter_coil"), ("skipped", "look_at_plug"))
    assert re.fullmatch(f"[{CODE_LETTERS}]{{6}}", session.code)
    code = session.code.lower()
    assert read_session(path, f" {code[:3]}-{code[3:]} ") == session
    with pytest.raises(InputError, match="bench --open"):
        read_session(path, "AAAAAA")


def test_code_letters_cannot_be_misread_or_spell_a_word() -> None:
    assert not set(CODE_LETTERS) & set("0O1IL2Z5S8BUAE")
    assert len(CODE_LETTERS) ** CODE_LENGTH > 100_000_000


def test_undo_takes_back_the_last_standing_entry_and_stays_on_record(path: Path, tiny_vocabulary: Vocabulary) -> None:
    session = start(path, tiny_vocabulary, ("clear", "meter_coil"), ("clear", "look_at_plug"))
    session = undo_event(path, undo_event(path, session))
    session = record_event(path, session, BenchEvent("clear", "look_at_plug"), tiny_vocabulary)
    stored = read_stored_session(path, session.code)
    assert stored.session == session
    assert [entry.kind for entry in stored.entries] == ["clear", "clear", "undo", "undo", "clear"]


def test_entry_made_meanwhile_on_another_screen_is_not_overwritten(path: Path, tiny_vocabulary: Vocabulary) -> None:
    session = start(path, tiny_vocabulary)
    record_event(path, session, BenchEvent("clear", "meter_coil"), tiny_vocabulary)
    with pytest.raises(InputError, match="in the meantime"):
        record_event(path, session, BenchEvent("fault_found", "meter_coil"), tiny_vocabulary)


def test_closing_writes_the_ticket_with_its_checks_and_minutes(path: Path, tiny_vocabulary: Vocabulary) -> None:
    session = start(
        path, tiny_vocabulary, ("clear", "meter_coil"), ("skipped", "clean_switch"), ("cured", "reseat_plug")
    )
    ticket = close_session(path, session, CURED, vocabulary=tiny_vocabulary, today=TODAY)
    assert ticket.checks == (CheckResult("meter_coil", "clear", 2.5), CheckResult("reseat_plug", "cured", 2.5))
    with reading(path) as con:
        row = con.execute("select shop, ticket_number, symptom, result, minutes, source from tickets").fetchall()
        made = con.execute("select check_code, outcome, minutes from ticket_checks order by position").fetchall()
    assert row == [("Pier", f"B-{session.code}", "stuck", "fixed", 7.5, "bench")]
    assert made == [("meter_coil", "clear", 2.5), ("reseat_plug", "cured", 2.5)]
    assert list_open_sessions(path).empty
    assert check_store(path, tiny_vocabulary).empty


def test_closed_session_takes_no_more_entries_and_no_second_ticket(path: Path, tiny_vocabulary: Vocabulary) -> None:
    session = start(path, tiny_vocabulary, ("cured", "reseat_plug"))
    close_session(path, session, CURED, vocabulary=tiny_vocabulary, today=TODAY)
    with pytest.raises(InputError, match="is closed"):
        undo_event(path, session)
    with pytest.raises(InputError, match="is closed"):
        close_session(path, session, CURED, vocabulary=tiny_vocabulary, today=TODAY)
    assert stored_tickets(path) == 1


def test_failure_while_closing_leaves_the_open_session_and_no_ticket(
    path: Path, tiny_vocabulary: Vocabulary, tiny_posterior: Posterior
) -> None:
    session = start(path, tiny_vocabulary, ("cured", "reseat_plug"))
    serve_advice(path, session, posterior=tiny_posterior, vocabulary=tiny_vocabulary)
    # a score that is there already makes the last step of closing fail, after the ticket was written
    key = {"code": session.code, "fit": tiny_posterior.fit_id}
    with writing(path) as con:
        con.execute("insert into served_scores values ($code, 1, $fit, 'plug_loose', 0, 0, 1)", key)
    with pytest.raises(duckdb.ConstraintException):
        close_session(path, session, CURED, vocabulary=tiny_vocabulary, today=TODAY)
    assert stored_tickets(path) == 0
    assert list(list_open_sessions(path)["code"]) == [session.code]
    with writing(path) as con:
        con.execute("delete from served_scores")
    close_session(path, session, CURED, vocabulary=tiny_vocabulary, today=TODAY)
    assert stored_tickets(path) == 1


def test_no_fault_found_is_a_ticket_without_suspect(path: Path, tiny_vocabulary: Vocabulary) -> None:
    session = start(path, tiny_vocabulary, ("clear", "meter_coil"))
    ticket = close_session(path, session, Closing("no_fault_found"), vocabulary=tiny_vocabulary, today=TODAY)
    assert (ticket.result, ticket.suspects) == ("no_fault_found", ())
    assert stored_tickets(path) == 1


def test_machine_known_from_before_fills_in_family_and_year(path: Path, tiny_vocabulary: Vocabulary) -> None:
    known = start(path, tiny_vocabulary, ("cured", "reseat_plug"), facts=replace(FACTS, built_year=1962))
    close_session(path, known, CURED, vocabulary=tiny_vocabulary, today=TODAY)
    again = start(path, tiny_vocabulary, facts=replace(FACTS, family=""))
    assert (again.family, again.built_year) == ("crane", 1962)
    other = start(path, tiny_vocabulary, facts=replace(FACTS, family="", machine="Crane 4"))
    assert (other.family, other.built_year) == ("", None)


def test_session_without_a_shop_is_refused_at_the_start(path: Path, tiny_vocabulary: Vocabulary) -> None:
    with pytest.raises(InputError, match="name of the workshop"):
        start(path, tiny_vocabulary, facts=replace(FACTS, shop="  "))


def test_served_odds_are_scored_when_the_ticket_closes(
    path: Path, tiny_vocabulary: Vocabulary, tiny_posterior: Posterior
) -> None:
    session = start(path, tiny_vocabulary)
    losses, briers = [], []
    for event in (BenchEvent("clear", "meter_coil"), BenchEvent("cured", "reseat_plug")):
        advice = serve_advice(path, session, posterior=tiny_posterior, vocabulary=tiny_vocabulary)
        serve_advice(path, session, posterior=tiny_posterior, vocabulary=tiny_vocabulary)  # shown again, kept once
        odds = {one.suspect: one.probability for one in advice.suspects}
        losses.append(-log(odds["plug_loose"]))
        briers.append(sum((p - (code == "plug_loose")) ** 2 for code, p in odds.items()))
        session = record_event(path, session, event, tiny_vocabulary)
    assert read_running_score(path).empty
    close_session(path, session, CURED, vocabulary=tiny_vocabulary, today=TODAY)
    row = read_running_score(path).iloc[-1]
    assert row["sessions"] == 1
    # logarithmic score and full-scale Brier score by their definitions, mean over the two pieces of advice
    assert row["log_loss"] == pytest.approx(sum(losses) / 2)
    assert row["brier"] == pytest.approx(sum(briers) / 2)
    assert row["first_log_loss"] == pytest.approx(losses[0])
    assert row["blind_log_loss"] == pytest.approx(log(4))


def test_advice_after_the_first_of_two_faults_is_scored_by_the_second(
    path: Path, tiny_vocabulary: Vocabulary, tiny_posterior: Posterior
) -> None:
    session = start(path, tiny_vocabulary)
    serve_advice(path, session, posterior=tiny_posterior, vocabulary=tiny_vocabulary)
    session = record_event(path, session, BenchEvent("cured", "reseat_plug"), tiny_vocabulary)
    session = record_event(path, session, BenchEvent("repaired", "plug_loose"), tiny_vocabulary)
    serve_advice(path, session, posterior=tiny_posterior, vocabulary=tiny_vocabulary)
    session = record_event(path, session, BenchEvent("cured", "clean_switch"), tiny_vocabulary)
    both = Closing("fixed", ("plug_loose", "switch_dirty"), "cured")
    close_session(path, session, both, vocabulary=tiny_vocabulary, today=TODAY)
    with reading(path) as con:
        scored = con.execute("select position, suspect from served_scores order by position").fetchall()
        kept = run_query(con, "served_positions", code=session.code)
    assert scored == [(0, "plug_loose"), (2, "switch_dirty")]
    assert list(kept["position"]) == [0, 2]
