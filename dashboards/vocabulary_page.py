"""The Vocabulary page put together: what is wrong on the disk, one part, and below it what is noted."""

from pathlib import Path

import streamlit as st

from analytics.errors import InputError
from dashboards import vocabulary_copies, vocabulary_draft, vocabulary_link, vocabulary_rules, vocabulary_tables
from dashboards import vocabulary_saving as saving
from dashboards import vocabulary_state as state
from dashboards.sentences import refusal, sentence
from pipelines.settings import Settings
from pipelines.vocabulary_edits import look_at_edit

STYLE = Path(__file__).with_name("vocabulary_touch.css")
PART = "vocabulary_part"
PART_KEYS = {
    "link": "vocabulary.link",
    "tables": "vocabulary.tables",
    "rules": "vocabulary.rules",
    "copies": "vocabulary.copies",
    "draft": "vocabulary.draft",
}


def show_vocabulary(settings: Settings) -> None:
    """The whole page, in whatever state the files are."""
    try:
        opened = state.opened(settings)
    except InputError as problem:
        _show_told()
        st.error("\n\n".join([sentence("vocabulary.broken"), refusal(problem)]))
        vocabulary_copies.show_way_out(settings)
        return
    _show_told()
    wrong = look_at_edit(settings, opened.frames, opened.frames).refusals
    if wrong:
        st.error(saving.say_list(sentence("vocabulary.broken"), wrong))
        st.markdown(sentence("vocabulary.mend"))
        vocabulary_copies.show_way_out(settings)
    part = _choose_part()
    _show_part(part, settings)
    if part in ("link", "tables", "rules"):
        saving.show_noted(settings)


def _choose_part() -> str:
    part = st.segmented_control(
        sentence("vocabulary.part"),
        list(PART_KEYS),
        format_func=lambda name: sentence(PART_KEYS[name]),
        default="link",
        required=True,
        key=PART,
        label_visibility="collapsed",
    )
    return part or "link"


def _show_part(part: str, settings: Settings) -> None:
    match part:
        case "tables":
            vocabulary_tables.show_tables()
        case "rules":
            vocabulary_rules.show_rules()
        case "copies":
            vocabulary_copies.show_copies(settings)
        case "draft":
            vocabulary_draft.show_draft(settings)
        case _:
            vocabulary_link.show_link()


def _show_told() -> None:
    for name, show in ((state.TOLD, st.success), (saving.REFUSED, st.error)):
        told = st.session_state.pop(name, "")
        if told:
            show(told)
