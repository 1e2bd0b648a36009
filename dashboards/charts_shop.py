"""Charts of the Shop page: rates with intervals on one scale, months with what was expected, quarters with changes."""

from collections.abc import Sequence

import altair as alt
import pandas as pd

from dashboards.charts_look import ON_TOP, ROW_PIXELS, SMALL_PIXELS, Palette, dot, finish, quiet_axis, row_labels

_TIME_PIXELS = 280
# "2026-11" as "Nov 26", and "2026 Q1" as "2026": level, as many as have room.
_MONTH = "timeFormat(datetime(+slice(datum.value, 0, 4), +slice(datum.value, 5) - 1, 1), '%b %y')"
_YEAR = "slice(datum.value, 0, 4)"


def chart_rates(frame: pd.DataFrame, palette: Palette, *, title: Sequence[str], scale: str) -> alt.LayerChart:
    """Rates as dots with 90 % intervals on one scale from zero, name and figure beside each.

    Parameters
    ----------
    frame : name, rate, low, high, short, phrase (words); in the order to show
    title : what is drawn, one line an item
    scale : what the numbers are
    """
    tooltip = [alt.Tooltip("name:N", title="name"), alt.Tooltip("phrase:N", title="rate")]
    base = alt.Chart(frame).encode(y=alt.Y("name:N", sort=list(frame["name"]), axis=None), tooltip=tooltip)
    most = alt.Scale(domain=[0.0, 1.02 * float(frame["high"].max())], nice=False)
    x = alt.X("low:Q", scale=most, axis=quiet_axis(palette, title=scale, tickCount=5))
    interval = base.mark_rule(strokeWidth=3, color=palette.mark, opacity=0.7).encode(x=x, x2="high:Q")
    layers = [interval, dot(base, palette).encode(x="rate:Q"), *row_labels(base, frame, palette)]
    return finish(layers, palette, title).properties(height=alt.Step(ROW_PIXELS))


def chart_months(frame: pd.DataFrame, palette: Palette, *, title: Sequence[str], scale: str) -> alt.LayerChart:
    """Tickets as bars, what was expected as a band over them; months to come have the band alone.

    Parameters
    ----------
    frame : month ("2026-11"), tickets (none for months to come), expected, low, high, phrase; oldest first
    title : what is drawn, one line an item
    scale : what bars and bands are
    """
    months = quiet_axis(
        palette, title=None, labelExpr=_MONTH, labelAngle=0, labelPadding=6, labelOverlap="greedy", grid=False
    )
    x = alt.X("month:N", sort=list(frame["month"]), axis=months, scale=alt.Scale(padding=0.2))
    y = alt.Y("tickets:Q", axis=quiet_axis(palette, title=scale, tickCount=5, **ON_TOP))
    tooltip = [alt.Tooltip("phrase:N", title="month")]
    base = alt.Chart(frame).encode(x=x, tooltip=tooltip)
    layers = [
        base.mark_bar(color=palette.before, opacity=0.45).encode(y=y),
        base.mark_rule(strokeWidth=5, color=palette.mark, opacity=0.4).encode(y="low:Q", y2="high:Q"),
        base.mark_tick(thickness=3, width=9, color=palette.mark).encode(y="expected:Q"),
    ]
    return finish(layers, palette, title).properties(height=_TIME_PIXELS)


def chart_quarters(
    frame: pd.DataFrame, palette: Palette, *, title: Sequence[str], scale: str, changes: Sequence[str]
) -> alt.LayerChart:
    """A figure by quarter with 90 % intervals; a dashed line stands where it changed.

    Parameters
    ----------
    frame : quarter ("2026 Q1"), value, low, high (none without tickets), phrase; oldest first
    title : what is drawn, one line an item
    scale : what the numbers are
    changes : quarters from which on the figure is another
    """
    years = [quarter for quarter in frame["quarter"] if quarter.endswith("Q1")]
    quarters = quiet_axis(
        palette,
        title=None,
        values=years,
        labelExpr=_YEAR,
        labelAngle=0,
        labelPadding=6,
        labelOverlap="greedy",
        grid=False,
    )
    x = alt.X("quarter:N", sort=list(frame["quarter"]), axis=quarters, scale=alt.Scale(type="point", padding=0.5))
    y = alt.Y("low:Q", scale=alt.Scale(zero=True), axis=quiet_axis(palette, title=scale, tickCount=5, **ON_TOP))
    base = alt.Chart(frame.dropna(subset=["value"])).encode(x=x, tooltip=[alt.Tooltip("phrase:N", title="quarter")])
    layers = [
        base.mark_rule(strokeWidth=2, color=palette.mark, opacity=0.7).encode(y=y, y2="high:Q"),
        base.mark_point(filled=True, size=40, color=palette.mark, opacity=1).encode(y="value:Q"),
    ]
    if changes:
        at = alt.Chart(pd.DataFrame({"quarter": list(changes)})).encode(x=x)
        layers.append(at.mark_rule(strokeDash=[5, 4], strokeWidth=2, color=palette.before))
        words = at.mark_text(align="left", dx=5, baseline="top", fontSize=SMALL_PIXELS, color=palette.ink)
        layers.append(words.encode(text="quarter:N", y=alt.value(0)))
    return finish(layers, palette, title).properties(height=_TIME_PIXELS)
