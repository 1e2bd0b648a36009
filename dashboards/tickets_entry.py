"""One closed ticket written by hand: a form for quick hands, and a sentence on what became of it."""

from dataclasses import dataclass
from datetime import date
from pathlib import Path

import pandas as pd
import streamlit as st

from analytics.case import CheckResult
from analytics.errors import InputError
from analytics.vocabulary import CONFIRMATIONS, OUTCOMES, RESULTS, Vocabulary
from dashboards.bench_state import FIRST_YEAR
from dashboards.sentences import in_markdown, refusal, sentence
from dashboards.tickets_words import field_name, grade_name, names_by_field, result_name
from pipelines.bench_tickets import TicketRow
from pipelines.intake import save_ticket
from pipelines.ticket_rows import ticket_id
from pipelines.ticket_search import find_ticket, read_shops

# Keys of the session: how many tickets were written, what became of the last, and what the next one begins with.
ROUND, TOLD, KEPT = "entry_round", "entry_told", "entry_kept"
BLANK_CHECKS = 3


@dataclass(frozen=True)
class Kept:
    """What stays from one ticket to the next: a pile of paper comes from one workshop, day by day."""

    shop: str | None = None
    opened_on: date | None = None


def show_entry(store_path: Path, vocabulary: Vocabulary, *, today: date) -> None:
    """The whole part of the page."""
    told = st.session_state.pop(TOLD, "")
    if told:
        st.success(told)
    with st.form("entry_form", enter_to_submit=False):
        ticket = _ask_ticket(read_shops(store_path) if store_path.exists() else (), vocabulary, today=today)
        is_pressed = st.form_submit_button(sentence("entry.save"), type="primary", key="entry_save")
    if not is_pressed:
        return
    if isinstance(ticket, str):
        st.error(ticket)
        return
    try:
        _store(ticket, store_path, vocabulary, today=today)
    except InputError as problem:
        st.error(sentence("entry.refused", reason=refusal(problem)))
        return
    st.rerun()


def _store(ticket: TicketRow, store_path: Path, vocabulary: Vocabulary, *, today: date) -> None:
    known = not find_ticket(store_path, ticket_id(ticket.shop, ticket.ticket_number)).empty
    save_ticket(ticket, store_path=store_path, vocabulary=vocabulary, today=today)
    key = "entry.known" if known else "entry.stored"
    st.session_state[TOLD] = in_markdown(key, number=ticket.ticket_number, shop=ticket.shop)
    st.session_state[KEPT] = Kept(ticket.shop, ticket.opened_on)
    # inputs of another name are empty ones
    st.session_state[ROUND] = st.session_state.get(ROUND, 0) + 1


def _key(field: str) -> str:
    return f"entry_{field}_{st.session_state.get(ROUND, 0)}"


def _ask_ticket(shops: tuple[str, ...], vocabulary: Vocabulary, *, today: date) -> TicketRow | str:
    """The ticket as entered, or the sentence that says what it still needs."""
    names = names_by_field(vocabulary)
    left, middle, right = st.columns(3, gap="medium")
    with left:
        number, shop, opened_on, closed_on = _ask_paper(shops, today=today)
    with middle:
        family = _ask_one("family", names["family"], sentence("entry.open_hint"))
        built_year = _ask_number("built_year", FIRST_YEAR, today.year)
        symptom = _ask_one("symptom", names["symptom"], sentence("entry.choose"))
        also = _ask_several("also", sentence("entry.also"), names["symptom"], sentence("entry.open_hint"))
    with right:
        suspects = _ask_several("suspect", field_name("suspect"), names["suspect"], sentence("entry.suspect_hint"))
        grade = _ask_one(
            "confirmation", {code: grade_name(code) for code in CONFIRMATIONS}, sentence("entry.grade_hint")
        )
        result = _ask_one("result", {code: result_name(code) for code in RESULTS}, sentence("entry.result_hint"))
        minutes = _ask_number("minutes", 0, None)
    complaint = st.text_area(field_name("complaint"), key=_key("complaint"), height=68, max_chars=2000)
    checks = _ask_checks(names["check"])
    if opened_on is None:
        return sentence("entry.no_date")
    if not symptom:
        return sentence("entry.no_symptom")
    return TicketRow(
        shop=shop,
        ticket_number=number,
        opened_on=opened_on,
        closed_on=closed_on,
        symptom=symptom,
        family=family,
        built_year=None if built_year is None else int(built_year),
        also_present=tuple(code for code in also if code != symptom),
        complaint=complaint.strip(),
        suspects=suspects,
        confirmation=grade,
        result=result,
        checks=checks,
        minutes=minutes,
    )


