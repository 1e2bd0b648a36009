"""Donor machines: what each kind would spare, and whether one on offer pays."""

from typing import Any

import altair as alt
import pandas as pd
import streamlit as st

from analytics.donor import Good
from analytics.errors import InputError
from analytics.part_needs import parts_in_components
from analytics.vocabulary import Vocabulary
from dashboards import charts_shelf, data
from dashboards.sentences import refusal, sentence
from dashboards.shop_parts import read_part, show_figure
from pipelines import review_donor
from pipelines.donor_offers import HORIZON_YEARS, Offer, value_offer
from pipelines.settings import read_settings
from pipelines.store import utc_now

BOUNDS = (review_donor.LOW, review_donor.HIGH)
COMPONENT, NAME, CHANCE, UNITS = "component", "name", "chance", "units"


def show_donor() -> None:
    """An offer to weigh, then every kind."""
    vocabulary, _ = data.first_belief(read_settings())
    st.subheader(sentence("shop_donor.offer"), anchor=False)
    st.markdown(sentence("shop_donor.how"))
    try:
        offer = ask_offer(vocabulary)
        if offer is not None:
            show_offer(offer)
    except InputError as problem:
        st.error(refusal(problem))
    for number, part in enumerate(read_part("donor")):
        show_figure(part, draw_kinds(part.table), key=f"shop_donor_kinds_{number}")


def ask_offer(vocabulary: Vocabulary) -> Offer | None:
    """The offer in the form, once it is sent."""
    with st.form("shop_donor_form", border=True):
        family = st.selectbox(
            sentence("shop_donor.family"),
            list(vocabulary.families),
            format_func=lambda code: vocabulary.families[code].name,
            key="shop_donor_family",
        )
        amounts = st.columns(4)
        price = amounts[0].number_input(sentence("shop_donor.price"), min_value=0.0, step=10.0, key="shop_donor_price")
        floor = amounts[1].number_input(sentence("shop_donor.floor"), min_value=0.0, step=10.0, key="shop_donor_floor")
        years = amounts[2].number_input(
            sentence("shop_donor.years"), min_value=0.5, max_value=50.0, value=HORIZON_YEARS, key="shop_donor_years"
        )
        waiting = amounts[3].number_input(
            sentence("shop_donor.waiting"), min_value=0.0, value=None, step=10.0, key="shop_donor_waiting"
        )
        chosen = st.data_editor(
            good_frame(vocabulary), column_config=_columns(), disabled=[NAME], hide_index=True, key="shop_donor_good"
        )
        sent = st.form_submit_button(sentence("shop_donor.weigh"), type="primary", key="shop_donor_weigh")
    if not sent:
        return None
    good = read_good(chosen)
    return Offer(str(family), price, floor_per_year=floor, years=years, good=good, waiting=waiting)


def show_offer(offer: Offer) -> None:
    """The answer to an offer."""
    settings = read_settings()
    vocabulary, before = data.first_belief(settings)
    answer = value_offer(settings, vocabulary, before, offer, today=utc_now().date())
    part = review_donor.offer_part(answer, offer, vocabulary)
    show_figure(part, draw_offer(part.table), key="shop_donor_answer")


def good_frame(vocabulary: Vocabulary) -> pd.DataFrame:
    """Every assembly that holds a part, none of them believed in yet."""
    components = list(parts_in_components(vocabulary))
    return pd.DataFrame(
        {
            COMPONENT: components,
            NAME: [vocabulary.components[code].name for code in components],
            CHANCE: pd.array([None] * len(components), dtype="Float64"),
            UNITS: pd.array([1] * len(components), dtype="Int64"),
        }
    )


def read_good(chosen: pd.DataFrame) -> dict[str, Good]:
    """Assemblies that were given a chance, in ten."""
    rows = chosen.dropna(subset=[CHANCE])
    rows = rows[rows[CHANCE] > 0]
    return {
        str(code): Good(float(tens) / 10.0, 1 if pd.isna(units) else int(units))
        for code, tens, units in zip(rows[COMPONENT], rows[CHANCE], rows[UNITS], strict=True)
    }


def draw_offer(table: pd.DataFrame) -> alt.LayerChart | None:
    """The parts that carry the value of an offer."""
    return _draw(table, review_donor.PART, review_donor.SPARED, sentence("shop_donor.parts"))


def draw_kinds(table: pd.DataFrame) -> alt.LayerChart | None:
    """What a donor of each kind spares."""
    return _draw(table, review_donor.KIND, review_donor.PAYS_TO, sentence("shop_donor.kinds"))


def _draw(table: pd.DataFrame, name: str, value: str, title: str) -> alt.LayerChart | None:
    if table.empty:
        return None
    frame = charts_shelf.interval_frame(table, name, value, BOUNDS)
    return charts_shelf.draw_intervals(frame, title=title, scale=sentence("shop_donor.scale"))


def _columns() -> dict[str, Any]:
    return {
        COMPONENT: None,
        NAME: st.column_config.TextColumn(sentence("shop_donor.assembly")),
        CHANCE: st.column_config.NumberColumn(sentence("shop_donor.chance"), min_value=0.0, max_value=10.0, step=0.5),
        UNITS: st.column_config.NumberColumn(sentence("shop_donor.units"), min_value=1, max_value=1000, step=1),
    }
