"""How one figure of the Shop page is shown: question, finding, chart, the table behind it, notes."""

import altair as alt
import streamlit as st

from dashboards import data
from dashboards.places import counted
from dashboards.sentences import plain, sentence, with_commands
from pipelines.review_parts import Part


def read_part(name: str) -> tuple[Part, ...]:
    """The figures of one part; says that it is counting while it does."""
    with st.spinner(sentence("shop.counting")):
        return data.reviewed(name)


def show_figure(part: Part, chart: alt.LayerChart | None = None, *, key: str) -> None:
    """One figure; `key` names it on the page."""
    st.subheader(plain(part.question), anchor=False)
    st.markdown(with_commands(part.finding))
    if chart is not None:
        with st.container(key=key):
            st.altair_chart(chart, alt=sentence("shop.alternative", finding=part.finding), theme=None)
    if len(part.table):
        with st.expander(sentence("shop.table", rows=counted(len(part.table), "row"))):
            st.dataframe(part.table, hide_index=True)
    for note in part.notes:
        st.caption(with_commands(note))
