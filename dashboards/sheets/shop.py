"""What the tickets say about the workshop itself: checks, comebacks, what comes in, what to keep on the shelf."""

import streamlit as st

from analytics.errors import InputError
from dashboards import bench_view, data, shop_page
from dashboards.sentences import refusal, sentence

st.html(bench_view.STYLE)
st.html(shop_page.STYLE)
st.title(sentence("shop.title"), anchor=False)
st.markdown(sentence("shop.lead"))
try:
    shop_page.show_shop(data.store_facts())
except InputError as problem:
    st.error(refusal(problem))
