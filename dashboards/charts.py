"""Charts: a frame becomes a picture that says its finding. One palette, safe for every colour vision and for print."""

from collections.abc import Sequence
from dataclasses import dataclass

import altair as alt
import pandas as pd

ROW_PIXELS = 48
# The title stands level with the headings beside it; nothing is lost at the sides.
_PADDING = {"top": 12, "bottom": 0, "left": 0, "right": 2}
# The letters of the page around it.
_FONT = '"Source Sans", sans-serif'
_NAME_RISE, _TEXT_PIXELS = -8, 14
# Two lines of a finding fit a telephone only in smaller letters.
_TITLE_PIXELS = alt.expr("width < 420 ? 16 : 19")
# Mean width of a letter at that size, and the least gap between a name and its odds.
_LETTER_PIXELS, _GAP_PIXELS = 6.0, 16


@dataclass(frozen=True)
class Palette:
    """Colours of one theme: text, quieter text, grid, paper, marks, and the mark that means "before"."""

    ink: str
    muted: str
    grid: str
    paper: str
    mark: str
    before: str


# Blue of Okabe and Ito (2008), "Color Universal Design"; the lighter blue of the same set on dark paper.
LIGHT = Palette(ink="#2B2118", muted="#5E5042", grid="#EDE2CE", paper="#FBF6EC", mark="#0072B2", before="#7A6A58")
DARK = Palette(ink="#F4EADB", muted="#C9B9A4", grid="#352C24", paper="#1D1814", mark="#56B4E9", before="#A8977F")


def chart_suspects(frame: pd.DataFrame, palette: Palette, *, title: Sequence[str], scale: str) -> alt.LayerChart:
    """Suspects as dots with 50 % (thick) and 90 % (thin) intervals on one scale from 0 to 10 in ten.

    Parameters
    ----------
    frame : name, share, low_50, high_50, low_90, high_90 (0 to 1), short, phrase (words); in the order to show
    title : the finding, one line an item
    scale : what the ten are
    """
    base = _base(frame)
    thin = base.mark_rule(strokeWidth=2, color=palette.mark).encode(x=_x("low_90", palette, scale), x2=_x2("high_90"))
    thick = base.mark_rule(strokeWidth=8, color=palette.mark, opacity=0.55, strokeCap="round").encode(
        x="low_50_in_ten:Q", x2=_x2("high_50")
    )
    dot = base.mark_point(filled=True, size=100, color=palette.mark, stroke=palette.paper, strokeWidth=1.5, opacity=1)
    return _finish([thin, thick, dot.encode(x="share_in_ten:Q"), *_labels(base, frame, palette)], palette, title)


def chart_moved(frame: pd.DataFrame, palette: Palette, *, title: Sequence[str], scale: str) -> alt.LayerChart:
    """Odds before (ring) and after (dot) a check, joined by a line, on the scale of `chart_suspects`.

    Parameters
    ----------
    frame : name, before, after (0 to 1), short, phrase (words); in the order to show
    title : the finding, one line an item
    scale : what the ten are
    """
    base = _base(frame)
    line = base.mark_rule(strokeWidth=3, color=palette.mark).encode(x=_x("before", palette, scale), x2=_x2("after"))
    ring = base.mark_point(
        filled=True, size=100, color=palette.paper, stroke=palette.before, strokeWidth=2.5, opacity=1
    )
    dot = base.mark_point(filled=True, size=120, color=palette.mark, stroke=palette.paper, strokeWidth=1.5, opacity=1)
    marks = [line, ring.encode(x="before_in_ten:Q"), dot.encode(x="after_in_ten:Q")]
    return _finish([*marks, *_labels(base, frame, palette)], palette, title)


def _base(frame: pd.DataFrame) -> alt.Chart:
    numbers = frame.select_dtypes("number")
    in_ten = (10 * numbers).rename(columns=lambda name: f"{name}_in_ten")
    tooltip = [alt.Tooltip("name:N", title="suspect"), alt.Tooltip("phrase:N", title="odds")]
    y = alt.Y("name:N", sort=list(frame["name"]), axis=None)
    return alt.Chart(pd.concat([frame[["name", "short", "phrase"]], in_ten], axis=1)).encode(y=y, tooltip=tooltip)


def _x(column: str, palette: Palette, scale: str) -> alt.X:
    axis = alt.Axis(
        title=scale,
        values=[0, 2, 4, 6, 8, 10],
        format="d",
        grid=True,
        gridColor=palette.grid,
        domain=False,
        ticks=False,
        labelColor=palette.muted,
        titleColor=palette.muted,
        labelFontSize=12,
        titleFontSize=12,
        titleFontWeight="normal",
        titleAnchor="start",
    )
    return alt.X(f"{column}_in_ten:Q", scale=alt.Scale(domain=[0, 10], nice=False), axis=axis)


def _x2(column: str) -> alt.X2:
    return alt.X2(f"{column}_in_ten:Q")


def _labels(base: alt.Chart, frame: pd.DataFrame, palette: Palette) -> list[alt.Chart]:
    """Name left and odds right above each line; the short odds in all rows where the long ones would meet a name."""
    letters = (frame["name"].str.len() + frame["phrase"].str.len()).max()
    fitting = alt.expr(f"width < {_LETTER_PIXELS * letters + _GAP_PIXELS:.0f} ? datum.short : datum.phrase")
    name = base.mark_text(
        align="left", baseline="bottom", dy=_NAME_RISE, fontSize=_TEXT_PIXELS, fontWeight=600, color=palette.ink
    ).encode(text="name:N", x=alt.value(0))
    odds = base.mark_text(
        align="right", baseline="bottom", dy=_NAME_RISE, fontSize=_TEXT_PIXELS, color=palette.ink, text=fitting
    ).encode(x=alt.value("width"))
    return [name, odds]


def _finish(layers: Sequence[alt.Chart], palette: Palette, title: Sequence[str]) -> alt.LayerChart:
    heading = alt.TitleParams(
        list(title), anchor="start", color=palette.ink, fontSize=_TITLE_PIXELS, fontWeight=600, offset=18
    )
    return (
        alt.layer(*layers)
        .properties(title=heading, height=alt.Step(ROW_PIXELS), background="transparent", padding=_PADDING)
        .configure(font=_FONT)
        .configure_view(stroke=None)
    )
