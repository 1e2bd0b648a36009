"""The card is one page, holds what the bench needs, needs nothing from outside, and nothing written breaks it."""

import io
import re
from dataclasses import replace
from datetime import date
from html.parser import HTMLParser

import pytest
from pypdf import PdfReader

from analytics.cautions import DEFER
from analytics.posterior import Posterior
from analytics.session import BenchEvent, Session, apply_event
from analytics.session_case import advise_session
from analytics.vocabulary import Vocabulary
from pipelines.bench_card_pdf import card_pdf
from pipelines.bench_cards import BenchCard, card_html, make_card
from pipelines.catalogue import read_vocabulary
from pipelines.settings import seed_folder

NASTY = '<script>alert("x")</script> & "Klang" \N{EN DASH} \N{CYRILLIC SMALL LETTER ZHE}'
SESSION = Session(
    "4CDF7H", shop="Pier", symptom="stuck", opened_on=date(2024, 3, 31), machine=NASTY, family="crane", complaint=NASTY
)


class Reader(HTMLParser):
    """Tags, attributes that would load something, and text of a page."""

    def __init__(self) -> None:
        super().__init__()
        self.tags: list[str] = []
        self.loads: list[str] = []
        self.text = ""

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append(tag)
        self.loads += [f"{name}={value}" for name, value in attrs if name in ("src", "href", "data", "action")]

    def handle_data(self, data: str) -> None:
        self.text += data


@pytest.fixture
def card(tiny_vocabulary: Vocabulary, tiny_posterior: Posterior) -> BenchCard:
    session = apply_event(SESSION, BenchEvent("clear", "meter_coil"), tiny_vocabulary)
    return make_card(session, advise_session(tiny_posterior, session, tiny_vocabulary), tiny_vocabulary)


def read(page: str) -> Reader:
    reader = Reader()
    reader.feed(page)
    return reader


def test_page_holds_machine_suspects_plan_cautions_and_code(card: BenchCard) -> None:
    reader = read(card_html(card))
    for words in (NASTY, "Grab is stuck", "Plug loose", "Reseat the plug", "Meter the coil: clear", DEFER, "4CDF7H"):
        assert words in reader.text
    assert card.steps[0].name == "Reseat the plug"
    assert card_html(card).count('class="box"') == len(card.steps) >= 2
    assert re.search(r"about \d+ in 10", reader.text)


def test_page_loads_nothing_and_runs_nothing(card: BenchCard) -> None:
    page = card_html(card)
    reader = read(page)
    assert not {"script", "link", "img", "iframe", "object"} & set(reader.tags)
    assert not reader.loads
    assert "url(" not in page
    assert "svg" in reader.tags


def test_square_code_holds_the_address_of_the_session(tiny_vocabulary: Vocabulary, tiny_posterior: Posterior) -> None:
    advice = advise_session(tiny_posterior, SESSION, tiny_vocabulary)
    made = make_card(SESSION, advice, tiny_vocabulary, address="http://192.0.2.7:8765/")
    assert made.scanned == "http://192.0.2.7:8765/?session=4CDF7H"
    assert make_card(SESSION, advice, tiny_vocabulary).scanned == "4CDF7H"


def test_pdf_is_one_a4_page_with_the_same_words(card: BenchCard) -> None:
    pages = PdfReader(io.BytesIO(card_pdf(card))).pages
    assert len(pages) == 1
    # ISO 216: A4 is 210 mm by 297 mm; a point is 1/72 inch
    assert float(pages[0].mediabox.width) == pytest.approx(210 / 25.4 * 72, abs=0.1)
    assert float(pages[0].mediabox.height) == pytest.approx(297 / 25.4 * 72, abs=0.1)
    text = " ".join(pages[0].extract_text().split())
    for words in ("Grab is stuck", "Plug loose", "Reseat the plug", "4CDF7H", DEFER):
        assert words in text


def test_long_story_of_an_owner_is_cut(tiny_vocabulary: Vocabulary, tiny_posterior: Posterior) -> None:
    session = replace(SESSION, complaint="word " * 2000)
    made = make_card(session, advise_session(tiny_posterior, session, tiny_vocabulary), tiny_vocabulary)
    assert max(len(value) for _, value in made.facts) < 250


def test_long_card_still_fits_one_page_with_all_cautions(card: BenchCard) -> None:
    vocabulary = read_vocabulary(seed_folder() / "vocabulary")
    cautions = tuple(hazard.note for hazard in vocabulary.hazards.values())
    long = replace(card, steps=card.steps[:1] * 8, cautions=cautions, facts=(("Owner says", "word " * 48),) * 8)
    pages = PdfReader(io.BytesIO(card_pdf(long))).pages
    assert len(pages) == 1
    text = " ".join(pages[0].extract_text().split())
    assert all(" ".join(caution.split()) in text for caution in cautions)
