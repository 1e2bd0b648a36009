"""Rows that wait: why each is no ticket, its cells to correct, and their release."""

import json
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date

import pandas as pd
import streamlit as st

from analytics.errors import InputError
from analytics.vocabulary import Vocabulary
from dashboards.places import counted
from dashboards.sentences import in_markdown, plain, refusal, sentence
from dashboards.tickets_words import field_name
from pipelines.column_maps import FIELDS, ColumnMap
from pipelines.import_preview import map_of_file
from pipelines.intake import release
from pipelines.settings import Settings
from pipelines.ticket_search import Page, find_ticket, read_waiting_rows

# Key of the session: what became of the row that was released last.
TOLD = "waiting_told"
# Fields whose cells grow long.
LONG_FIELDS = ("symptom", "complaint", "suspect", "checks")


@dataclass(frozen=True)
class WaitingRow:
    """One row in quarantine as it can be corrected: `cells` by field, `left_over` by header, and its column map."""

    file_hash: str
    line: int
    file: str
    reason: str
    cells: Mapping[str, str]
    left_over: Mapping[str, str]
    column_map: ColumnMap


def show_quarantine(settings: Settings, vocabulary: Vocabulary, *, today: date) -> None:
    """The whole part of the page."""
    told = st.session_state.pop(TOLD, "")
    if told:
        st.success(told)
    page = read_waiting_rows(settings.store_path)
    if page.rows.empty:
        st.info(sentence("waiting.nothing"))
        return
    _show_list(page)
    at = st.selectbox(
        sentence("waiting.choose"),
        range(len(page.rows)),
        format_func=[_name_row(row) for row in page.rows.itertuples()].__getitem__,
        # a released row leaves the list: the choice begins anew
        key=f"waiting_row_{page.total}",
    )
    _show_editor(_take_row(page.rows.iloc[at], settings), settings, vocabulary, today=today)


def _show_list(page: Page) -> None:
    rows, shown = counted(page.total, "row"), len(page.rows)
    st.markdown(sentence("waiting.lead_more" if page.total > shown else "waiting.lead", rows=rows, shown=shown))
    table = page.rows[["reason", "name", "line"]]
    config = {
        "reason": st.column_config.TextColumn(sentence("waiting.reason"), width="large"),
        "name": st.column_config.TextColumn(sentence("waiting.file"), width="small"),
        "line": st.column_config.NumberColumn(sentence("waiting.line"), width="small", format="%d"),
    }
    st.dataframe(
        table,
        hide_index=True,
        column_config=config,
        height=min(38 * (shown + 1), 300),
        alt=sentence("waiting.table"),
        key="waiting_table",
    )


def _name_row(row: object) -> str:
    return sentence("waiting.row", file=row.name, line=row.line)  # type: ignore[attr-defined]


def _take_row(row: pd.Series, settings: Settings) -> WaitingRow:
    by_header = json.loads(row["cells"])
    guess = map_of_file(settings, row["file_hash"], list(by_header))
    # A field without a column gets a header of its own, so that a correction can fill it in.
    headers = {field: guess.headers.get(field) or (f"(new) {field}",) for field in FIELDS}
    cells = {field: next((by_header[h] for h in headers[field] if h in by_header), "") for field in FIELDS}
    used = {header for spellings in headers.values() for header in spellings}
    return WaitingRow(
        file_hash=row["file_hash"],
        line=int(row["line"]),
        file=row["name"],
        reason=row["reason"],
        cells={**cells, "shop": cells["shop"] or row["file_shop"]},
        left_over={header: text for header, text in by_header.items() if header not in used},
        column_map=ColumnMap({field: spellings[:1] for field, spellings in headers.items()}, guess.cells),
    )


def _show_editor(row: WaitingRow, settings: Settings, vocabulary: Vocabulary, *, today: date) -> None:
    st.warning(plain(row.reason))
    with st.form(f"waiting_form_{row.file_hash[:8]}_{row.line}", enter_to_submit=False):
        written = _ask_cells(row)
        if row.left_over:
            cells = "; ".join(sentence("waiting.cell", header=head, text=text) for head, text in row.left_over.items())
            st.caption(in_markdown("waiting.left_over", cells=cells))
        is_pressed = st.form_submit_button(sentence("waiting.release"), type="primary", key="waiting_release")
    if not is_pressed:
        return
    corrections = {
        row.column_map.headers[field][0]: text for field, text in written.items() if text != row.cells[field]
    }
    try:
        _release(row, corrections, settings, vocabulary, today=today)
    except InputError as problem:
        st.error(sentence("waiting.refused", reason=refusal(problem)))
        return
    st.rerun()


def _ask_cells(row: WaitingRow) -> dict[str, str]:
    written = {}
    short = [field for field in FIELDS if field not in LONG_FIELDS]
    for at, field in enumerate([*short, *LONG_FIELDS]):
        if at % 2 == 0:
            columns = st.columns(2)
        key = f"waiting_{field}_{row.file_hash[:8]}_{row.line}"
        with columns[at % 2]:
            # the reason calls the fields as the ticket template does
            label = sentence("waiting.label", name=field_name(field), field=field)
            written[field] = st.text_input(label, row.cells[field], key=key)
    return written


def _release(
    row: WaitingRow, corrections: Mapping[str, str], settings: Settings, vocabulary: Vocabulary, *, today: date
) -> None:
    key = release(
        row.file_hash,
        row.line,
        corrections,
        store_path=settings.store_path,
        vocabulary=vocabulary,
        column_map=row.column_map,
        today=today,
    )
    ticket = find_ticket(settings.store_path, key).iloc[0]
    is_new = ticket["file_hash"] == row.file_hash and ticket["line"] == row.line
    facts = {"line": row.line, "file": row.file, "number": ticket["ticket_number"], "shop": ticket["shop"]}
    st.session_state[TOLD] = in_markdown("waiting.released" if is_new else "waiting.duplicate", **facts)
