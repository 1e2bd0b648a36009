"""The review as a PDF to print."""

import unicodedata
from collections.abc import Mapping
from datetime import date

from fpdf import FPDF
from fpdf.enums import TableBordersLayout, XPos, YPos
from fpdf.fonts import FontFace

from pipelines.review_drawing import (
    BEFORE,
    FONT,
    GRID,
    INK,
    MARK,
    MUTED,
    Area,
    Dot,
    Drawing,
    Line,
    Text,
)
from pipelines.review_figures import Figure
from pipelines.review_parts import Part
from pipelines.review_report import (
    HOW_TO_READ,
    IN_SHORT,
    LEFT_OUT,
    THE_REST,
    TITLE,
    WIDE_MM,
    Report,
    in_short,
    make_report,
)

MARGIN_MM, PAPER = 14.0, "#FFFFFF"
ROW_MM, LABEL_MM = 4.2, 42.0
# A text column is this many times as wide as one of numbers.
TEXT_WIDTH = 2.0


class _Sheets(FPDF):
    def footer(self) -> None:
        """The number of the page."""
        self.set_y(-MARGIN_MM + 2)
        self.set_font(FONT, size=7.5)
        self.set_text_color(MUTED)
        self.cell(0, 4, f"{TITLE}, page {self.page_no()} of {{nb}}", align="R")


def report_pdf(parts: Mapping[str, tuple[Part, ...]], *, made_on: date) -> bytes:
    """The report as PDF; a figure is never split between two pages.

    The built-in fonts know Western European letters only; others lose their accents or become "?".
    """
    report = make_report(parts, made_on=made_on)
    page = _Sheets(format="A4")
    page.set_margin(MARGIN_MM)
    # words begin where rules and pictures do
    page.c_margin = 0
    page.set_auto_page_break(auto=True, margin=MARGIN_MM + 2)
    page.set_title(TITLE)
    page.set_lang("en")
    page.add_page()
    _open(page, report)
    for title, figures in report.chapters:
        for at, figure in enumerate(figures):
            heading = "" if at else title
            with page.offset_rendering() as trial:
                _draw(trial, figure, heading)  # type: ignore[arg-type]  # it records what an FPDF would do
            if trial.page_break_triggered:
                page.add_page()
            _draw(page, figure, heading)
    _close(page, report)
    return bytes(page.output())


def _open(page: FPDF, report: Report) -> None:
    """Title, date, and what it comes to."""
    page.set_fill_color(MARK)
    page.rect(MARGIN_MM, MARGIN_MM, WIDE_MM, 1.2, style="F")
    page.ln(4)
    _line(page, TITLE, 20, style="B")
    page.ln(1)
    _line(page, report.lead, 9, colour=MUTED)
    page.ln(2)
    if not report.chapters:
        return
    _line(page, IN_SHORT, 11, style="B")
    page.ln(0.8)
    for title, told in in_short(report):
        y = page.get_y()
        _line(page, title, 9, style="B", width=LABEL_MM)
        page.set_xy(MARGIN_MM + LABEL_MM, y)
        _line(page, told, 9, width=WIDE_MM - LABEL_MM)
        page.ln(0.8)


def _close(page: FPDF, report: Report) -> None:
    """What is left out, and how to read it, in small letters."""
    page.ln(5)
    _line(page, LEFT_OUT, 10.5, style="B")
    for question, reason in report.left_out:
        _line(page, f"{question} {reason}", 8)
        page.ln(0.6)
    _line(page, THE_REST, 8)
    page.ln(3)
    _line(page, HOW_TO_READ, 10.5, style="B")
    for note in report.notes:
        _line(page, note, 7.5, colour=MUTED)
        page.ln(0.6)


def _draw(page: FPDF, figure: Figure, heading: str) -> None:
    if heading:
        page.ln(5)
        _line(page, heading, 9.5, style="B", colour=MUTED)
        page.set_draw_color(BEFORE)
        page.set_line_width(0.3)
        page.line(MARGIN_MM, page.get_y() + 0.5, MARGIN_MM + WIDE_MM, page.get_y() + 0.5)
    page.ln(3.5)
    _line(page, figure.question, 11, style="B")
    page.ln(0.5)
    _line(page, figure.finding, 9)
    page.ln(1)
    if figure.draw is not None:
        _picture(page, figure.draw(WIDE_MM))
    elif figure.rows:
        _table(page, figure)


def _table(page: FPDF, figure: Figure) -> None:
    page.set_font(FONT, size=8)
    page.set_text_color(INK)
    page.set_draw_color(GRID)
    page.set_fill_color(PAPER)
    with page.table(
        borders_layout=TableBordersLayout.HORIZONTAL_LINES,
        col_widths=tuple(1.0 if right else TEXT_WIDTH for right in figure.is_number),
        headings_style=FontFace(color=MUTED),
        line_height=ROW_MM,
        padding=(0.3, 2.0, 0.3, 0.0),
        text_align=tuple("RIGHT" if right else "LEFT" for right in figure.is_number),
    ) as table:
        for cells in (figure.header, *figure.rows):
            table.row([_plain(cell) for cell in cells])


def _picture(page: FPDF, drawing: Drawing) -> None:
    """The marks from here on down; a page that is too short is left first."""
    if page.will_page_break(drawing.height):
        page.add_page()
    left, top = MARGIN_MM, page.get_y()
    for mark in drawing.marks:
        match mark:
            case Text():
                _text(page, mark, left, top)
            case Line():
                page.set_draw_color(mark.colour)
                page.set_line_width(mark.width)
                (x1, y1), (x2, y2) = mark.start, mark.end
                page.line(left + x1, top + y1, left + x2, top + y2)
            case Area():
                page.set_fill_color(mark.colour)
                page.polygon([(left + x, top + y) for x, y in mark.corners], style="F")
            case Dot():
                page.set_fill_color(mark.colour)
                page.circle(left + mark.x, top + mark.y, mark.radius, style="F")
    page.set_y(top + drawing.height)


def _text(page: FPDF, mark: Text, left: float, top: float) -> None:
    page.set_font(FONT, style="B" if mark.weight == "bold" else "", size=mark.size)
    page.set_text_color(mark.colour)
    told = _plain(mark.text)
    shift = {"start": 0.0, "middle": 0.5, "end": 1.0}[mark.anchor] * page.get_string_width(told)
    page.text(left + mark.x - shift, top + mark.y, told)


def _line(page: FPDF, text: str, size: float, *, style: str = "", colour: str = INK, width: float = 0.0) -> None:
    page.set_font(FONT, style=style, size=size)
    page.set_text_color(colour)
    page.multi_cell(width, size * 0.46, _plain(text), new_x=XPos.LMARGIN, new_y=YPos.NEXT, align="L")


def _plain(text: str) -> str:
    """The text in the letters of the built-in fonts."""
    try:
        return text.encode("latin-1").decode("latin-1")
    except UnicodeEncodeError:
        bare = "".join(c for c in unicodedata.normalize("NFKD", text) if not unicodedata.combining(c))
        return bare.encode("latin-1", errors="replace").decode("latin-1")
