"""A machine on the bench: what is known of it, what was done, and the questions that move it on."""

from collections.abc import Sequence
from functools import partial

import streamlit as st

from analytics.advice import Advice
from analytics.session import ABOUT, BenchEvent, Session, allowed_outcomes
from analytics.vocabulary import Check, Vocabulary
from dashboards import bench_answer, bench_session
from dashboards.bench_view import show_check_facts
from dashboards.data import Served
from dashboards.sentences import in_markdown, plain, sentence
from pipelines.advice_in_words import safer_lines, say_last_repair
from pipelines.wording import minutes_phrase

# Kinds of entries that the page asks for apart from a check's outcome, and whether a symptom or a suspect goes with it.
ALSO = ("present", "absent", "comes_and_goes", "repaired")


def show_facts(session: Session, vocabulary: Vocabulary) -> None:
    """The machine and its complaint, and the code that brings it up again."""
    known = [
        vocabulary.families[session.family].name if session.family else sentence("work.no_family"),
        sentence("work.built", year=session.built_year) if session.built_year else sentence("work.no_year"),
        session.machine,
        session.shop,
    ]
    st.subheader(in_markdown("work.heading", symptom=vocabulary.symptoms[session.symptom].name), anchor=False)
    st.markdown(in_markdown("work.facts", facts=", ".join(filter(None, known))))
    if session.complaint:
        st.markdown(in_markdown("work.complaint", words=session.complaint))
    if session.last_repair:
        st.markdown(plain(say_last_repair(session.last_repair, vocabulary)))
    st.caption(in_markdown("work.code", code=session.code))


def show_entries(session: Session, served: Served) -> None:
    """Everything done so far, with a way back."""
    st.subheader(sentence("done.heading"), anchor=False)
    lines = [f"1. {say_entry(event, served.vocabulary)}" for event in session.events]
    st.markdown("\n".join(lines) if lines else sentence("done.nothing"))
    with st.container(horizontal=True):
        if session.events:
            st.button(sentence("done.undo"), on_click=bench_session.undo, args=(session, served), key="bench_undo")
        st.button(sentence("work.aside"), on_click=bench_session.put_aside, key="bench_aside", type="tertiary")


def show_also(session: Session, served: Served) -> None:
    """What else may be said of the machine: another symptom, a fault that comes and goes, a second fault."""
    vocabulary = served.vocabulary
    with st.expander(sentence("also.heading")):
        kind = st.selectbox(
            sentence("also.what"), ALSO, format_func=lambda code: sentence(f"also.{code}"), key="bench_also_kind"
        )
        known = {
            "symptom": [code for code in vocabulary.symptoms if code != session.symptom],
            "suspect": list(vocabulary.suspects_of(session.symptom)),
        }.get(ABOUT[kind], [])
        names, about = _names(vocabulary), ""
        if known:
            about = st.selectbox(sentence("also.which"), known, format_func=names.__getitem__, key=f"bench_also_{kind}")
        st.button(
            sentence("also.note"),
            on_click=bench_session.record,
            args=(session, served, BenchEvent(kind, about)),
            key="bench_also_note",
        )


def show_next(session: Session, advice: Advice, served: Served) -> None:
    """The next check: what to do, what to mind, and a button for each answer."""
    vocabulary, choices = served.vocabulary, [choice.check for choice in advice.answer.choices]
    # a new place in the session is a new question
    key = f"bench_check_{session.code}_{len(session.events)}"
    chosen = st.session_state.get(key) or advice.next_check
    if chosen in choices:
        _show_check(vocabulary.checks[chosen], session, advice, served)
    else:
        st.subheader(sentence("next.heading_none"), anchor=False)
        st.info(sentence("next.hand_on" if choices else "next.hand_on_last"))
    if choices:
        st.selectbox(
            sentence("next.choose"),
            choices,
            index=choices.index(advice.next_check) if advice.next_check in choices else None,
            format_func=lambda code: vocabulary.checks[code].name,
            key=key,
        )
    if advice.next_check:
        st.caption(bench_answer.say_plan(advice))


def say_entry(event: BenchEvent, vocabulary: Vocabulary) -> str:
    """One entry as Markdown."""
    outcome = sentence(f"outcome.{event.kind}")
    if not event.about:
        return f"**{outcome}**"
    line = in_markdown("done.line", check=_names(vocabulary)[event.about], outcome=outcome)
    return line if event.minutes is None else f"{line} ({minutes_phrase(event.minutes)})"


def _names(vocabulary: Vocabulary) -> dict[str, str]:
    """Name of whatever an entry can be about."""
    terms = (vocabulary.checks, vocabulary.symptoms, vocabulary.suspects, vocabulary.access_groups)
    return {code: named.name for table in terms for code, named in table.items()}


def _show_check(check: Check, session: Session, advice: Advice, served: Served) -> None:
    heading = "next.heading" if session.events else "next.heading_first"
    show_check_facts(check, advice, served.vocabulary, heading=heading, notes=_notes(check, advice, served.vocabulary))
    st.markdown(sentence("next.ask_remedy" if check.cures else "next.ask"))
    minutes_key = f"bench_minutes_{session.code}_{len(session.events)}"
    st.number_input(
        sentence("next.spent"),
        min_value=0.0,
        max_value=600.0,
        value=None,
        step=1.0,
        key=minutes_key,
        placeholder=sentence("next.spent_hint"),
    )
    press = partial(_button, session, served, check, minutes_key)
    with st.container(horizontal=True):
        for outcome in allowed_outcomes(check):
            press(outcome, kind="secondary" if outcome == "inconclusive" else "primary")
    with st.container(horizontal=True):
        for outcome in ("skipped", "cannot_do"):
            press(outcome, kind="tertiary")


def _notes(check: Check, advice: Advice, vocabulary: Vocabulary) -> Sequence[str]:
    """Why this check: the safer one where it is as good, or the technician's own choice and what it costs."""
    if check.code == advice.next_check:
        return [in_markdown("next.why", why=line.strip()) for line in safer_lines(advice, vocabulary)]
    lost = bench_answer.choice_of(advice, check.code).minutes_lost
    if not advice.next_check:
        return []
    values = {"check": vocabulary.checks[advice.next_check].name, "minutes": minutes_phrase(lost)}
    return [in_markdown("next.dearer" if lost >= 1 else "next.same", **values)]


def _button(session: Session, served: Served, check: Check, minutes_key: str, outcome: str, *, kind: str) -> None:
    st.button(
        sentence(f"outcome.{outcome}"),
        key=f"bench_answer_{outcome}",
        type=kind,  # type: ignore[arg-type]
        on_click=bench_session.record,
        args=(session, served, BenchEvent(outcome, check.code), minutes_key),
    )
