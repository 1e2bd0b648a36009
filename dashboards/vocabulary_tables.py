"""All lists: one table at a time in an editor, with names in place of codes where another table is meant."""

from collections.abc import Mapping
from typing import Any

import pandas as pd
import streamlit as st

from analytics.vocabulary import KINDS, STRENGTH_WEIGHTS
from dashboards import vocabulary_state as state
from dashboards.sentences import sentence
from pipelines.catalogue_tables import COLUMNS
from pipelines.vocabulary_frames import KEYS, Frames
from pipelines.vocabulary_words import CODES_IN, TITLES, names_of

# By the name of the file.
ABOUT_KEYS: Mapping[str, str] = {
    "links": "vocabularytable.links",
    "symptoms": "vocabularytable.symptoms",
    "suspects": "vocabularytable.suspects",
    "checks": "vocabularytable.checks",
    "reveals": "vocabularytable.reveals",
    "families": "vocabularytable.families",
    "components": "vocabularytable.components",
    "failure_modes": "vocabularytable.failure_modes",
    "access_groups": "vocabularytable.access_groups",
    "hazards": "vocabularytable.hazards",
    "age_bands": "vocabularytable.age_bands",
    "rules": "vocabularytable.rules",
}
COLUMN_KEYS: Mapping[str, str] = {
    "name": "vocabularycolumn.name",
    "aliases": "vocabularycolumn.aliases",
    "note": "vocabularycolumn.note",
    "family": "vocabularycolumn.family",
    "symptom": "vocabularycolumn.symptom",
    "suspect": "vocabularycolumn.suspect",
    "check": "vocabularycolumn.check",
    "component": "vocabularycolumn.component",
    "failure_mode": "vocabularycolumn.failure_mode",
    "access_group": "vocabularycolumn.access_group",
    "inside": "vocabularycolumn.inside",
    "open_minutes": "vocabularycolumn.open_minutes",
    "close_minutes": "vocabularycolumn.close_minutes",
    "must_close_for_retest": "vocabularycolumn.must_close_for_retest",
    "hazard": "vocabularycolumn.hazard",
    "kind": "vocabularycolumn.kind",
    "minutes": "vocabularycolumn.minutes",
    "hazards": "vocabularycolumn.hazards",
    "false_alarm": "vocabularycolumn.false_alarm",
    "part": "vocabularycolumn.part",
    "tool": "vocabularycolumn.tool",
    "instruction": "vocabularycolumn.instruction",
    "strength": "vocabularycolumn.strength",
    "detection": "vocabularycolumn.detection",
    "cure": "vocabularycolumn.cure",
    "age_band": "vocabularycolumn.age_band",
    "from_age": "vocabularycolumn.from_age",
    "to_age": "vocabularycolumn.to_age",
    "about_in_ten": "vocabularycolumn.about_in_ten",
    "low_in_ten": "vocabularycolumn.low_in_ten",
    "high_in_ten": "vocabularycolumn.high_in_ten",
    "worth_tickets": "vocabularycolumn.worth_tickets",
    "who": "vocabularycolumn.who",
}
CHOICES: Mapping[str, tuple[str, ...]] = {"kind": KINDS, "strength": tuple(STRENGTH_WEIGHTS)}
EDITOR_PIXELS, ROW_PIXELS = 430, 35


def show_tables() -> None:
    """The list to choose and its editor; what is typed is noted at once."""
    file = st.selectbox(
        sentence("vocabularytable.table"), list(TITLES), format_func=TITLES.__getitem__, key="vocabulary_table"
    )
    st.caption(" ".join([sentence(ABOUT_KEYS[file.removesuffix(".csv")]), sentence("vocabularytable.help")]))
    key, rows = state.editor_rows(file)
    edited = st.data_editor(
        rows,
        hide_index=True,
        num_rows="dynamic",
        height=min(EDITOR_PIXELS, ROW_PIXELS * (len(rows) + 4)),
        column_config=_columns(file, rows, state.tables()),
        alt=sentence("vocabularytable.alt", title=TITLES[file]),
        key=key,
    )
    state.tables()[file] = edited


def _columns(file: str, rows: pd.DataFrame, frames: Frames) -> dict[str, Any]:
    return {column: _column(file, column, rows, frames) for column in rows.columns}


def _column(file: str, column: str, rows: pd.DataFrame, frames: Frames) -> Any:
    is_own_code = file in COLUMNS and KEYS[file] == (column,)
    label = sentence("vocabularycolumn.code") if is_own_code else sentence(COLUMN_KEYS[column])
    if column in CODES_IN and not is_own_code:
        names = names_of(frames, CODES_IN[column])
        # what stands there stays, whether or not it is allowed: the look before saving says so
        options = list(dict.fromkeys([*names, *rows[column], ""]))
        return st.column_config.SelectboxColumn(
            label, options=options, format_func=lambda code: names.get(str(code)) or str(code), width="medium"
        )
    if column in CHOICES:
        return st.column_config.SelectboxColumn(
            label, options=list(dict.fromkeys([*CHOICES[column], *rows[column]])), format_func=_words, width="small"
        )
    return st.column_config.TextColumn(label, width="medium" if column in ("name", "aliases", "note") else None)


def _words(code: object) -> str:
    return str(code).replace("_", " ")
