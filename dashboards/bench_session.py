"""A machine on the bench: its session, brought up by the code in the address, and what buttons do to it."""

from collections.abc import Callable
from dataclasses import replace
from datetime import date

import streamlit as st

from analytics.errors import InputError
from analytics.session import BenchEvent, Session
from analytics.session_closing import Closing
from dashboards import bench_state
from dashboards.data import Served
from dashboards.sentences import refusal
from pipelines.sessions import close_session, record_event, start_session, undo_event

CODE = "session"
# Keys of the visitor: why the last button did nothing, and what was typed when a machine is taken on.
PROBLEM, SHOP, MACHINE = "bench_problem", "bench_take_shop", "bench_take_machine"


def asked_code() -> str:
    """Code in the address, "" while nothing is on the bench."""
    return str(st.query_params.get(CODE, ""))


def bring_up(code: str) -> None:
    """Shows a session; for a button's on_click."""
    st.query_params.from_dict({CODE: code})


def put_aside() -> None:
    """An empty bench; the session stays open. For a button's on_click."""
    bench_state.start_over()


def take_on(served: Served, *, today: date) -> None:
    """Opens a session for the case that was looked up; for a button's on_click."""
    case = bench_state.entered_now()
    facts = Session(
        code="",
        shop=case.shop or _typed(SHOP),
        symptom=case.symptom,
        opened_on=today,
        machine=_typed(MACHINE),
        family=case.family,
        built_year=case.built_year,
        complaint=case.complaint,
    )
    _try(lambda: bring_up(start_session(served.settings.store_path, facts, served.vocabulary).code))


def record(session: Session, served: Served, event: BenchEvent, minutes_key: str = "") -> None:
    """One more entry, with the minutes of the input that has the key; for a button's on_click."""
    event = replace(event, minutes=st.session_state.get(minutes_key)) if minutes_key else event
    _try(lambda: record_event(served.settings.store_path, session, event, served.vocabulary))


def undo(session: Session, served: Served) -> None:
    """Takes the last entry back; for a button's on_click."""
    _try(lambda: undo_event(served.settings.store_path, session))


def close(session: Session, closing: Closing, *, served: Served, today: date) -> None:
    """Writes the ticket."""
    path, vocabulary = served.settings.store_path, served.vocabulary
    _try(lambda: close_session(path, session, closing, vocabulary=vocabulary, today=today))


def last_problem() -> str:
    """Why the last button did nothing (Markdown), once."""
    return str(st.session_state.pop(PROBLEM, ""))


def _typed(key: str) -> str:
    return str(st.session_state.get(key) or "").strip()


def _try(action: Callable[[], object]) -> None:
    try:
        action()
    except InputError as problem:
        st.session_state[PROBLEM] = refusal(problem)
