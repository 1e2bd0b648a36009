"""The shelf: how often parts are used, the list of stock and prices to edit, what to order, swap units."""

from typing import Any

import altair as alt
import pandas as pd
import streamlit as st

from analytics.errors import InputError
from dashboards import charts_shelf, data
from dashboards.places import counted
from dashboards.sentences import in_markdown, refusal, sentence
from dashboards.shop_parts import read_part, show_figure
from pipelines import review_shelf, shelf_orders
from pipelines.settings import Settings, read_settings
from pipelines.shelf_files import COLUMNS, PART_COLUMNS, parts_as_csv, parts_path, read_parts, save_parts

SERVICES = (0.8, 0.9, 0.95, 0.99)
EDITOR, SAVED, SERVICE = "shop_shelf_parts", "shop_shelf_saved", "shop_shelf_service"
KEYS = {
    "part": "shop_shelf.part",
    "on_shelf": "shop_shelf.on_shelf",
    "on_order": "shop_shelf.on_order",
    "price": "shop_shelf.price",
    "lead_days": "shop_shelf.lead_days",
    "minimum_order": "shop_shelf.minimum_order",
}
BOUNDS = (shelf_orders.LOW, shelf_orders.HIGH)


def show_shelf() -> None:
    """All figures about parts."""
    settings = read_settings()
    figures = {part.question: part for part in read_part("shelf")}
    uses = figures[review_shelf.QUESTION_USES]
    show_figure(uses, draw_uses(uses.table), key="shop_shelf_uses")
    show_list(settings)
    swaps = figures[review_shelf.QUESTION_SWAPS]
    show_figure(swaps, draw_swaps(swaps.table), key="shop_shelf_swaps")


def show_list(settings: Settings) -> None:
    """The list of parts to edit and the order list that follows from it."""
    vocabulary, _ = data.first_belief(settings)
    st.subheader(sentence("shop_shelf.list"), anchor=False)
    st.markdown(sentence("shop_shelf.how"))
    try:
        parts = read_parts(settings, vocabulary)
    except InputError as problem:
        st.error(refusal(problem))
        st.caption(in_markdown("shop_shelf.broken", file=parts_path(settings).name))
        return
    edited = st.data_editor(
        parts,
        column_config={name: _column(name) for name in PART_COLUMNS},
        disabled=["part"],
        hide_index=True,
        key=EDITOR,
    )
    save, download = st.columns(2)
    if save.button(sentence("shop_shelf.save"), type="primary", key="shop_shelf_save"):
        try:
            st.session_state[SAVED] = save_parts(settings, edited, vocabulary)
        except InputError as problem:
            st.error(refusal(problem))
            return
        st.rerun()
    download.download_button(
        sentence("shop_shelf.download_parts"), parts_as_csv(edited), file_name="parts.csv", mime="text/csv"
    )
    if SAVED in st.session_state:
        st.success(in_markdown("shop_shelf.saved", parts=counted(st.session_state.pop(SAVED), "part")))
    show_orders(settings, parts)


def show_orders(settings: Settings, parts: pd.DataFrame) -> None:
    """What to order by the saved list, and the parts that lack a figure."""
    service = st.select_slider(
        sentence("shop_shelf.service"),
        SERVICES,
        value=shelf_orders.SERVICE,
        format_func=lambda level: sentence("shop_shelf.times", times=f"{100 * level:.0f}"),
        key=SERVICE,
    )
    demand = data.part_demand(settings)
    made = review_shelf.order_parts(demand, parts, shelf_orders.Aim(service=service))
    for number, part in enumerate(made):
        show_figure(part, key=f"shop_shelf_order_{number}")
        if part.question == review_shelf.QUESTION_ORDER and len(part.table):
            show_wanted(part.table)


def show_wanted(orders: pd.DataFrame) -> None:
    """The parts to order now, and the whole list as a file."""
    wanted = orders.loc[orders[shelf_orders.TO_ORDER] > 0, list(shelf_orders.ORDERED)]
    if len(wanted):
        st.dataframe(wanted, hide_index=True, key="shop_shelf_wanted")
    st.download_button(
        sentence("shop_shelf.download"),
        shelf_orders.table_as_csv(orders),
        file_name="order_list.csv",
        mime="text/csv",
    )


def draw_uses(table: pd.DataFrame) -> alt.LayerChart | None:
    """Uses a year of the parts used most."""
    frame = charts_shelf.interval_frame(table, shelf_orders.PART, shelf_orders.YEARLY, BOUNDS)
    title = sentence("shop_shelf.uses")
    return charts_shelf.draw_intervals(frame, title=title, scale=sentence("shop_shelf.uses_scale"))


def draw_swaps(table: pd.DataFrame) -> alt.LayerChart | None:
    """Bench minutes spared a year by swap."""
    if table.empty:
        return None
    frame = charts_shelf.interval_frame(table, review_shelf.SWAP, review_shelf.SAVED, BOUNDS)
    return charts_shelf.draw_intervals(
        frame, title=sentence("shop_shelf.swaps"), scale=sentence("shop_shelf.swaps_scale")
    )


def _column(name: str) -> Any:
    label = sentence(KEYS[name])
    if name == "part":
        return st.column_config.TextColumn(label)
    least, most, whole, _ = COLUMNS[name]
    return st.column_config.NumberColumn(label, min_value=least, max_value=most, step=1 if whole else 0.01)
