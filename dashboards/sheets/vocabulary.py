"""The lists the odds start from: look, edit, see what an edit changes, save, take back."""

import streamlit as st

from analytics.errors import InputError
from dashboards import bench_view, vocabulary_page
from dashboards.sentences import refusal, sentence
from pipelines.settings import read_settings

st.html(bench_view.STYLE)
st.html(vocabulary_page.STYLE)
st.title(sentence("vocabulary.title"), anchor=False)
st.markdown(sentence("vocabulary.lead"))
try:
    vocabulary_page.show_vocabulary(read_settings())
except InputError as problem:
    st.error(refusal(problem))
