"""Looking tickets up: filters, a table of the newest ones found, a file to take along."""

from functools import partial
from pathlib import Path

import pandas as pd
import streamlit as st

from analytics.vocabulary import Vocabulary
from dashboards.places import counted
from dashboards.sentences import sentence
from dashboards.tickets_words import field_name, in_names, names_by_field
from pipelines.ticket_search import Page, Wanted, read_shops, search_tickets, tickets_as_csv

SHOWN_FIELDS = (
    *("opened_on", "ticket", "shop", "family", "built_year", "symptom", "complaint", "suspect", "result", "minutes"),
)


def show_search(store_path: Path, vocabulary: Vocabulary) -> None:
    """The whole part of the page."""
    wanted = _ask_wanted(read_shops(store_path), vocabulary)
    page = search_tickets(store_path, wanted)
    if page.rows.empty:
        st.info(sentence("lookup.nothing"))
        return
    st.markdown(_say_count(page))
    _show_table(in_names(page.rows, vocabulary))
    st.download_button(
        sentence("lookup.take_along", tickets=counted(page.total, "ticket")),
        # made when it is pressed, not each time the page is drawn
        data=partial(tickets_as_csv, store_path, wanted),
        file_name="found-tickets.csv",
        mime="text/csv",
        key="tickets_download",
        on_click="ignore",
    )


def _ask_wanted(shops: tuple[str, ...], vocabulary: Vocabulary) -> Wanted:
    names = names_by_field(vocabulary)
    text = st.text_input(
        sentence("lookup.text"),
        placeholder=sentence("lookup.text_hint"),
        help=sentence("lookup.text_help"),
        key="lookup_text",
    )
    with st.expander(sentence("lookup.narrow")):
        left, middle, right = st.columns(3)
    with left:
        shop = _ask_one("shop", {name: name for name in shops})
    with middle:
        symptom = _ask_one("symptom", names["symptom"])
        since = st.date_input(sentence("lookup.since"), value=None, format="YYYY-MM-DD", key="lookup_since")
    with right:
        suspect = _ask_one("suspect", names["suspect"])
        until = st.date_input(sentence("lookup.until"), value=None, format="YYYY-MM-DD", key="lookup_until")
    return Wanted(text, shop, symptom, suspect, since, until)


def _ask_one(field: str, names: dict[str, str]) -> str:
    chosen = st.selectbox(
        field_name(field),
        list(names),
        index=None,
        format_func=lambda code: names[code],
        placeholder=sentence("lookup.any"),
        key=f"lookup_{field}",
    )
    return chosen or ""


def _say_count(page: Page) -> str:
    tickets = counted(page.total, "ticket")
    if page.total > len(page.rows):
        return sentence("lookup.count_more", tickets=tickets, shown=len(page.rows))
    return sentence("lookup.count", tickets=tickets)


def _show_table(rows: pd.DataFrame) -> None:
    columns = {field: st.column_config.Column(field_name(field)) for field in SHOWN_FIELDS}
    columns["opened_on"] = st.column_config.DateColumn(field_name("opened_on"), format="YYYY-MM-DD")
    columns["built_year"] = st.column_config.NumberColumn(field_name("built_year"), format="%d")
    columns["minutes"] = st.column_config.NumberColumn(field_name("minutes"), format="%.0f")
    table = rows[list(SHOWN_FIELDS)]
    alt = sentence("lookup.table")
    st.dataframe(table, hide_index=True, column_config=columns, placeholder="", alt=alt, key="lookup_table")