def _ask_paper(shops: tuple[str, ...], *, today: date) -> tuple[str, str, date | None, date | None]:
    """What stands at the head of the paper: number, workshop, in and out."""
    kept = st.session_state.get(KEPT, Kept(shops[0] if len(shops) == 1 else None, today))
    number = st.text_input(field_name("ticket"), key=_key("ticket"), placeholder=sentence("entry.number_hint"))
    shop = st.selectbox(
        field_name("shop"),
        shops,
        index=shops.index(kept.shop) if kept.shop in shops else None,
        accept_new_options=True,
        placeholder=sentence("entry.shop_hint"),
        key=_key("shop"),
    )
    opened_on = _ask_day("opened_on", kept.opened_on, today=today)
    closed_on = _ask_day("closed_on", None, today=today)
    return number.strip(), (shop or "").strip(), opened_on, closed_on


def _ask_day(field: str, day: date | None, *, today: date) -> date | None:
    first = date(FIRST_YEAR, 1, 1)
    return st.date_input(
        field_name(field), value=day, min_value=first, max_value=today, format="YYYY-MM-DD", key=_key(field)
    )


def _ask_checks(names: dict[str, str]) -> tuple[CheckResult, ...]:
    st.markdown(sentence("entry.checks"))
    columns = {"check": "str", "outcome": "str", "minutes": "float64"}
    blank = pd.DataFrame(index=range(BLANK_CHECKS), columns=list(columns)).astype(columns)
    column = st.column_config
    outcomes = {code: sentence(f"outcome.{code}") for code in OUTCOMES}
    table = st.data_editor(
        blank,
        num_rows="dynamic",
        hide_index=True,
        column_config={
            "check": column.SelectboxColumn(
                sentence("entry.check"), options=list(names), format_func=lambda code: names[str(code)], width="large"
            ),
            "outcome": column.SelectboxColumn(
                sentence("entry.outcome"), options=list(outcomes), format_func=lambda code: outcomes[str(code)]
            ),
            "minutes": column.NumberColumn(sentence("entry.minutes"), min_value=0, width="small"),
        },
        placeholder="",
        alt=sentence("entry.checks"),
        key=_key("checks"),
    )
    cells = [tuple(None if pd.isna(cell) else cell for cell in row) for row in table.itertuples(index=False)]
    return tuple(
        CheckResult(check or "", outcome or "", minutes) for check, outcome, minutes in cells if check or outcome
    )


def _ask_one(field: str, names: dict[str, str], hint: str) -> str:
    chosen = st.selectbox(
        field_name(field), list(names), index=None, format_func=names.__getitem__, placeholder=hint, key=_key(field)
    )
    return chosen or ""


def _ask_several(field: str, label: str, names: dict[str, str], hint: str) -> tuple[str, ...]:
    return tuple(st.multiselect(label, list(names), format_func=names.__getitem__, placeholder=hint, key=_key(field)))


def _ask_number(field: str, lowest: int, highest: int | None) -> float | None:
    return st.number_input(
        field_name(field),
        min_value=lowest,
        max_value=highest,
        value=None,
        step=1,
        placeholder=sentence("entry.open_hint"),
        key=_key(field),
    )
