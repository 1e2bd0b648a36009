"""The shop's own tickets -> a draft of its lists to download; nothing of the shop's is touched."""

import streamlit as st

from analytics.errors import InputError
from dashboards.places import counted
from dashboards.sentences import refusal, sentence
from pipelines.import_preview import guess_map, laid_down
from pipelines.readers import read_raw
from pipelines.settings import Settings
from pipelines.vocabulary_drafts import Draft, draft_archive

DRAFT = "vocabulary_draft"


def show_draft(settings: Settings) -> None:
    """The file, what was drafted, the download."""
    st.subheader(sentence("vocabularydraft.heading"), anchor=False)
    st.caption(sentence("vocabularydraft.lead"))
    upload = st.file_uploader(sentence("vocabularydraft.file"), key="vocabulary_draft_file")
    if upload is None:
        return
    try:
        made_from, draft = st.session_state.get(DRAFT, ("", None))
        if draft is None or made_from != upload.file_id:
            draft = _draft(upload.name, upload.getvalue(), settings)
            st.session_state[DRAFT] = (upload.file_id, draft)
    except InputError as problem:
        st.error(refusal(problem))
        return
    st.success(sentence("vocabularydraft.done", **_counts(draft)))
    st.download_button(
        sentence("vocabularydraft.download"),
        draft.archive,
        "vocabulary_draft.zip",
        "application/zip",
        on_click="ignore",
        key="vocabulary_draft_download",
    )
    st.caption(sentence("vocabularydraft.next"))


def _draft(name: str, content: bytes, settings: Settings) -> Draft:
    with laid_down(name, content) as path:
        raw = read_raw(path)
    return draft_archive(raw, guess_map(settings, list(raw.frame.columns)))


def _counts(draft: Draft) -> dict[str, str]:
    words = draft.vocabulary
    return {
        "families": counted(len(words.families), "machine"),
        "symptoms": counted(len(words.symptoms), "complaint"),
        "suspects": counted(len(words.suspects) - 1, "suspect"),  # something else is none
        "checks": counted(len(words.checks), "check"),
    }
