"""The club: who contributed, what is rolled up, where this shop differs, what joining did."""

import streamlit as st

from analytics.errors import InputError
from dashboards import bench_view, club_page, data
from dashboards.sentences import refusal, sentence

st.html(bench_view.STYLE)
st.html(club_page.STYLE)
st.title(sentence("club.title"), anchor=False)
st.markdown(sentence("club.lead"))
try:
    club_page.show_club(data.store_facts())
except InputError as problem:
    st.error(refusal(problem))
