"""The learning curve as SVG: tickets on a log scale, log loss, one labelled line a method."""

from collections.abc import Sequence
from html import escape

import numpy as np
import pandas as pd

WIDTH, HEIGHT = 760, 440
LEFT, RIGHT, TOP, BOTTOM = 62, 214, 46, 52
# Strong for ours, grey for the others, dashes for what nobody can beat.
STYLES = {
    "this model": ("#9c3f1d", 3.0, ""),
    "this model, list without strengths": ("#d08a5b", 2.2, ""),
    "true odds": ("#1f5f5b", 1.8, "6 4"),
}
OTHER_COLOURS = ("#4f6d8f", "#7d7d86", "#a08fb5", "#8a9a5b")
LABEL_GAP = 17.0
FONT = "font-family='Georgia, serif'"


def draw_figure(table: pd.DataFrame) -> str:
    """SVG text of a table with the columns tickets, method, log_loss."""
    methods = list(dict.fromkeys(table["method"]))
    greys = iter(OTHER_COLOURS * len(methods))
    styles = {method: STYLES.get(method) or (next(greys), 1.6, "") for method in methods}
    low, high = np.floor(table["log_loss"].min() * 10) / 10, np.ceil(table["log_loss"].max() * 10) / 10
    sizes = sorted(table["tickets"].unique())

    def place(tickets: float, loss: float) -> tuple[float, float]:
        along = np.log(tickets / sizes[0]) / np.log(sizes[-1] / sizes[0])
        return LEFT + along * (WIDTH - LEFT - RIGHT), TOP + (high - loss) / (high - low) * (HEIGHT - TOP - BOTTOM)

    parts = [*_frame(sizes, np.linspace(low, high, round(10 * (high - low)) + 1), place(sizes[0], low)[1])]
    for loss in np.linspace(low, high, round(10 * (high - low)) + 1):
        y = place(sizes[0], loss)[1]
        parts.append(f"<line x1='{LEFT}' x2='{WIDTH - RIGHT}' y1='{y:.1f}' y2='{y:.1f}' stroke='#e4ddd0'/>")
        parts.append(_text(LEFT - 8, y + 4, f"{loss:.1f}", anchor="end"))
    for size in sizes:
        parts.append(_text(place(size, low)[0], HEIGHT - BOTTOM + 20, f"{size:,}", anchor="middle"))
    ends = {}
    for method in methods[::-1]:
        rows = table[table["method"] == method].sort_values("tickets")
        points = [place(*row) for row in zip(rows["tickets"], rows["log_loss"], strict=True)]
        parts.append(_line(points, styles[method]))
        ends[method] = points[-1]
    for method, y in _spread_labels({method: end[1] for method, end in ends.items()}).items():
        x, end_y = ends[method]
        colour = styles[method][0]
        parts.append(f"<path d='M{x + 3:.1f} {end_y:.1f} L{x + 14:.1f} {y:.1f}' stroke='{colour}' fill='none'/>")
        parts.append(_text(x + 18, y + 4, method, colour=colour))
    head = f"<svg xmlns='http://www.w3.org/2000/svg' viewBox='0 0 {WIDTH} {HEIGHT}' role='img'>"
    return "\n".join([head, *parts, "</svg>"]) + "\n"


def _frame(sizes: Sequence[int], losses: np.ndarray, floor: float) -> list[str]:
    """Background, title and names of the axes."""
    about = f"Log loss of later tickets by tickets learnt from, {sizes[0]} to {sizes[-1]}, {losses[0]:.1f} up"
    return [
        f"<title>{escape(about)}</title>",
        f"<rect width='{WIDTH}' height='{HEIGHT}' fill='#fffdf8'/>",
        _text(LEFT, 26, "Surprise at the true suspect of later tickets (log loss, lower is better)", size=15),
        _text((LEFT + WIDTH - RIGHT) / 2, HEIGHT - 12, "tickets learnt from", anchor="middle"),
        f"<line x1='{LEFT}' x2='{WIDTH - RIGHT}' y1='{floor:.1f}' y2='{floor:.1f}' stroke='#6b6257'/>",
    ]


def _line(points: Sequence[tuple[float, float]], style: tuple[str, float, str]) -> str:
    colour, width, dash = style
    path = " ".join(f"{x:.1f},{y:.1f}" for x, y in points)
    dots = "".join(f"<circle cx='{x:.1f}' cy='{y:.1f}' r='{width + 0.6:.1f}' fill='{colour}'/>" for x, y in points)
    dashes = f" stroke-dasharray='{dash}'" if dash else ""
    line = f"<polyline points='{path}' fill='none' stroke='{colour}' stroke-width='{width}'{dashes}/>"
    return line if dash else line + dots


def _spread_labels(heights: dict[str, float]) -> dict[str, float]:
    """Heights moved apart until no label covers another, in their order."""
    ordered = sorted(heights, key=lambda method: heights[method])
    moved: list[float] = []
    for method in ordered:
        moved.append(max(heights[method], moved[-1] + LABEL_GAP) if moved else heights[method])
    shift = max(0.0, moved[-1] - (HEIGHT - BOTTOM))
    return {method: y - shift for method, y in zip(ordered, moved, strict=True)}


def _text(x: float, y: float, text: str, *, size: int = 12, anchor: str = "start", colour: str = "#3b352d") -> str:
    where = f"x='{x:.1f}' y='{y:.1f}' text-anchor='{anchor}'"
    return f"<text {where} {FONT} font-size='{size}' fill='{colour}'>{escape(text)}</text>"
