"""Rules of thumb: said in a form, listed in words, taken out again."""

from collections.abc import Mapping

import pandas as pd
import streamlit as st

from analytics.elicitation import beta_from_rule
from analytics.errors import InputError
from dashboards import vocabulary_state as state
from dashboards.sentences import plain, refusal, sentence
from dashboards.vocabulary_link import LINKS, listed_strengths
from pipelines.prior_sources import RULES_NAME
from pipelines.vocabulary_frames import frame_of
from pipelines.vocabulary_words import CODES_IN, names_of

NUMBER_KEYS: Mapping[str, str] = {
    "about_in_ten": "vocabularyrule.about",
    "low_in_ten": "vocabularyrule.low",
    "high_in_ten": "vocabularyrule.high",
    "worth_tickets": "vocabularyrule.tickets",
}


def show_rules() -> None:
    """The form and the list."""
    form, listed = st.columns(2, gap="large")
    with form:
        st.subheader(sentence("vocabularyrule.heading"), anchor=False)
        st.caption(sentence("vocabularyrule.lead"))
        _show_form()
    with listed:
        st.subheader(sentence("vocabularyrule.listed"), anchor=False)
        _show_list()


def _show_form() -> None:
    frames = state.tables()
    symptoms, suspects = names_of(frames, CODES_IN["symptom"]), names_of(frames, CODES_IN["suspect"])
    symptom = st.selectbox(
        sentence("vocabularyrule.symptom"),
        list(symptoms),
        format_func=symptoms.__getitem__,
        key="vocabulary_rule_symptom",
    )
    suspect = st.selectbox(
        sentence("vocabularyrule.suspect"),
        list(listed_strengths(frames[LINKS], symptom)),
        format_func=lambda code: suspects.get(code, code),
        key=f"vocabulary_rule_suspect_{symptom}",
    )
    with st.form("vocabulary_rule_form", border=False, enter_to_submit=False):
        numbers: dict[str, float | None] = {}
        for at, (column, label) in enumerate(NUMBER_KEYS.items()):
            if at % 2 == 0:
                columns = st.columns(2)
            most = None if column == "worth_tickets" else 10.0
            with columns[at % 2]:
                numbers[column] = st.number_input(
                    sentence(label), 0.0, most, None, 0.5, format="%g", key=f"vocabulary_rule_{column}"
                )
        who = st.text_input(
            sentence("vocabularyrule.who"), placeholder=sentence("vocabularyrule.who_hint"), key="vocabulary_rule_who"
        )
        is_pressed = st.form_submit_button(sentence("vocabularyrule.note"), key="vocabulary_note_rule")
    if is_pressed:
        _note_rule({"symptom": symptom, "suspect": suspect, "who": who.strip()}, numbers)


def _note_rule(said: Mapping[str, str], numbers: Mapping[str, float | None]) -> None:
    try:
        refuse_impossible(numbers)
    except InputError as problem:
        st.error(refusal(problem))
        return
    cells = {**said, **{column: "" if value is None else f"{value:g}" for column, value in numbers.items()}}
    row = frame_of((cells,), RULES_NAME)
    state.note(RULES_NAME, pd.concat([state.tables()[RULES_NAME], row], ignore_index=True))
    st.session_state[state.TOLD] = sentence("vocabularyrule.noted", rule=plain(say_rule(cells)))
    st.rerun()


def refuse_impossible(numbers: Mapping[str, float | None]) -> None:
    """InputError with the nearest possible wish, before anything is noted."""
    about, low, high = (
        None if numbers[column] is None else float(numbers[column] or 0.0) / 10.0
        for column in ("about_in_ten", "low_in_ten", "high_in_ten")
    )
    if about is None:
        raise InputError(sentence("vocabularyrule.not_numbers"))
    beta_from_rule(about, low, high, tickets=numbers["worth_tickets"])


def say_rule(cells: Mapping[str, str]) -> str:
    """A rule as somebody would say it."""
    frames = state.tables()
    told = sentence(
        "vocabularyrule.rule",
        suspect=names_of(frames, CODES_IN["suspect"]).get(cells["suspect"], cells["suspect"]),
        symptom=names_of(frames, CODES_IN["symptom"]).get(cells["symptom"], cells["symptom"]),
        about=cells["about_in_ten"],
    )
    if cells["low_in_ten"] and cells["high_in_ten"]:
        told += sentence("vocabularyrule.between", low=cells["low_in_ten"], high=cells["high_in_ten"])
    if cells["worth_tickets"]:
        unit = "ticket" if cells["worth_tickets"] == "1" else "tickets"
        told += sentence("vocabularyrule.worth", tickets=f"{cells['worth_tickets']} {unit}")
    return told + (sentence("vocabularyrule.said_by", who=cells["who"]) if cells["who"] else "")


def _show_list() -> None:
    rules = state.tables()[RULES_NAME].fillna("")
    if rules.empty:
        st.markdown(sentence("vocabularyrule.none"))
    for at, cells in enumerate(rules.to_dict("records")):
        told = say_rule(cells)
        with st.container(border=True):
            st.markdown(plain(told))
            st.button(
                sentence("vocabularyrule.remove"),
                help=sentence("vocabularyrule.remove_named", rule=told),
                on_click=_take_out,
                args=(at,),
                key=f"vocabulary_remove_rule_{at}",
            )


def _take_out(at: int) -> None:
    rules = state.tables()[RULES_NAME]
    state.note(RULES_NAME, rules.drop(index=rules.index[at]))
