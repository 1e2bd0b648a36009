"""Earlier versions of the lists, to bring one back; and the way out when the present ones cannot be read."""

import streamlit as st

from analytics.errors import InputError
from dashboards import vocabulary_saving as saving
from dashboards import vocabulary_state as state
from dashboards.places import say_moment
from dashboards.sentences import sentence
from pipelines.settings import Settings
from pipelines.vocabulary_copies import copy_folder, list_stamps, moment_of, newest_good_copy
from pipelines.vocabulary_frames import open_vocabulary
from pipelines.vocabulary_words import find_changes, say_counts

MOST_COPIES = 20


def show_copies(settings: Settings) -> None:
    """The versions with what makes each different from now."""
    st.subheader(sentence("vocabularycopies.heading"), anchor=False)
    st.caption(sentence("vocabularycopies.lead"))
    stamps = list_stamps(settings.data_folder)[:MOST_COPIES]
    if not stamps:
        st.info(sentence("vocabularycopies.none"))
        return
    names = {stamp: _name_copy(settings, stamp) for stamp in stamps}
    chosen = st.selectbox(
        sentence("vocabularycopies.choose"), stamps, format_func=lambda stamp: names[stamp], key="vocabulary_copy"
    )
    st.button(
        sentence("vocabularycopies.bring"),
        on_click=saving.bring_back,
        args=(settings, chosen),
        key="vocabulary_bring_back",
    )


def show_way_out(settings: Settings) -> None:
    """The newest version that holds, for lists that do not."""
    stamp = newest_good_copy(settings)
    if not stamp:
        st.markdown(sentence("vocabulary.no_good_copy"))
        return
    st.button(
        sentence("vocabulary.bring_back", moment=say_moment(moment_of(stamp))),
        on_click=saving.bring_back,
        args=(settings, stamp),
        type="primary",
        key="vocabulary_bring_back_good",
    )


def _name_copy(settings: Settings, stamp: str) -> str:
    moment = say_moment(moment_of(stamp))
    try:
        there = open_vocabulary(copy_folder(settings, stamp))
    except InputError:
        return sentence("vocabularycopies.option", moment=moment, changes=sentence("vocabularycopies.unreadable"))
    counts = say_counts(find_changes(st.session_state[state.OPENED].frames, there.frames))
    told = sentence("vocabularycopies.changes", changes=counts) if counts else sentence("vocabularycopies.same")
    return sentence("vocabularycopies.option", moment=moment, changes=told)
