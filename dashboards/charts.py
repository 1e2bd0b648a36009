"""Charts of the Bench: suspects with their intervals, and what a check moved."""

from collections.abc import Sequence

import altair as alt
import pandas as pd

from dashboards.charts_look import ROW_PIXELS, Palette, dot, finish, quiet_axis, row_labels


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
    guess = dot(base, palette).encode(x="share_in_ten:Q")
    return _rows([thin, thick, guess, *row_labels(base, frame, palette)], palette, title)


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
    marks = [line, ring.encode(x="before_in_ten:Q"), dot(base, palette).encode(x="after_in_ten:Q")]
    return _rows([*marks, *row_labels(base, frame, palette)], palette, title)


def _base(frame: pd.DataFrame) -> alt.Chart:
    numbers = frame.select_dtypes("number")
    in_ten = (10 * numbers).rename(columns=lambda name: f"{name}_in_ten")
    tooltip = [alt.Tooltip("name:N", title="suspect"), alt.Tooltip("phrase:N", title="odds")]
    y = alt.Y("name:N", sort=list(frame["name"]), axis=None)
    return alt.Chart(pd.concat([frame[["name", "short", "phrase"]], in_ten], axis=1)).encode(y=y, tooltip=tooltip)


def _x(column: str, palette: Palette, scale: str) -> alt.X:
    axis = quiet_axis(palette, title=scale, values=[0, 2, 4, 6, 8, 10], format="d", grid=True)
    return alt.X(f"{column}_in_ten:Q", scale=alt.Scale(domain=[0, 10], nice=False), axis=axis)


def _x2(column: str) -> alt.X2:
    return alt.X2(f"{column}_in_ten:Q")


def _rows(layers: Sequence[alt.Chart], palette: Palette, title: Sequence[str]) -> alt.LayerChart:
    return finish(layers, palette, title).properties(height=alt.Step(ROW_PIXELS))
