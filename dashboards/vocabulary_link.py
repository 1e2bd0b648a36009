"""Change one link: the edit people make most, with three choices that keyboard and finger reach alike."""

from collections.abc import Mapping

import pandas as pd
import streamlit as st

from analytics.vocabulary import SOMETHING_ELSE
from dashboards import vocabulary_state as state
from dashboards.sentences import in_markdown, sentence
from pipelines.vocabulary_words import CODES_IN, names_of

LINKS = "links.csv"
STRENGTH_KEYS: Mapping[str, str] = {
    "often": "vocabularylink.often",
    "sometimes": "vocabularylink.sometimes",
    "rarely": "vocabularylink.rarely",
    "hardly_ever": "vocabularylink.hardly_ever",
    "": "vocabularylink.off_list",
}


def show_link() -> None:
    """Complaint, suspect, strength, and the button that notes them."""
    st.subheader(sentence("vocabularylink.heading"), anchor=False)
    st.caption(sentence("vocabularylink.lead"))
    frames = state.tables()
    symptoms, suspects = names_of(frames, CODES_IN["symptom"]), names_of(frames, CODES_IN["suspect"])
    left, right = st.columns(2)
    with left:
        symptom = st.selectbox(
            sentence("vocabularylink.symptom"),
            list(symptoms),
            format_func=symptoms.__getitem__,
            key="vocabulary_symptom",
        )
    strengths = listed_strengths(frames[LINKS], symptom)
    with right:
        suspect = st.selectbox(
            sentence("vocabularylink.suspect"),
            [*strengths, *(code for code in suspects if code not in strengths)],
            format_func=lambda code: _name_suspect(suspects.get(code) or code, strengths.get(code, "")),
            key=f"vocabulary_suspect_{symptom}",
        )
    choices = [code for code in STRENGTH_KEYS if code or suspect != SOMETHING_ELSE]
    present = strengths.get(suspect, "")
    st.segmented_control(
        sentence("vocabularylink.strength"),
        choices,
        format_func=lambda code: sentence(STRENGTH_KEYS[code]),
        default=present if present in choices else None,
        required=True,
        key=f"vocabulary_strength_{symptom}_{suspect}",
    )
    st.button(sentence("vocabularylink.note"), on_click=note_chosen, key="vocabulary_note_link")


def note_chosen() -> None:
    """Notes what stands in the three choices at the moment of the press, which may be newer than the page."""
    state_now = st.session_state
    symptom = state_now["vocabulary_symptom"]
    suspect = state_now.get(f"vocabulary_suspect_{symptom}")
    strength = state_now.get(f"vocabulary_strength_{symptom}_{suspect}")
    if suspect is None or strength is None:
        return
    note_link(symptom, suspect, strength)
    # its label says another strength now, and a list with other labels would begin at its first line
    state_now[f"vocabulary_suspect_{symptom}"] = suspect


def listed_strengths(links: pd.DataFrame, symptom: str) -> dict[str, str]:
    """Suspect -> strength of one complaint; what lists nobody is rarely something else."""
    mine = links[links["symptom"] == symptom]
    found = dict(zip(mine["suspect"], mine["strength"], strict=True))
    # at the end of the list, as on the bench
    return {**found, SOMETHING_ELSE: found.pop(SOMETHING_ELSE, "rarely")}


def note_link(symptom: str, suspect: str, strength: str) -> None:
    """One link as it is to be; "" takes it off the list."""
    frames = state.tables()
    words = {
        "suspect": names_of(frames, CODES_IN["suspect"])[suspect],
        "symptom": names_of(frames, CODES_IN["symptom"])[symptom],
        "strength": sentence(STRENGTH_KEYS[strength]),
    }
    if listed_strengths(frames[LINKS], symptom).get(suspect, "") == strength:
        st.session_state[state.TOLD] = in_markdown("vocabularylink.same", **words)
        return
    state.note(LINKS, with_link(frames[LINKS], symptom, suspect, strength))
    st.session_state[state.TOLD] = in_markdown("vocabularylink.noted", **words)


def with_link(links: pd.DataFrame, symptom: str, suspect: str, strength: str) -> pd.DataFrame:
    """The links with one more, one changed, or one less."""
    at = (links["symptom"] == symptom) & (links["suspect"] == suspect)
    if not strength:
        return links[~at]
    if at.any():
        return links.assign(strength=links["strength"].mask(at, strength))
    row = pd.DataFrame({"symptom": [symptom], "suspect": [suspect], "strength": [strength]}, dtype="str")
    return pd.concat([links, row], ignore_index=True)


def _name_suspect(name: str, strength: str) -> str:
    if not strength:
        return sentence("vocabularylink.suspect_unlisted", name=name)
    known = sentence(STRENGTH_KEYS[strength]) if strength in STRENGTH_KEYS else strength
    return sentence("vocabularylink.suspect_listed", name=name, strength=known)
