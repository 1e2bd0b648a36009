"""One machine: say what it does, see the suspects, take it on the bench, press what each check showed."""

from datetime import UTC, date, datetime

import streamlit as st

from analytics.errors import InputError
from dashboards import bench_page, bench_view, data, first_run
from dashboards.sentences import refusal, sentence
from pipelines.settings import read_settings


def show_page(today: date) -> None:
    """The bench, or what is missing for it."""
    found, settings = data.store_facts(), read_settings()
    if found is None or not found.fit_id:
        first_run.show_steps(found, settings)
    else:
        first_run.show_invented(settings)
        bench_page.show_bench(data.served(found), today=today)


st.html(bench_view.STYLE)
st.title(sentence("bench.title"), anchor=False)
st.markdown(sentence("bench.lead"))
try:
    show_page(datetime.now(UTC).date())
except InputError as problem:
    st.error(refusal(problem))
