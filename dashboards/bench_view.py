"""The pieces of the Bench page: inputs, checks made, suspects, what moved, the next check."""

from dataclasses import replace
from datetime import date
from pathlib import Path

import streamlit as st

from analytics.advice import Advice
from analytics.case import CheckResult
from analytics.vocabulary import Check, Vocabulary
from dashboards import bench_answer, bench_state, charts
from dashboards.bench_state import OpenCase
from dashboards.sentences import in_markdown, plain, sentence
from pipelines.history import TicketCounts
from pipelines.wording import minutes_phrase

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
        ["", *shops],
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


def show_done(case: OpenCase, vocabulary: Vocabulary) -> None:
    """Checks made so far, with a way back."""
    if case.results:
        st.subheader(sentence("done.heading"), anchor=False)
        st.markdown("\n".join(f"1. {_say_result(result, vocabulary)}" for result in case.results))
    with st.container(horizontal=True):
        if case.results:
            st.button(sentence("done.undo"), on_click=bench_state.undo_result, key="bench_undo")
        st.button(sentence("done.start_over"), on_click=bench_state.start_over, key="bench_start_over", type="tertiary")


def show_suspects(advice: Advice, counts: TicketCounts) -> None:
    """Suspects in a picture and in words, and what stands behind them."""
    frame = bench_answer.suspect_frame(advice)
    title = bench_answer.finding(frame["name"].iloc[0], frame["short"].iloc[0])
    chart = charts.chart_suspects(frame, _palette(), title=title, scale=sentence("suspects.scale"))
    st.altair_chart(chart, alt=sentence("suspects.alternative", first=" ".join(title)), theme=None)
    st.caption(" ".join([bench_answer.say_rest(advice), sentence("suspects.how_to_read")]))
    st.markdown(bench_answer.say_history(advice.case, counts))
    with st.expander(sentence("suspects.in_words")):
        st.markdown("\n".join(f"1. {line}" for line in bench_answer.say_all_odds(advice)))


def show_moved(before: Advice, after: Advice, vocabulary: Vocabulary) -> None:
    """What the last check did to the odds."""
    last = after.case.results[-1]
    outcome = sentence(f"outcome.{last.outcome}")
    st.subheader(sentence("moved.heading"), anchor=False)
    st.caption(in_markdown("moved.after", check=vocabulary.checks[last.check].name, outcome=outcome))
    frame = bench_answer.moved_frame(before, after)
    if frame.empty:
        st.markdown(sentence("moved.nothing"))
        return
    title = bench_answer.finding(frame["name"].iloc[0], frame["phrase"].iloc[0])
    chart = charts.chart_moved(frame, _palette(), title=title, scale=sentence("suspects.scale"))
    st.altair_chart(chart, alt=sentence("moved.alternative", first=" ".join(title)), theme=None)


def show_next(advice: Advice, vocabulary: Vocabulary) -> None:
    """The next check: what to do, what to mind, and a button for each answer."""
    last = advice.case.results[-1:]
    choices = [choice.check for choice in advice.answer.choices]
    if last and last[0].outcome == "cured":
        st.success(in_markdown("next.cured", check=vocabulary.checks[last[0].check].name))
        return
    # a new place in the case is a new question
    key = f"bench_check_{advice.case.symptom}_{len(advice.case.results)}"
    chosen = st.session_state.get(key) or advice.answer.check
    if chosen in choices:
        _show_check(vocabulary.checks[chosen], advice, vocabulary)
    else:
        st.subheader(sentence("next.heading_none"), anchor=False)
        st.info(sentence("next.hand_on" if choices else "next.hand_on_last"))
    if choices:
        st.selectbox(
            sentence("next.choose"),
            choices,
            index=0 if advice.answer.check else None,
            format_func=lambda code: vocabulary.checks[code].name,
            key=key,
        )
    if advice.answer.check:
        st.caption(bench_answer.say_plan(advice))


def _show_check(check: Check, advice: Advice, vocabulary: Vocabulary) -> None:
    choice, recommended = bench_answer.choice_of(advice, check.code), advice.answer.check
    heading = "next.heading" if advice.case.results else "next.heading_first"
    st.subheader(in_markdown(heading, check=check.name), anchor=False)
    if check.code != recommended and recommended:
        values = {"check": vocabulary.checks[recommended].name, "minutes": minutes_phrase(choice.minutes_lost)}
        st.caption(in_markdown("next.dearer" if choice.minutes_lost >= 1 else "next.same", **values))
    st.markdown(" ".join(bench_answer.say_facts(check, choice, vocabulary)))
    if check.instruction:
        st.markdown(plain(check.instruction))
    _show_cautions(check, vocabulary)
    st.markdown(sentence("next.ask_remedy" if check.cures else "next.ask"))
    with st.container(horizontal=True):
        for outcome in bench_state.outcomes_of(check):
            st.button(
                sentence(f"outcome.{outcome}"),
                key=f"bench_answer_{outcome}",
                type="secondary" if outcome == "inconclusive" else "primary",
                on_click=bench_state.add_result,
                args=(CheckResult(check.code, outcome),),
            )


def _show_cautions(check: Check, vocabulary: Vocabulary) -> None:
    notes = [(vocabulary.hazards[hazard].name, vocabulary.hazards[hazard].note) for hazard in check.hazards]
    cautions = [in_markdown("next.caution", hazard=name, note=note) for name, note in notes]
    with st.container(key="bench_cautions"):
        st.warning("\n\n".join([*cautions, sentence("next.safety")]))


def _say_result(result: CheckResult, vocabulary: Vocabulary) -> str:
    outcome = sentence(f"outcome.{result.outcome}")
    return in_markdown("done.line", check=vocabulary.checks[result.check].name, outcome=outcome)


def _palette() -> charts.Palette:
    return charts.DARK if st.context.theme.type == "dark" else charts.LIGHT
