"""The Shop page put together: one part at a time; a part whose module is not installed is not offered."""

from importlib import import_module
from importlib.util import find_spec
from pathlib import Path

import streamlit as st

from dashboards import first_run
from dashboards.sentences import sentence
from pipelines.live import ServingState
from pipelines.settings import read_settings

STYLE = Path(__file__).with_name("tickets_touch.css")
PART = "shop_part"
# Each part is dashboards/shop_<part>.py with a function show_<part>().
PART_KEYS = {
    "checks": "shop.checks",
    "comebacks": "shop.comebacks",
    "arrivals": "shop.arrivals",
    "shelf": "shop.shelf",
    "donor": "shop.donor",
}


def show_shop(facts: ServingState | None) -> None:
    """The part asked for, or what is missing for all of them."""
    if facts is None or not facts.ticket_count:
        first_run.show_steps(facts, read_settings())
        return
    parts = [name for name in PART_KEYS if find_spec(f"dashboards.shop_{name}") is not None]
    part = st.segmented_control(
        sentence("shop.part"),
        parts,
        format_func=lambda name: sentence(PART_KEYS[name]),
        default=parts[0],
        required=True,
        key=PART,
        label_visibility="collapsed",
    )
    name = str(part or parts[0])
    getattr(import_module(f"dashboards.shop_{name}"), f"show_{name}")()
