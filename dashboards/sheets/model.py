"""What was learnt from the tickets, how far it can be believed, and how to learn again."""

import streamlit as st

from analytics.errors import InputError
from dashboards import bench_view, data, model_page
from dashboards.sentences import refusal, sentence

st.html(bench_view.STYLE)
st.html(model_page.STYLE)
st.title(sentence("model.title"), anchor=False)
st.markdown(sentence("model.lead"))
try:
    model_page.show_model(data.store_facts())
except InputError as problem:
    st.error(refusal(problem))
