"""What this window has opened and noted: tables as they were, tables as edited, and the editor's own rows."""

import hashlib
from collections.abc import Mapping

import pandas as pd
import streamlit as st

from pipelines.settings import Settings
from pipelines.vocabulary_edits import tidy_all
from pipelines.vocabulary_frames import Frames, OpenedVocabulary, hash_folder, open_vocabulary
from pipelines.vocabulary_words import Change, find_changes

OPENED, TABLES, ROUND, BASE = "vocabulary_opened", "vocabulary_tables", "vocabulary_round", "vocabulary_base"
FOLDER, LOOKED, TOLD = "vocabulary_folder", "vocabulary_looked", "vocabulary_told"


def opened(settings: Settings) -> OpenedVocabulary:
    """The tables that are edited; opened anew when they changed on the disk and nothing is noted here.

    Raises
    ------
    InputError
        When the files cannot be read at all.
    """
    folder, state = settings.vocabulary_folder, st.session_state
    is_other = state.get(FOLDER) != settings.data_folder or OPENED not in state
    if is_other or (is_stale(settings) and not noted_changes()):
        state[FOLDER], state[OPENED] = settings.data_folder, open_vocabulary(folder)
        drop()
    found: OpenedVocabulary = state[OPENED]
    return found


def is_stale(settings: Settings) -> bool:
    """Whether somebody has saved since these tables were opened."""
    return hash_folder(settings.vocabulary_folder) != st.session_state[OPENED].folder_hash


def tables() -> dict[str, pd.DataFrame]:
    """Tables with everything noted so far."""
    found: dict[str, pd.DataFrame] = st.session_state[TABLES]
    return found


def note(file: str, frame: pd.DataFrame) -> None:
    """One table as it is to be; an editor that shows it begins with it."""
    tables()[file] = frame.reset_index(drop=True)
    st.session_state[ROUND] += 1


def drop() -> None:
    """Back to the tables as opened."""
    st.session_state[TABLES] = dict(st.session_state[OPENED].frames)
    st.session_state[ROUND] = st.session_state.get(ROUND, 0) + 1
    st.session_state.pop(LOOKED, None)


def forget() -> None:
    """Everything: what comes next is read from the disk."""
    for name in (OPENED, TABLES, LOOKED):
        st.session_state.pop(name, None)


def noted_changes() -> tuple[Change, ...]:
    """What is noted and not saved."""
    return find_changes(st.session_state[OPENED].frames, tidy_all(tables()))


def editor_rows(file: str) -> tuple[str, pd.DataFrame]:
    """Key of the editor of one table and the rows it begins with.

    They stay the same as long as that editor lives, because it holds its edits apart from them. Once it was off the
    screen its edits are gone, so a new one begins with what was noted.
    """
    state = st.session_state
    key, rows = state.get(BASE, (BASE, pd.DataFrame()))
    if key not in state or key != _editor_key(file):
        state[ROUND] += 1
        key, rows = state[BASE] = (_editor_key(file), tables()[file])
    return key, rows


def _editor_key(file: str) -> str:
    return f"vocabulary_editor_{file}_{st.session_state[ROUND]}"


def fingerprint(frames: Frames | Mapping[str, pd.DataFrame]) -> str:
    """Text that changes when a cell does."""
    found = hashlib.sha256()
    for file, frame in frames.items():
        found.update(file.encode() + frame.to_csv(index=False).encode())
    return found.hexdigest()
