"""Pictures of the printed review as plain marks, in millimetres; drawn alike on a page of HTML and on one of PDF."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import cache
from itertools import pairwise

from fpdf import FPDF

# The palette of all charts (the light one): text, quieter text, grid, marks, marks that mean "before", and a tint.
INK, MUTED, GRID, MARK, BEFORE, TINT = "#2B2118", "#5E5042", "#EDE2CE", "#0072B2", "#7A6A58", "#CCE3F0"
FONT = "Helvetica"
POINT_MM = 25.4 / 72.0
SMALL, NORMAL = 7.5, 8.5
LINE_MM = 3.7


@dataclass(frozen=True)
class Text:
    """One line of text; `y` is its baseline, `anchor` start, middle or end."""

    x: float
    y: float
    text: str
    size: float = NORMAL
    colour: str = INK
    weight: str = "normal"
    anchor: str = "start"


@dataclass(frozen=True)
class Line:
    """A straight line."""

    start: tuple[float, float]
    end: tuple[float, float]
    colour: str
    width: float


@dataclass(frozen=True)
class Area:
    """A filled shape, by its corners."""

    corners: tuple[tuple[float, float], ...]
    colour: str


@dataclass(frozen=True)
class Dot:
    """A filled circle."""

    x: float
    y: float
    radius: float
    colour: str


type Mark = Text | Line | Area | Dot


@dataclass(frozen=True)
class Drawing:
    """Marks on a sheet of so many millimetres."""

    width: float
    height: float
    marks: tuple[Mark, ...]


@dataclass(frozen=True)
class Point:
    """One place of a course: its label (may be ""), estimate, both ends (equal to it where there are none)."""

    label: str
    value: float
    low: float
    high: float
    is_before: bool = False


def text_width(text: str, size: float, *, weight: str = "normal") -> float:
    """Width in millimetres in the font of the PDF; the sans-serif fonts of browsers are hardly wider."""
    page = _measuring()
    page.set_font(FONT, style="B" if weight == "bold" else "", size=size)
    return float(page.get_string_width(text.encode("latin-1", errors="replace").decode("latin-1")))


def wrap(text: str, width: float, size: float, *, weight: str = "normal") -> list[str]:
    """The text in lines no wider than `width`; a word that is wider alone is broken."""
    lines, line = [], ""
    for word in text.split():
        longer = f"{line} {word}".strip()
        if line and text_width(longer, size, weight=weight) > width:
            lines.append(line)
            longer = word
        while text_width(longer, size, weight=weight) > width and len(longer) > 1:
            fits = (n for n in range(len(longer) - 1, 1, -1) if text_width(longer[:n], size, weight=weight) <= width)
            cut = next(fits, 1)
            lines.append(longer[:cut])
            longer = longer[cut:]
        line = longer
    return [*lines, line]


def draw_course(points: Sequence[Point], unit: str, width: float, *, height: float = 30.0) -> Drawing:
    """A line with its nine-in-ten band, from nought up; `unit` says what the numbers at the left are."""
    marks, place = _frame(points, unit, width, height)
    xs = _across(len(points), width, margin=0.0)
    if any(point.low < point.high for point in points):
        upper = [(x, place(point.high)) for x, point in zip(xs, points, strict=True)]
        lower = [(x, place(point.low)) for x, point in zip(xs, points, strict=True)]
        marks.append(Area((*upper, *reversed(lower)), TINT))
    tops = [(x, place(point.value)) for x, point in zip(xs, points, strict=True)]
    marks += [Line(start, end, MARK, 0.7) for start, end in pairwise(tops)]
    return Drawing(width, height + LINE_MM + 1.0, (*marks, *_labels(points, xs, width, height)))


def draw_columns(points: Sequence[Point], unit: str, width: float, *, height: float = 30.0) -> Drawing:
    """Columns from nought up, each with its nine-in-ten line; those that mean "before" in the quieter colour."""
    marks, place = _frame(points, unit, width, height)
    half = 0.38 * (width - _LEFT) / max(len(points), 1)
    xs = _across(len(points), width, margin=half / 0.76)
    for x, point in zip(xs, points, strict=True):
        top, floor = place(point.value), place(0.0)
        corners = ((x - half, floor), (x - half, top), (x + half, top), (x + half, floor))
        marks.append(Area(corners, GRID if point.is_before else TINT))
        marks.append(Line((x - half, top), (x + half, top), BEFORE if point.is_before else MARK, 0.7))
        if point.low < point.high:
            marks.append(Line((x, place(point.low)), (x, place(point.high)), MARK, 0.5))
    return Drawing(width, height + LINE_MM + 1.0, (*marks, *_labels(points, xs, width, height)))


_LEFT = 10.0


def _frame(
    points: Sequence[Point], unit: str, width: float, height: float
) -> tuple[list[Mark], Callable[[float], float]]:
    step = _step(max([point.high for point in points] + [point.value for point in points] + [1e-9]))
    top = 4 * step
    room = height - LINE_MM - 1.0

    def place(value: float) -> float:
        return LINE_MM + 1.0 + room * (1.0 - min(value, top) / top)

    marks: list[Mark] = [Text(0, LINE_MM - 1.2, unit, SMALL, MUTED)]
    for at in range(0, 5, 2):
        y = place(at * step)
        marks += [
            Line((_LEFT, y), (width, y), GRID, 0.3),
            Text(_LEFT - 1.5, y + 0.9, f"{at * step:g}", SMALL, MUTED, anchor="end"),
        ]
    return marks, place


def _labels(points: Sequence[Point], xs: Sequence[float], width: float, height: float) -> list[Mark]:
    """Labels below, as many as have room."""
    labels: list[Mark] = []
    free = 0.0
    for x, point in zip(xs, points, strict=True):
        wide = text_width(point.label, SMALL)
        left = min(max(x - wide / 2, 0.0), width - wide)
        if point.label and left >= free:
            labels.append(Text(left, height + LINE_MM + 0.2, point.label, SMALL, MUTED))
            free = left + wide + 2.0
    return labels


def _across(count: int, width: float, *, margin: float) -> list[float]:
    room = width - _LEFT - 2 * margin
    return [_LEFT + margin + room * at / max(count - 1, 1) for at in range(count)]


def _step(most: float) -> float:
    """A quarter of the scale: 1, 2, 2.5 or 5 times a power of ten."""
    power = 10.0 ** float(f"{most / 4:e}".split("e")[1])
    return next(step * power for step in (1, 2, 2.5, 5, 10) if 4 * step * power >= most * (1 - 1e-9))


@cache
def _measuring() -> FPDF:
    return FPDF()
