"""The review as a PDF to print."""

import unicodedata
from collections.abc import Mapping
from datetime import date

from fpdf import FPDF
from fpdf.enums import TableBordersLayout, XPos, YPos
from fpdf.fonts import FontFace

from pipelines.review_parts import Part
from pipelines.review_report import HOW_TO_READ, LEAD, TITLE, Figure, figures_of, notes_of

FONT, MARGIN_MM = "Helvetica", 14.0
ROW_MM = 3.9
# A text column is this many times as wide as one of numbers.
TEXT_WIDTH = 2.4


def report_pdf(parts: Mapping[str, tuple[Part, ...]], *, made_on: date) -> bytes:
    """The report as PDF; a figure is never split between two pages.

    The built-in fonts know Western European letters only; others lose their accents or become "?".
    """
    page = FPDF(format="A4")
    page.set_margin(MARGIN_MM)
    page.set_auto_page_break(auto=True, margin=MARGIN_MM + 2)
    page.set_title(TITLE)
    page.add_page()
    _line(page, TITLE, 17, style="B")
    _line(page, LEAD.format(day=made_on.isoformat()), 9)
    for figure in figures_of(parts):
        with page.offset_rendering() as trial:
            _draw(trial, figure)  # type: ignore[arg-type]  # it records what an FPDF would do
        if trial.page_break_triggered:
            page.add_page()
        _draw(page, figure)
    page.ln(3)
    _line(page, HOW_TO_READ, 11, style="B")
    for note in notes_of(parts):
        _line(page, f"- {note}", 7.5)
    return bytes(page.output())


def _draw(page: FPDF, figure: Figure) -> None:
    page.ln(2.2)
    _line(page, figure.question, 10.5, style="B")
    _line(page, figure.finding, 9)
    if not figure.rows:
        return
    page.set_font(FONT, size=8)
    widths = tuple(1.0 if right else TEXT_WIDTH for right in figure.is_number)
    sides = tuple("RIGHT" if right else "LEFT" for right in figure.is_number)
    with page.table(
        borders_layout=TableBordersLayout.HORIZONTAL_LINES,
        col_widths=widths,
        headings_style=FontFace(emphasis="BOLD"),
        line_height=ROW_MM,
        text_align=sides,
    ) as table:
        for cells in (figure.header, *figure.rows):
            table.row([_plain(cell) for cell in cells])


def _line(page: FPDF, text: str, size: float, *, style: str = "") -> None:
    page.set_font(FONT, style=style, size=size)
    page.multi_cell(0, size * 0.46, _plain(text), new_x=XPos.LMARGIN, new_y=YPos.NEXT, align="L")


def _plain(text: str) -> str:
    """The text in the letters of the built-in fonts."""
    try:
        return text.encode("latin-1").decode("latin-1")
    except UnicodeEncodeError:
        bare = "".join(c for c in unicodedata.normalize("NFKD", text) if not unicodedata.combining(c))
        return bare.encode("latin-1", errors="replace").decode("latin-1")
