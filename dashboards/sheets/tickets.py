"""Closed repairs: write one, read in a file, correct what waits, look something up."""

from datetime import UTC, date, datetime
from pathlib import Path

import streamlit as st

from analytics.errors import InputError
from dashboards import bench_view, data, tickets_entry, tickets_find, tickets_import, tickets_quarantine
from dashboards.first_run import TICKETS_PART
from dashboards.places import say_number
from dashboards.sentences import refusal, sentence
from pipelines.catalogue import read_vocabulary
from pipelines.live import ServingState
from pipelines.settings import Settings, read_settings
from pipelines.ticket_search import count_waiting_rows

STYLE = Path(__file__).parents[1] / "tickets_touch.css"
PART_KEYS = {"find": "tickets.find", "entry": "tickets.entry", "bring": "tickets.bring", "correct": "tickets.correct"}


def choose_part(facts: ServingState | None, settings: Settings) -> str:
    """The part of the page that is asked for."""
    waiting = count_waiting_rows(settings.store_path) if facts else 0
    correct = sentence("tickets.correct_count", count=say_number(waiting))

    def name_part(name: str) -> str:
        return correct if waiting and name == "correct" else sentence(PART_KEYS[name])

    part = st.segmented_control(
        sentence("tickets.part"),
        list(PART_KEYS),
        format_func=name_part,
        default="find",
        required=True,
        key=TICKETS_PART,
        label_visibility="collapsed",
    )
    return part or "find"


def go_to(part: str) -> None:
    """Opens another part; for a button's on_click."""
    st.session_state[TICKETS_PART] = part


def show_empty() -> None:
    """What to do before there is a ticket."""
    st.info(sentence("tickets.none_yet"))
    with st.container(horizontal=True):
        st.button(sentence("tickets.bring_first"), on_click=go_to, args=("bring",), type="primary", key="tickets_bring")
        st.button(sentence("tickets.entry_first"), on_click=go_to, args=("entry",), key="tickets_entry")


def show_part(part: str, facts: ServingState | None, settings: Settings, *, today: date) -> None:
    """One part of the page."""
    vocabulary = read_vocabulary(settings.vocabulary_folder)
    match part:
        case "entry":
            tickets_entry.show_entry(settings.store_path, vocabulary, today=today)
        case "bring":
            tickets_import.show_import(settings, vocabulary, today=today, go_correct=lambda: go_to("correct"))
        case "correct" if facts:
            tickets_quarantine.show_quarantine(settings, vocabulary, today=today)
        case "find" if facts and facts.ticket_count:
            tickets_find.show_search(settings.store_path, vocabulary)
        case _:
            show_empty()


st.html(bench_view.STYLE)
st.html(STYLE)
st.title(sentence("tickets.title"), anchor=False)
st.markdown(sentence("tickets.lead"))
try:
    found, place = data.store_facts(), read_settings()
    show_part(choose_part(found, place), found, place, today=datetime.now(UTC).date())
except InputError as problem:
    st.error(refusal(problem))
