"""The Bench page put together: a case that is looked up, or a machine on the bench."""

from dataclasses import replace
from datetime import date

import streamlit as st

from analytics.advice import Advice
from analytics.errors import InputError
from analytics.session import Session
from dashboards import bench_closing, bench_habit, bench_session, bench_state, bench_view, bench_work, data
from dashboards.bench_state import OpenCase
from dashboards.places import say_date
from dashboards.sentences import in_markdown, refusal, sentence


def show_bench(served: data.Served, *, today: date) -> None:
    """Machine on the left, suspects in the middle, the next check on the right; one below the other where narrow."""
    code = bench_session.asked_code()
    # on a telephone a machine on the bench has its next check before the suspects: see workshop.css
    with st.container(key="bench_session" if code else "bench_case"):
        columns = st.columns([12, 18, 12], gap="medium")
    if code:
        _show_session(code, served, columns, today=today)
    else:
        _show_case(served, columns, today=today)


def _show_case(served: data.Served, columns: list[st.delta_generator.DeltaGenerator], *, today: date) -> None:
    machine, suspects, check = columns
    with machine:
        case = bench_state.open_case(served.vocabulary, served.shops, today=today)
        case = bench_view.show_inputs(case, served.vocabulary, served.shops, today=today)
        bench_state.keep_case(case)
        if case != OpenCase():
            st.button(
                sentence("done.start_over"), on_click=bench_state.start_over, key="bench_start_over", type="tertiary"
            )
    with suspects:
        for problem in [*bench_state.link_problems(), *filter(None, [bench_session.last_problem()])]:
            st.warning(problem)
        if not case.symptom:
            st.info(sentence("bench.new_here"))
            _show_waiting(served)
            return
        try:
            advice = data.advice_on(case.as_case(today), served)
        except InputError as problem:
            st.error(refusal(problem))
            return
        bench_view.show_suspects(advice, data.like_tickets(advice.case, served))
        bench_view.show_reasons(advice, served.posterior, served.vocabulary)
        bench_habit.show_habit(advice, served)
    with check:
        bench_view.show_first(advice, served.vocabulary)
        _show_take_on(case, served, today=today)


def _show_take_on(case: OpenCase, served: data.Served, *, today: date) -> None:
    """Opens the session, whose ticket needs a workshop."""
    with st.container(border=True):
        st.markdown(sentence("take.lead"))
        if not case.shop:
            st.text_input(sentence("take.shop"), key=bench_session.SHOP, max_chars=80)
        hint = sentence("take.machine_hint")
        st.text_input(sentence("take.machine"), key=bench_session.MACHINE, max_chars=80, placeholder=hint)
        st.button(
            sentence("take.on"),
            type="primary",
            on_click=bench_session.take_on,
            args=(served,),
            kwargs={"today": today},
            key="bench_take_on",
        )


def _show_waiting(served: data.Served) -> None:
    """Sessions that wait to be closed, a button each."""
    waiting = data.open_sessions(served)
    if waiting.empty:
        return
    st.subheader(sentence("unfinished.heading"), anchor=False)
    for row in waiting.itertuples(index=False):
        name = (
            served.vocabulary.symptoms[row.symptom].name if row.symptom in served.vocabulary.symptoms else row.symptom
        )
        st.button(
            sentence("unfinished.line", symptom=name, machine=row.machine or row.shop, opened=say_date(row.opened_on)),
            on_click=bench_session.bring_up,
            args=(row.code,),
            key=f"bench_waiting_{row.code}",
        )


def _show_session(
    code: str, served: data.Served, columns: list[st.delta_generator.DeltaGenerator], *, today: date
) -> None:
    machine, suspects, check = columns
    stored = data.stored_session(code, served)
    session = stored.session
    with machine:
        bench_work.show_facts(session, served.vocabulary)
        if stored.ticket_id:
            bench_closing.show_closed(session.code, f"B-{session.code}")
        else:
            bench_work.show_entries(session, served)
            bench_work.show_also(session, served)
    with suspects:
        for problem in filter(None, [bench_session.last_problem()]):
            st.warning(problem)
        advice = _show_odds(session, served)
    if stored.ticket_id:
        return
    with check:
        _show_doing(session, advice, served, today=today)
    if advice is not None:
        # last of all: nobody waits for it
        data.keep_served(advice, stored, served)


def _show_odds(session: Session, served: data.Served) -> Advice | None:
    """Suspects now, what the last entry moved, and why; None when the entries contradict each other."""
    try:
        advice = data.session_advice(session, served)
    except InputError as problem:
        st.error(refusal(problem))
        return None
    bench_view.show_suspects(advice, data.like_tickets(advice.case, served))
    if session.events:
        before = data.session_advice(replace(session, events=session.events[:-1]), served)
        bench_view.show_moved(before, advice, entry=bench_work.say_entry(session.events[-1], served.vocabulary))
    bench_view.show_reasons(advice, served.posterior, served.vocabulary)
    if not session.is_working:
        bench_habit.show_habit(advice, served)
    return advice


def _show_doing(session: Session, advice: Advice | None, served: data.Served, *, today: date) -> None:
    """The next check while the complaint is there, the closing form always: open once the machine works."""
    if session.is_working:
        st.success(in_markdown("next.cured"))
    elif advice is not None:
        bench_work.show_next(session, advice, served)
    with st.expander(sentence("closing.heading"), expanded=session.is_working):
        bench_closing.show_closing(session, advice, served, today=today)
    if advice is not None:
        bench_closing.show_card(session, advice, served.vocabulary)
