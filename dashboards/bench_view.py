"""The pieces of the Bench page that need no session: inputs, suspects, what moved, a check and its cautions."""

from collections.abc import Sequence
from dataclasses import replace
from datetime import date
from pathlib import Path

import streamlit as st

from analytics.advice import Advice
from analytics.posterior import Posterior
from analytics.reasons import explain
from analytics.vocabulary import Check, Vocabulary
from dashboards import bench_answer, bench_state, charts
from dashboards.bench_state import OpenCase
from dashboards.model_look import palette
from dashboards.sentences import in_markdown, plain, sentence
from pipelines.advice_in_words import safer_lines
from pipelines.history import TicketCounts
from pipelines.reasons_in_words import say_reasons

STYLE = Path(__file__).with_name("workshop.css")


def show_inputs(case: OpenCase, vocabulary: Vocabulary, shops: tuple[str, ...], *, today: date) -> OpenCase:
    """The machine and its complaint; the case as entered now."""
    st.subheader(sentence("machine.heading"), anchor=False)
    symptom = st.selectbox(
        sentence("machine.symptom"),
        list(vocabulary.symptoms),
        index=None,
        format_func=lambda code: vocabulary.symptoms[code].name,
        key=bench_state.widget_key("symptom", case.symptom or None),
        placeholder=sentence("machine.symptom_hint"),
    )
    family = st.selectbox(
        sentence("machine.family"),
        ["", *vocabulary.families],
        format_func=lambda code: vocabulary.families[code].name if code else sentence("machine.family_unknown"),
        key=bench_state.widget_key("family", case.family),
    )
    built_year = st.number_input(
        sentence("machine.year"),
        min_value=bench_state.FIRST_YEAR,
        max_value=today.year,
        value=None,
        step=1,
        key=bench_state.widget_key("built_year", case.built_year),
        placeholder=sentence("machine.year_hint"),
    )
    shop = st.selectbox(
        sentence("machine.shop"),
        ["", *shops, *([case.shop] if case.shop and case.shop not in shops else [])],
        format_func=lambda name: name or sentence("machine.shop_unknown"),
        key=bench_state.widget_key("shop", case.shop),
    )
    complaint = st.text_area(
        sentence("machine.words"),
        key=bench_state.widget_key("complaint", case.complaint),
        placeholder=sentence("machine.words_hint"),
        help=sentence("machine.words_help"),
        height=80,
        max_chars=500,
    )
    return replace(
        case, symptom=symptom or "", family=family, built_year=built_year, shop=shop, complaint=complaint.strip()
    )


def show_suspects(advice: Advice, counts: TicketCounts) -> None:
    """Suspects in a picture and in words, and what stands behind them."""
    frame = bench_answer.suspect_frame(advice)
    title = bench_answer.finding(frame["name"].iloc[0], frame["short"].iloc[0])
    chart = charts.chart_suspects(frame, palette(), title=title, scale=sentence("suspects.scale"))
    st.altair_chart(chart, alt=sentence("suspects.alternative", first=" ".join(title)), theme=None)
    st.caption(" ".join([bench_answer.say_rest(advice), sentence("suspects.how_to_read")]))
    st.markdown(bench_answer.say_history(advice.case, counts))
    with st.expander(sentence("suspects.in_words")):
        st.markdown("\n".join(f"1. {line}" for line in bench_answer.say_all_odds(advice)))


def show_moved(before: Advice, after: Advice, *, entry: str) -> None:
    """What the last entry, told in Markdown, did to the odds."""
    st.subheader(sentence("moved.heading"), anchor=False)
    st.caption(sentence("moved.after", entry=entry))
    frame = bench_answer.moved_frame(before, after)
    if frame.empty:
        st.markdown(sentence("moved.nothing"))
        return
    title = bench_answer.finding(frame["name"].iloc[0], frame["phrase"].iloc[0])
    chart = charts.chart_moved(frame, palette(), title=title, scale=sentence("suspects.scale"))
    st.altair_chart(chart, alt=sentence("moved.alternative", first=" ".join(title)), theme=None)


def show_first(advice: Advice, vocabulary: Vocabulary) -> None:
    """The check to begin with, before the machine is taken on."""
    if not advice.next_check:
        st.subheader(sentence("next.heading_none"), anchor=False)
        st.info(sentence("next.hand_on"))
        return
    notes = [in_markdown("next.why", why=line.strip()) for line in safer_lines(advice, vocabulary)]
    show_check_facts(
        vocabulary.checks[advice.next_check], advice, vocabulary, heading="next.heading_first", notes=notes
    )
    st.caption(bench_answer.say_plan(advice))


def show_check_facts(
    check: Check, advice: Advice, vocabulary: Vocabulary, *, heading: str, notes: Sequence[str]
) -> None:
    """One check: its name, why this one, what it takes, how it is done, what to mind."""
    st.subheader(in_markdown(heading, check=check.name), anchor=False)
    for note in notes:
        st.caption(note)
    st.markdown(" ".join(bench_answer.say_facts(check, bench_answer.choice_of(advice, check.code), vocabulary)))
    if check.instruction:
        st.markdown(plain(check.instruction))
    _show_cautions(check, vocabulary)


def show_reasons(advice: Advice, posterior: Posterior, vocabulary: Vocabulary) -> None:
    """Why a suspect stands where it stands, one step after the other."""
    names = {odds.suspect: odds.name for odds in advice.suspects}
    with st.expander(sentence("reasons.heading")):
        suspect = st.selectbox(
            sentence("reasons.which"), list(names), format_func=names.__getitem__, key="bench_reasons"
        )
        told = explain(posterior, advice.case, vocabulary, suspect)
        lines = say_reasons(told, vocabulary, symptom=advice.case.symptom, suspect=suspect)
        st.markdown("\n".join(f"1. {plain(line)}" for line in lines))


def _show_cautions(check: Check, vocabulary: Vocabulary) -> None:
    notes = [(vocabulary.hazards[hazard].name, vocabulary.hazards[hazard].note) for hazard in check.hazards]
    cautions = [in_markdown("next.caution", hazard=name, note=note) for name, note in notes]
    with st.container(key="bench_cautions"):
        st.warning("\n\n".join([*cautions, sentence("next.safety")]))
