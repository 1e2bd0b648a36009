"""One machine: say what it does, see the suspects, take it on the bench, press what each check showed."""

from datetime import UTC, date, datetime

import streamlit as st

from analytics.errors import InputError
from dashboards import bench_page, bench_view, data
from dashboards.sentences import in_markdown, refusal, sentence
from pipelines.wording import counted


def show_empty(facts: data.StoreFacts | None) -> None:
    """What to do before there is anything to show."""
    if facts is None:
        st.info(sentence("empty.no_store"))
    elif not facts.ticket_count:
        st.info(sentence("empty.no_tickets"))
    else:
        st.info(in_markdown("empty.no_fit", tickets=counted(facts.ticket_count, "ticket")))
    st.markdown(sentence("empty.demo"))


def show_page(today: date) -> None:
    """The bench, or what is missing for it."""
    found = data.store_facts()
    if found is None or not found.fit_id:
        show_empty(found)
    else:
        bench_page.show_bench(data.served(found), today=today)


st.html(bench_view.STYLE)
st.title(sentence("bench.title"), anchor=False)
st.markdown(sentence("bench.lead"))
try:
    show_page(datetime.now(UTC).date())
except InputError as problem:
    st.error(refusal(problem))
