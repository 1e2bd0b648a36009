"""A machine on the bench: its session, brought up by the code in the address, and what buttons do to it."""

from collections.abc import Callable
from datetime import date

import streamlit as st

from analytics.errors import InputError
from analytics.session import BenchEvent, Session
from analytics.session_closing import Closing
from dashboards import bench_state
from dashboards.bench_state import OpenCase
from dashboards.data import Served
from dashboards.sentences import refusal
from pipelines.sessions import close_session, record_event, start_session, undo_event

CODE = "session"
# Key of the visitor: why the last button did nothing.
PROBLEM = "bench_problem"


def asked_code() -> str:
    """Code in the address, "" while nothing is on the bench."""
    return str(st.query_params.get(CODE, ""))


def bring_up(code: str) -> None:
    """Shows a session; for a button's on_click."""
    st.query_params.from_dict({CODE: code})


def put_aside() -> None:
    """An empty bench; the session stays open. For a button's on_click."""
    bench_state.start_over()


def take_on(case: OpenCase, served: Served, *, shop: str, machine: str, today: date) -> None:
    """Opens a session for the case that was looked up; for a form's on_click."""
    facts = Session(
        code="",
        shop=shop,
        symptom=case.symptom,
        opened_on=today,
        machine=machine,
        family=case.family,
        built_year=case.built_year,
        complaint=case.complaint,
    )
    _try(lambda: bring_up(start_session(served.settings.store_path, facts, served.vocabulary).code))


def record(session: Session, served: Served, event: BenchEvent) -> None:
    """One more entry; for a button's on_click."""
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


def _try(action: Callable[[], object]) -> None:
    try:
        action()
    except InputError as problem:
        st.session_state[PROBLEM] = refusal(problem)
