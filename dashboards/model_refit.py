"""The button that starts a fit in the background, and its progress until the new fit is in use."""

from datetime import UTC, datetime

import pandas as pd
import streamlit as st

from dashboards.places import say_moment
from dashboards.sentences import plain, sentence
from pipelines.refit_start import start_background_refit
from pipelines.refit_status import RefitStatus, read_refit_status
from pipelines.settings import Settings

# Start of the fit that this window has watched, and whether its last press of the button came too late.
WATCHED, REFUSED = "model_watched_fit", "model_refused_fit"


def show_refit(settings: Settings, fits: pd.DataFrame) -> None:
    """The button, or the fit that runs; how the last one ended, where that is news."""
    st.subheader(sentence("modelrefit.heading"), anchor=False)
    status = read_refit_status(settings)
    if status is not None and status.is_running:
        st.session_state[WATCHED] = status.started_at
        if st.session_state.pop(REFUSED, False):
            st.info(sentence("modelrefit.already"))
        _follow(settings)
        return
    if status is not None:
        _show_end(status, fits)
    st.markdown(sentence("modelrefit.lead"))
    st.button(sentence("modelrefit.start"), on_click=start, args=(settings,), type="primary", key="model_start_fit")


def start(settings: Settings) -> None:
    """Starts one fit; a second press, of this window or another, finds the first and starts none."""
    st.session_state[REFUSED] = not start_background_refit(settings)


@st.fragment(run_every="1s")
def _follow(settings: Settings) -> None:
    """A bar that moves by itself; once the fit is over the whole page is drawn anew, from the new fit."""
    status = read_refit_status(settings)
    if status is None or not status.is_running:
        st.rerun(scope="app")
        return
    words = sentence("modelrefit.running", share=f"{100 * status.share:.0f}", moment=say_moment(_begun(status)))
    st.progress(min(1.0, status.share), text=words)


def _show_end(status: RefitStatus, fits: pd.DataFrame) -> None:
    """A failure is told until a later fit holds, a success only to whoever watched it."""
    begun = _begun(status)
    if status.is_published:
        if st.session_state.get(WATCHED) == status.started_at:
            st.success(sentence("modelrefit.done"))
        return
    later = fits["published"] & (fits["fitted_at"] > begun)
    if not later.any():
        told = " ".join(plain(line) for line in status.sentences)
        st.error(" ".join([sentence("modelrefit.failed", moment=say_moment(begun)), told]))


def _begun(status: RefitStatus) -> datetime:
    """UTC without a zone, as instants are in the store."""
    return datetime.fromisoformat(status.started_at).astimezone(UTC).replace(tzinfo=None)
