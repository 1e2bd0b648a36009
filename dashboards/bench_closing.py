"""The end of a bench session: the form that writes the ticket, the card to take along, and how the odds had been."""

from datetime import date

import streamlit as st

from analytics.advice import Advice
from analytics.session import Session
from analytics.session_closing import Closing, suggest_closing, total_minutes
from analytics.vocabulary import CONFIRMATIONS, RESULTS, Vocabulary
from dashboards import bench_session
from dashboards.data import Served
from dashboards.sentences import in_markdown, sentence
from pipelines.bench_cards import BenchCard, card_html, make_card
from pipelines.wording import minutes_phrase


def show_closing(session: Session, advice: Advice | None, served: Served, *, today: date) -> None:
    """How it ended, what it was, how sure, how long; one button writes the ticket."""
    vocabulary = served.vocabulary
    suggested = suggest_closing(session, advice.suspects if advice else (), vocabulary)
    # the suggestion changes with every entry, and a form keeps what it was first given
    place = f"{session.code}_{len(session.events)}"
    with st.form(f"bench_closing_{place}"):
        result = st.radio(
            sentence("closing.result"),
            RESULTS,
            index=RESULTS.index(suggested.result),
            format_func=lambda code: sentence(f"closing.{code}"),
            key=f"bench_result_{place}",
        )
        suspects = st.multiselect(
            sentence("closing.suspects"),
            vocabulary.suspects_of(session.symptom),
            default=suggested.suspects,
            format_func=lambda code: vocabulary.suspects[code].name,
            key=f"bench_suspects_{place}",
            placeholder=sentence("closing.suspects_hint"),
        )
        sure = st.radio(
            sentence("closing.sure"),
            CONFIRMATIONS,
            index=CONFIRMATIONS.index(suggested.confirmation or "cured"),
            format_func=lambda code: sentence(f"closing.{code}"),
            key=f"bench_sure_{place}",
        )
        spent = total_minutes(session, suggested)
        noted = sentence("closing.noted", minutes=minutes_phrase(spent)) if spent else sentence("closing.none_noted")
        minutes = st.number_input(
            sentence("closing.minutes"), min_value=0.0, value=None, step=5.0, key=f"bench_total_{place}",
            placeholder=noted,
        )  # fmt: skip
        pressed = st.form_submit_button(sentence("closing.write"), type="primary")
    if pressed:
        grade = sure if suspects else ""
        closing = Closing(result, tuple(suspects), confirmation=grade, minutes=minutes)
        bench_session.close(session, closing, served=served, today=today)
        st.rerun()


def show_card(session: Session, advice: Advice, vocabulary: Vocabulary) -> None:
    """The bench card, drawn when it is asked for."""
    address = str(st.context.url or "").split("?")[0].rstrip("/")

    def card() -> BenchCard:
        return make_card(session, advice, vocabulary, address=address)

    with st.container(horizontal=True):
        st.download_button(
            sentence("card.html"), lambda: card_html(card()), f"bench-card-{session.code}.html", "text/html",
            key="bench_card_html", on_click="ignore",
        )  # fmt: skip
        st.download_button(
            sentence("card.pdf"), lambda: _pdf(card()), f"bench-card-{session.code}.pdf", "application/pdf",
            key="bench_card_pdf", on_click="ignore",
        )  # fmt: skip


def show_closed(code: str, ticket_number: str) -> None:
    """What the closed session left behind."""
    st.success(in_markdown("closing.done", ticket=ticket_number, code=code))
    st.button(sentence("closing.next"), on_click=bench_session.put_aside, key="bench_next", type="primary")


def _pdf(made: BenchCard) -> bytes:
    # loading what draws PDF takes longer than a page may
    from pipelines.bench_card_pdf import card_pdf

    return card_pdf(made)
