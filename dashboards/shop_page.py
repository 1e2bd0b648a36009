"""The Shop page put together: one part at a time."""

from collections.abc import Callable, Mapping
from pathlib import Path

import streamlit as st

from dashboards import first_run
from dashboards.sentences import sentence
from dashboards.shop_arrivals import show_arrivals
from dashboards.shop_checks import show_checks
from dashboards.shop_comebacks import show_comebacks
from dashboards.shop_donor import show_donor
from dashboards.shop_shelf import show_shelf
from pipelines.live import ServingState
from pipelines.settings import read_settings

STYLE = Path(__file__).with_name("tickets_touch.css")
PART = "shop_part"
# What each part is called, and what shows it.
PARTS: Mapping[str, tuple[str, Callable[[], None]]] = {
    "checks": ("shop.checks", show_checks),
    "comebacks": ("shop.comebacks", show_comebacks),
    "arrivals": ("shop.arrivals", show_arrivals),
    "shelf": ("shop.shelf", show_shelf),
    "donor": ("shop.donor", show_donor),
}


def show_shop(facts: ServingState | None) -> None:
    """The part asked for, or what is missing for all of them."""
    if facts is None or not facts.ticket_count:
        first_run.show_steps(facts, read_settings())
        return
    names = list(PARTS)
    chosen = st.segmented_control(
        sentence("shop.part"),
        names,
        format_func=lambda name: sentence(PARTS[name][0]),
        default=names[0],
        required=True,
        key=PART,
        label_visibility="collapsed",
    )
    _, show = PARTS[str(chosen or names[0])]
    show()
