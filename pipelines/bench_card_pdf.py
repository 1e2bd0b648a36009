"""The bench card as a one-page PDF."""

import unicodedata

import segno
from fpdf import FPDF
from fpdf.enums import XPos, YPos

from analytics.cautions import DEFER
from pipelines.advice_in_words import HAND_ON
from pipelines.bench_cards import BenchCard

FONT = "Helvetica"
MARGIN_MM, SQUARE_MM, BOX_MM, NOTES_MM = 12.0, 26.0, 3.2, 25.0
FEWEST_STEPS = 3


def card_pdf(card: BenchCard) -> bytes:
    """The card as PDF, always one A4 page: the last steps are left out where cautions and facts need the room.

    The built-in fonts know Western European letters only; others lose their accents or become "?".
    """
    for count in range(max(len(card.steps), FEWEST_STEPS), FEWEST_STEPS - 1, -1):
        page = _draw(card, count)
        room = page.h - MARGIN_MM - page.get_y()
        if page.page_no() == 1 and room >= NOTES_MM:
            break
    page.rect(MARGIN_MM, page.get_y() + 1, page.w - 2 * MARGIN_MM, max(room - 1, 1.0))
    return bytes(page.output())


def _draw(card: BenchCard, step_count: int) -> FPDF:
    page = FPDF(format="A4")
    page.set_margin(MARGIN_MM)
    page.set_auto_page_break(auto=True, margin=MARGIN_MM)
    page.set_title(f"Bench card {card.code}")
    page.add_page()
    _draw_code(page, card)
    _draw_head(page, card)
    _heading(page, "Suspects")
    for name, odds in card.suspects:
        _line(page, f"{name}: {odds}", 9)
    _heading(page, "Plan, from the top while nothing is found")
    for step in card.steps[:step_count]:
        page.rect(page.get_x(), page.get_y() + 0.8, BOX_MM, BOX_MM)
        _line(page, f"{step.name} ({step.minutes})   took ____ min", 9.5, style="B", indent=BOX_MM + 2)
        _line(page, " ".join(filter(None, (step.instruction, step.if_found))), 8, indent=BOX_MM + 2)
    if not card.steps:
        _line(page, HAND_ON, 9.5)
    _line(page, " ".join(card.plan), 9)
    _heading(page, "Cautions")
    for caution in card.cautions:
        _line(page, f"- {caution}", 8)
    _line(page, DEFER, 8, style="B")
    _heading(page, "Notes")
    return page


def _draw_code(page: FPDF, card: BenchCard) -> None:
    """The square code, module by module, with the letters below it, in the upper right corner."""
    rows = tuple(segno.make(card.scanned, error="m", micro=False).matrix)
    size, left = SQUARE_MM / len(rows), page.w - MARGIN_MM - SQUARE_MM
    page.set_fill_color(0)
    for down, row in enumerate(rows):
        for right, is_dark in enumerate(row):
            if is_dark:
                page.rect(left + right * size, MARGIN_MM + down * size, size, size, style="F")
    page.set_font("Courier", style="B", size=14)
    page.set_xy(left, MARGIN_MM + SQUARE_MM + 1)
    page.cell(SQUARE_MM, 6, card.code, align="C")
    page.set_xy(MARGIN_MM, MARGIN_MM)


def _draw_head(page: FPDF, card: BenchCard) -> None:
    room = page.w - 2 * MARGIN_MM - SQUARE_MM - 4
    page.set_font(FONT, style="B", size=15)
    page.multi_cell(room, 7, _plain(card.symptom), new_x=XPos.LMARGIN, new_y=YPos.NEXT, align="L")
    page.set_font(FONT, size=9)
    for name, value in card.facts:
        page.multi_cell(room, 4.2, _plain(f"{name}: {value}"), new_x=XPos.LMARGIN, new_y=YPos.NEXT, align="L")
    page.set_y(max(page.get_y(), MARGIN_MM + SQUARE_MM + 8))


def _heading(page: FPDF, text: str) -> None:
    page.ln(1.5)
    _line(page, text, 11, style="B")


def _line(page: FPDF, text: str, size: float, *, style: str = "", indent: float = 0.0) -> None:
    if not text:
        return
    page.set_font(FONT, style=style, size=size)
    page.set_x(MARGIN_MM + indent)
    page.multi_cell(0, size * 0.46, _plain(text), new_x=XPos.LMARGIN, new_y=YPos.NEXT, align="L")


def _plain(text: str) -> str:
    """The text in the letters of the built-in fonts."""
    try:
        return text.encode("latin-1").decode("latin-1")
    except UnicodeEncodeError:
        bare = "".join(c for c in unicodedata.normalize("NFKD", text) if not unicodedata.combining(c))
        return bare.encode("latin-1", errors="replace").decode("latin-1")
