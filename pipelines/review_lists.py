"""A list of the printed review: names, a dot on its nine-in-ten line, the words and counts beside it."""

from collections.abc import Sequence
from dataclasses import dataclass

from pipelines.review_drawing import (
    GRID,
    INK,
    LINE_MM,
    MARK,
    MUTED,
    NORMAL,
    SMALL,
    Dot,
    Drawing,
    Line,
    Mark,
    Text,
    text_width,
    wrap,
)

# Narrower than this, a name has a line of its own.
NARROW_MM = 120.0
_NAMES_MM, _GAP_MM, _LEAST_MM = 66.0, 2.2, 8.0


@dataclass(frozen=True)
class Bar:
    """One line of a list: names (the first stands out), estimate with both ends, both in words, and counts in words."""

    names: tuple[str, ...]
    value: float
    low: float
    high: float
    phrase: str
    beside: str


@dataclass(frozen=True)
class _Columns:
    """Where the scale begins and ends, where the words end, the width of all, the figure at the end of the scale."""

    first: float
    last: float
    words: float
    width: float
    most: float

    @property
    def is_narrow(self) -> bool:
        return self.width < NARROW_MM

    def place(self, value: float) -> float:
        return self.first + (self.last - self.first) * min(value, self.most) / self.most


def draw_list(bars: Sequence[Bar], heads: tuple[str, str], width: float, *, most: float = 0.0) -> Drawing:
    """Names with a dot and its nine-in-ten line on one scale from nought, the words and counts to the right.

    Parameters
    ----------
    heads : what the figure is, what the counts are
    most : right end of the scale where it is given by nature (10 for shares of ten)
    """
    columns = _columns(bars, heads, width, most or max((bar.high for bar in bars), default=1.0) or 1.0)
    marks: list[Mark] = [
        Text(columns.words, LINE_MM - 1, heads[0], SMALL, MUTED, anchor="end"),
        Text(width, LINE_MM - 1, heads[1], SMALL, MUTED, anchor="end"),
    ]
    y = LINE_MM + 0.6
    for bar in bars:
        names = _names(bar, columns, y)
        below = len(names) if columns.is_narrow else 0
        marks += [Line((0, y), (width, y), GRID, 0.2), *names, *_figure(bar, columns, y + LINE_MM * (below + 1) - 1.5)]
        y += LINE_MM * max(len(names), below + 1, 1) + (1.9 if columns.is_narrow else 0.9)
    return Drawing(width, y + 0.5, tuple(marks))


def _columns(bars: Sequence[Bar], heads: tuple[str, str], width: float, most: float) -> _Columns:
    words = max([text_width(bar.phrase, NORMAL, weight="bold") for bar in bars] + [text_width(heads[0], SMALL)])
    counts = max([text_width(bar.beside, NORMAL) for bar in bars] + [text_width(heads[1], SMALL)])
    # a dot at nought is not cut
    first = 1.2 if width < NARROW_MM else _NAMES_MM
    last = max(width - words - counts - 3 * _GAP_MM, first + _LEAST_MM)
    return _Columns(first, last, width - counts - 2 * _GAP_MM, width, most)


def _names(bar: Bar, columns: _Columns, top: float) -> list[Text]:
    """Each line of each name."""
    room = columns.width if columns.is_narrow else columns.first - _GAP_MM
    kinds = [(INK, "bold"), *[(MUTED, "normal")] * len(bar.names)]
    lines = [
        (line, colour, weight)
        for name, (colour, weight) in zip(bar.names, kinds, strict=False)
        for line in wrap(name, room, NORMAL, weight=weight)
    ]
    return [
        Text(0, top + LINE_MM * at - 0.5, line, NORMAL, colour, weight)
        for at, (line, colour, weight) in enumerate(lines, start=1)
    ]


def _figure(bar: Bar, columns: _Columns, middle: float) -> list[Mark]:
    """The scale, the line and the dot, the words, the counts."""
    return [
        Line((columns.first, middle), (columns.last, middle), GRID, 0.5),
        Line((columns.place(bar.low), middle), (columns.place(bar.high), middle), MARK, 0.8),
        Dot(columns.place(bar.value), middle, 1.0, MARK),
        Text(columns.words, middle + 1.0, bar.phrase, NORMAL, INK, "bold", "end"),
        Text(columns.width, middle + 1.0, bar.beside, NORMAL, MUTED, anchor="end"),
    ]
