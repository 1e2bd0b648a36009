"""One machine on the bench: say what it does, see the suspects, make the next check, press what it showed."""

from dataclasses import replace
from datetime import UTC, date, datetime

import streamlit as st

from analytics.errors import InputError
from dashboards import bench_state, bench_view, data
from dashboards.bench_state import OpenCase
from dashboards.sentences import in_markdown, refusal, sentence
from pipelines.wording import counted


def show_bench(served: data.Served, *, today: date) -> None:
    """Machine on the left, suspects in the middle, the next check on the right; one below the other where narrow."""
    machine, suspects, check = st.columns([12, 18, 12], gap="medium")
    with machine:
        case = bench_state.open_case(served.vocabulary, served.shops, today=today)
        case = bench_view.show_inputs(case, served.vocabulary, served.shops, today=today)
        bench_state.keep_case(case)
        if case != OpenCase():
            bench_view.show_done(case, served.vocabulary)
    with suspects:
        for problem in bench_state.link_problems():
            st.warning(problem)
        if not case.symptom:
            st.info(sentence("bench.new_here"))
            return
        show_answer(case, served, today=today, check=check)


def show_answer(case: OpenCase, served: data.Served, *, today: date, check: st.delta_generator.DeltaGenerator) -> None:
    """Suspects and what the last check moved here, the next check in its own column."""
    try:
        advice = data.advice_on(case.as_case(today), served)
        bench_view.show_suspects(advice, data.like_tickets(advice.case, served))
        if case.results:
            before = replace(case, results=case.results[:-1])
            bench_view.show_moved(data.advice_on(before.as_case(today), served), advice, served.vocabulary)
        with check:
            bench_view.show_next(advice, served.vocabulary)
    except InputError as problem:
        st.error(refusal(problem))


def show_empty(facts: data.StoreFacts | None) -> None:
    """What to do before there is anything to show."""
    if facts is None:
        st.info(sentence("empty.no_store"))
    elif not facts.ticket_count:
        st.info(sentence("empty.no_tickets"))
    else:
        st.info(in_markdown("empty.no_fit", tickets=counted(facts.ticket_count, "ticket")))
    st.markdown(sentence("empty.demo"))


st.html(bench_view.STYLE)
st.title(sentence("bench.title"), anchor=False)
st.markdown(sentence("bench.lead"))
try:
    found = data.store_facts()
    if found is None or not found.fit_id:
        show_empty(found)
    else:
        show_bench(data.served(found), today=datetime.now(UTC).date())
except InputError as problem:
    st.error(refusal(problem))
