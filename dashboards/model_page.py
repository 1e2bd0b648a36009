"""The Model page put together: one part at a time, so that the first is there at once."""

from pathlib import Path

import streamlit as st

from analytics.errors import InputError
from dashboards import data, first_run, model_checks, model_fit, model_learnt, model_refit, model_score
from dashboards.places import counted
from dashboards.sentences import in_markdown, refusal, sentence
from pipelines.live import ServingState
from pipelines.settings import Settings, read_settings

STYLE = Path(__file__).with_name("tickets_touch.css")
PART = "model_part"
PART_KEYS = {"fit": "model.fit", "right": "model.right", "learnt": "model.learnt", "checks": "model.checks"}


def show_model(facts: ServingState | None) -> None:
    """The part asked for, or what is missing for all of them."""
    if facts is None or not facts.ticket_count:
        first_run.show_steps(facts, read_settings())
        return
    part = st.segmented_control(
        sentence("model.part"),
        list(PART_KEYS),
        format_func=lambda name: sentence(PART_KEYS[name]),
        default="fit",
        required=True,
        key=PART,
        label_visibility="collapsed",
    )
    if part in (None, "fit"):
        _show_fit(facts, read_settings())
    elif not facts.fit_id:
        st.info(sentence("model.needs_fit"))
    else:
        _show_learnt(str(part), data.served(facts))


def _show_fit(facts: ServingState, settings: Settings) -> None:
    """Shown whatever state the fits are in: here is the button that mends it."""
    fits = data.fits_so_far(settings)
    newest, since = st.columns([12, 10], gap="large")
    with newest:
        if fits.empty:
            st.info(in_markdown("model.no_fit", tickets=counted(facts.ticket_count, "ticket")))
        else:
            model_fit.show_newest(fits)
    with since:
        if facts.fit_id:
            _show_since(facts)
        model_refit.show_refit(settings, fits)
    if not fits.empty:
        model_fit.show_fits(fits, in_use=facts.fit_id)


def _show_since(facts: ServingState) -> None:
    """A fit whose draws are lost must not take the button away that makes another one."""
    try:
        served = data.served(facts)
    except InputError as problem:
        st.error(" ".join([sentence("model.no_draws"), refusal(problem)]))
        return
    model_fit.show_since(data.live_update(served), served)


def _show_learnt(part: str, served: data.Served) -> None:
    if part == "right":
        scores, proof = st.columns(2, gap="large")
        with scores:
            model_score.show_score(data.served_places(served.settings))
            model_score.show_backtest(served.settings)
        with proof:
            model_score.show_proof(served)
    elif part == "learnt":
        model_learnt.show_learnt(served)
    else:
        model_checks.show_checks(served)
