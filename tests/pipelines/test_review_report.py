"""The printed review: each figure with its question and its answer, nothing cut, what is left out said."""

import io
from collections.abc import Iterator
from datetime import date

import pandas as pd
import pytest
from pypdf import PdfReader

from dashboards.charts_look import LIGHT
from pipelines import review_arrivals, review_checks, review_comebacks, review_drawing, review_quarters
from pipelines.review_drawing import Area, Dot, Drawing, Line, Mark, Text, text_width, wrap
from pipelines.review_figures import figure_of, say_range
from pipelines.review_parts import Part
from pipelines.review_pdf import report_pdf
from pipelines.review_report import LEFT_OUT, NARROW_MM, WIDE_MM, report_html, say_day

TODAY = date(2026, 11, 26)
LONG = "Request accepted but the drive never starts to look for the record that was asked for"
UNBROKEN = "Drehstromlichtmaschinenreglerkontaktfederspannungsmessung" * 2


def lists() -> Part:
    rows = [(name, 1234.5 - at, 1000.0, 2345.6, 98765, 4321) for at, name in enumerate((LONG, UNBROKEN, "Short", "x"))]
    columns = [review_checks.CHECK, review_checks.PER_HOUR, "from", "to", review_checks.MADE, review_checks.HITS]
    return Part(review_checks.QUESTION_FIX, "Look at the plug. It finds most.", pd.DataFrame(rows, columns=columns))


def course() -> Part:
    names = [f"{year} Q{quarter}" for year in range(2020, 2026) for quarter in range(1, 5)]
    columns = {review_quarters.QUARTER: names[::-1], review_quarters.TENS: 3.0, "from": 0.0, "to": 9.9}
    return Part(review_quarters.QUESTION_FIRST, "No change.", pd.DataFrame(columns))


def months() -> Part:
    ahead = [("2026-11", 24.4, 16, 34, None), ("2026-12", 27.2, 18, 1037, None)]
    past = [(f"2025-{month:02d}", 20.0, 10, 30, month) for month in range(1, 13)]
    columns = [review_arrivals.MONTH, review_arrivals.EXPECTED, "from", "to", review_arrivals.TICKETS]
    return Part(review_arrivals.QUESTION_LOAD, "About 72 tickets.", pd.DataFrame([*ahead, *past], columns=columns))


def plain() -> Part:
    table = pd.DataFrame({"kind": ["a", LONG] * 3, "pays": [1.0] * 6, "from": [0.5] * 6, "to": [1.5] * 6})
    return Part("What else?", "This, from 2021-10-31 on.", table, ("A note.",))


def absent() -> Part:
    return Part("What cannot be said?", "Prices are missing: fill in parts.csv.", pd.DataFrame())


PICTURED = (lists, course, months)
PARTS = {"checks": (lists(), course(), plain()), "arrivals": (months(), absent())}


def corners(mark: Mark) -> Iterator[tuple[float, float]]:
    match mark:
        case Text():
            wide = text_width(mark.text, mark.size, weight=mark.weight)
            left = mark.x - wide * {"start": 0.0, "middle": 0.5, "end": 1.0}[mark.anchor]
            yield from ((left, mark.y), (left + wide, mark.y))
        case Line():
            yield from (mark.start, mark.end)
        case Area():
            yield from mark.corners
        case Dot():
            yield from ((mark.x - mark.radius, mark.y), (mark.x + mark.radius, mark.y))


def outside(drawing: Drawing) -> list[tuple[float, float]]:
    spots = [spot for mark in drawing.marks for spot in corners(mark)]
    return [(x, y) for x, y in spots if not (-0.01 <= x <= drawing.width + 0.01 and 0 <= y <= drawing.height)]


@pytest.mark.parametrize("width", [WIDE_MM, NARROW_MM])
@pytest.mark.parametrize("make", PICTURED)
def test_no_picture_leaves_its_sheet(make: type, width: float) -> None:
    draw = figure_of(make()).draw
    assert draw is not None
    assert outside(draw(width)) == []


def test_no_line_of_a_name_is_wider_than_its_column() -> None:
    for name in (LONG, UNBROKEN):
        lines = wrap(name, 60.0, 8.5, weight="bold")
        assert max(text_width(line, 8.5, weight="bold") for line in lines) <= 60.0
        assert "".join(lines).replace(" ", "") == name.replace(" ", "")


def test_each_question_stands_before_its_finding_and_none_is_lost() -> None:
    page = report_html(PARTS, made_on=TODAY)
    for part in (lists(), course(), plain(), months()):
        assert page.count(f"<h3>{part.question}</h3>") == 1
    assert f"<h3>{course().question}</h3><p>No change.</p>" in page
    assert page.index(LEFT_OUT) < page.index("<b>What cannot be said?</b> Prices are missing")
    assert "<h3>What cannot be said?</h3>" not in page


def test_a_figure_said_finer_in_another_one_is_named_as_left_out() -> None:
    part = Part(review_comebacks.QUESTION_REMEDIES, "Nine in ten.", pd.DataFrame({"remedy": ["a"]}))
    page = report_html({"comebacks": (part,)}, made_on=TODAY)
    assert page.index(LEFT_OUT) < page.index(review_comebacks.QUESTION_REMEDIES)


def test_a_question_its_finding_and_its_last_row_share_a_sheet_of_paper() -> None:
    many = {"checks": tuple(lists() if at % 2 else months() for at in range(14))}
    sheets = [page.extract_text() for page in PdfReader(io.BytesIO(report_pdf(many, made_on=TODAY))).pages]
    assert len(sheets) > 2
    assert sum(sheet.count(lists().question) for sheet in sheets) == 7
    for sheet in sheets:
        assert sheet.count(lists().question) == sheet.count("fixes per bench hour")
        assert sheet.count(months().question) == sheet.count("expected (blue)") == sheet.count("Dec 26")


def test_an_estimate_and_its_ends_share_a_column_and_few_rows_are_printed() -> None:
    figure = figure_of(plain())
    assert figure.header == ("kind", "pays")
    assert figure.rows[0] == ("a", "1 (0.5 to 1.5)")
    assert len(figure.rows) == 3
    assert say_range(14.06, 12.82, 15.31) == "14 (13 to 15)"
    assert say_range(0.0, 0.0, 0.0) == "0"


def test_days_are_written_as_where_the_program_runs(monkeypatch: pytest.MonkeyPatch) -> None:
    for name in ("LANGUAGE", "LC_ALL", "LC_TIME", "LANG"):
        monkeypatch.delenv(name, raising=False)
    # by CLDR, the Unicode Common Locale Data Repository, medium format
    for here, told in (("de_DE.UTF-8", "26.11.2026"), ("en_US.UTF-8", "Nov 26, 2026"), ("C", "26 Nov 2026")):
        monkeypatch.setenv("LC_TIME", here)
        assert say_day(TODAY) == told
    assert "31 Oct 2021" in report_html({"checks": (plain(),)}, made_on=TODAY)


def test_paper_and_screen_share_one_palette() -> None:
    own = (review_drawing.INK, review_drawing.MUTED, review_drawing.GRID, review_drawing.MARK, review_drawing.BEFORE)
    assert own == (LIGHT.ink, LIGHT.muted, LIGHT.grid, LIGHT.mark, LIGHT.before)
