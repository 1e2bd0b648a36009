"""The way to the first answer: tickets, a fit, a complaint. Shown on the Bench while one of them is missing."""

from pathlib import Path

import streamlit as st

from analytics.errors import InputError
from dashboards import data, model_refit
from dashboards.places import counted
from dashboards.sentences import in_markdown, refusal, sentence
from pipelines.invented import fill_with_invented, has_invented, set_invented_aside
from pipelines.live import ServingState
from pipelines.refit_start import start_background_refit
from pipelines.settings import Settings

TICKETS_PAGE = Path(__file__).with_name("sheets") / "tickets.py"
TICKETS_PART = "tickets_part"
# Why the last button did nothing, and where the invented tickets went.
PROBLEM, WENT = "first_run_problem", "first_run_went"


def show_steps(facts: ServingState | None, settings: Settings) -> None:
    """Three steps, the first open one with its buttons."""
    if went := st.session_state.pop(WENT, ""):
        st.success(in_markdown("firstrun.went", folder=went))
    if problem := st.session_state.pop(PROBLEM, ""):
        st.error(problem)
    st.subheader(sentence("firstrun.heading"), anchor=False)
    count = facts.ticket_count if facts else 0
    with st.container(border=True):
        if count:
            st.markdown(in_markdown("firstrun.tickets_done", tickets=counted(count, "ticket")))
        else:
            _show_tickets(settings)
    with st.container(border=True):
        if count:
            st.markdown(sentence("firstrun.learn_now"))
            model_refit.show_refit(settings, data.fits_so_far(settings))
        else:
            st.markdown(sentence("firstrun.learn"))
    with st.container(border=True):
        st.markdown(sentence("firstrun.ask"))


def show_invented(settings: Settings) -> None:
    """While the store holds invented tickets: that they are, and the way out."""
    if not has_invented(settings):
        return
    if problem := st.session_state.pop(PROBLEM, ""):
        st.error(problem)
    with st.container(border=True, horizontal=True, vertical_alignment="center"):
        st.markdown(sentence("firstrun.invented"))
        st.button(sentence("firstrun.leave"), on_click=leave, args=(settings,), key="first_run_leave")


def fill(settings: Settings) -> None:
    """Invented tickets into the empty store, and a fit of them; for a button's on_click."""
    try:
        fill_with_invented(settings)
        start_background_refit(settings)
    except InputError as problem:
        st.session_state[PROBLEM] = refusal(problem)


def leave(settings: Settings) -> None:
    """The invented tickets out of the store again; for a button's on_click."""
    try:
        st.session_state[WENT] = str(set_invented_aside(settings))
        st.query_params.clear()
    except InputError as problem:
        st.session_state[PROBLEM] = refusal(problem)


def _show_tickets(settings: Settings) -> None:
    st.markdown(sentence("firstrun.tickets"))
    with st.container(horizontal=True):
        if st.button(sentence("firstrun.own"), type="primary", key="first_run_own"):
            st.session_state[TICKETS_PART] = "bring"
            st.switch_page(TICKETS_PAGE)
        st.button(sentence("firstrun.look"), on_click=fill, args=(settings,), key="first_run_fill")
    st.caption(sentence("firstrun.look_hint"))
