"""The Club page put together: the figures, and how to give and take."""

from pathlib import Path

import altair as alt
import pandas as pd
import streamlit as st

from dashboards import charts_shop, first_run
from dashboards.model_look import fold, palette
from dashboards.sentences import sentence
from dashboards.shop_parts import read_part, show_figure
from pipelines import review_club
from pipelines.live import ServingState
from pipelines.review_parts import Part
from pipelines.settings import read_settings

STYLE = Path(__file__).with_name("tickets_touch.css")
ROWS = 12


def show_club(facts: ServingState | None) -> None:
    """All figures, or what is missing for them."""
    if facts is None or not facts.ticket_count:
        first_run.show_steps(facts, read_settings())
        st.caption(sentence("club.pack"))
        return
    for number, part in enumerate(read_part("club")):
        show_figure(part, _chart(part), key=f"club_{number}")
    with st.expander(sentence("club.how")):
        st.markdown(sentence("club.steps"))


def difference_frame(table: pd.DataFrame) -> pd.DataFrame:
    """Rows as `chart_rates` wants them, the surest first."""
    shown = table.head(ROWS)
    several = len(set(table["shop"])) > 1
    names = shown["shop"] + ": " + shown["failure mode"] if several else shown["failure mode"]
    columns = {review_club.FACTOR: "rate", review_club.LOW: "low", review_club.HIGH: "high"}
    frame = shown[list(columns)].rename(columns=columns).assign(name=names)
    return frame.assign(
        short=[f"{rate:.1f}" for rate in frame["rate"]],
        phrase=[
            sentence("club.between", rate=f"{row.rate:.1f}", low=f"{row.low:.1f}", high=f"{row.high:.1f}")
            for row in frame.itertuples()
        ],
    )


def _chart(part: Part) -> alt.LayerChart | None:
    if part.question != review_club.QUESTION_DIFFERS or part.table.empty:
        return None
    sure = int((part.table["more than chance"] == "yes").sum())
    title = sentence("club.differs", count=sure) if sure else sentence("club.alike")
    frame = difference_frame(part.table)
    return charts_shop.chart_rates(frame, palette(), title=fold([title]), scale=sentence("club.scale"))
