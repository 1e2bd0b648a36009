"""Noted changes: looked at (what is wrong, what changes, what it does to the odds), saved, taken back."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime

import pandas as pd
import streamlit as st

from analytics.errors import InputError
from dashboards import charts_vocabulary, data, model_refit
from dashboards import vocabulary_state as state
from dashboards.model_look import fold, palette
from dashboards.places import say_moment
from dashboards.sentences import in_markdown, plain, refusal, sentence
from pipelines.settings import Settings
from pipelines.vocabulary_copies import moment_of
from pipelines.vocabulary_edits import Look, look_at_edit, restore_copy, save_edit, tidy_all
from pipelines.vocabulary_odds import compare_priors, say_edited_fit, say_odds_changes
from pipelines.vocabulary_words import say_counts
from pipelines.wording import change_phrase, in_ten

# What was saved last in this window (its date), and why a save was refused.
SAVED, REFUSED = "vocabulary_saved", "vocabulary_save_refused"
MOST_LINES = 12


@dataclass(frozen=True, eq=False)
class LookedAt:
    """A look with the tables it was taken at, the odds it moves, and what the present fit makes of it."""

    fingerprint: str
    look: Look
    odds: pd.DataFrame
    fit: tuple[str, ...]


def show_noted(settings: Settings) -> None:
    """What is noted, and the buttons that go with it."""
    st.subheader(sentence("vocabularysave.heading"), anchor=False)
    changes = state.noted_changes()
    if not changes:
        _show_saved(settings)
        return
    st.markdown(in_markdown("vocabularysave.count", changes=say_counts(changes)))
    if state.is_stale(settings):
        st.warning(sentence("vocabularysave.stale"))
    with st.container(horizontal=True):
        is_pressed = st.button(sentence("vocabularysave.look"), type="primary", key="vocabulary_look")
        with st.popover(sentence("vocabularysave.drop"), key="vocabulary_drop"):
            st.button(sentence("vocabularysave.drop_sure"), on_click=state.drop, key="vocabulary_drop_sure")
    looked = _look(settings) if is_pressed else st.session_state.get(state.LOOKED)
    if looked is not None and looked.fingerprint == state.fingerprint(state.tables()):
        _show_look(looked, settings)


def _show_saved(settings: Settings) -> None:
    """That the last press saved, how to take it back, and the button of the next fit."""
    stamp = st.session_state.get(SAVED)
    if not stamp:
        st.markdown(sentence("vocabularysave.nothing"))
        return
    st.success(in_markdown("vocabularysave.saved", moment=say_moment(moment_of(stamp))))
    st.button(sentence("vocabularysave.undo"), on_click=bring_back, args=(settings, stamp), key="vocabulary_undo")
    facts = data.store_facts()
    if facts is not None and facts.ticket_count:
        model_refit.show_refit(settings, data.fits_so_far(settings))


def bring_back(settings: Settings, stamp: str) -> None:
    """Makes a dated copy the vocabulary again; for a button's on_click."""
    try:
        restore_copy(settings, stamp, now=datetime.now(UTC))
    except InputError as problem:
        st.session_state[REFUSED] = refusal(problem)
        return
    state.forget()
    st.session_state.pop(SAVED, None)
    st.session_state[state.TOLD] = in_markdown("vocabulary.restored", moment=say_moment(moment_of(stamp)))


def say_list(heading: str, lines: Sequence[str]) -> str:
    """A heading and sentences as a Markdown list that does not fill the page."""
    told = [f"- {plain(line)}" for line in lines[:MOST_LINES]]
    if len(lines) > MOST_LINES:
        told.append("- " + sentence("vocabulary.and_more", count=len(lines) - MOST_LINES))
    return "\n".join([heading, *told])


def _look(settings: Settings) -> LookedAt:
    before = st.session_state[state.OPENED]
    look = look_at_edit(settings, before.frames, state.tables())
    odds, fit = pd.DataFrame(), tuple[str, ...]()
    if look.may_be_saved:
        after = tidy_all(state.tables())
        odds = pd.DataFrame() if before.problems else compare_priors(before.frames, after)
        fit = say_edited_fit(settings, after)
    looked = LookedAt(state.fingerprint(state.tables()), look, odds, fit)
    st.session_state[state.LOOKED] = looked
    return looked


def _show_look(looked: LookedAt, settings: Settings) -> None:
    look = looked.look
    if look.refusals:
        st.error(say_list(sentence("vocabularysave.refused"), look.refusals))
    st.markdown(say_list(sentence("vocabularysave.changes"), [change.sentence for change in look.changes]))
    if look.cautions:
        st.warning(say_list(sentence("vocabularysave.cautions"), look.cautions))
    if look.refusals:
        return
    _show_odds(looked)
    st.button(sentence("vocabularysave.save"), on_click=_save, args=(settings,), type="primary", key="vocabulary_save")


def _show_odds(looked: LookedAt) -> None:
    told = say_odds_changes(looked.odds) if len(looked.odds) else []
    if told:
        words, picture = st.columns(2, gap="large")
        words.markdown(say_list(sentence("vocabularysave.odds"), told))
        with picture:
            _show_chart(looked.odds)
    else:
        st.markdown(sentence("vocabularysave.no_odds"))
    st.markdown(" ".join([sentence("vocabularysave.learnt"), *map(plain, looked.fit)]))


def _show_chart(odds: pd.DataFrame) -> None:
    """The complaint that moves most, with the suspects that move most in it."""
    first = odds.iloc[0]
    mine = odds[odds["symptom"] == first["symptom"]]
    frame = pd.DataFrame(
        {
            "name": mine["suspect_name"],
            "before": mine["before"],
            "after": mine["after"],
            "short": [in_ten(share) for share in mine["after"]],
            "phrase": [change_phrase(old, new) for old, new in zip(mine["before"], mine["after"], strict=True)],
        }
    )
    change = change_phrase(first["before"], first["after"])
    title = sentence(
        "vocabularysave.chart", suspect=first["suspect_name"], symptom=first["symptom_name"], change=change
    )
    scale = sentence("vocabularysave.scale")
    chart = charts_vocabulary.chart_prior_changes(frame, palette(), title=fold([title]), scale=scale)
    st.altair_chart(chart, theme=None, key="vocabulary_odds_chart")


def _save(settings: Settings) -> None:
    opened = st.session_state[state.OPENED]
    try:
        stamp = save_edit(settings, state.tables(), opened_hash=opened.folder_hash, now=datetime.now(UTC))
    except InputError as problem:
        st.session_state[REFUSED] = refusal(problem)
        return
    state.forget()
    st.session_state[SAVED] = stamp
