"""Charts about comebacks: how long repairs hold, and visits per machine by age, each with its band."""

from collections.abc import Sequence

import altair as alt
import pandas as pd

from dashboards.charts_look import ON_TOP, SMALL_PIXELS, Palette, finish, quiet_axis

_HEIGHT = 280
_HOLD_DAYS = (0, 30, 90, 180, 365)


def chart_holds(
    frame: pd.DataFrame, palette: Palette, *, title: Sequence[str], words: dict[str, str]
) -> alt.LayerChart:
    """Shares of repairs that still hold after so many days, a line with its 90 % band for each name.

    Parameters
    ----------
    frame : name, days, holds, low, high (of 10), phrase; at most two names, the second one is drawn quieter
    title : the finding, one line an item
    words : days, holds (titles of the axes)
    """
    names = list(dict.fromkeys(frame["name"]))
    days = quiet_axis(palette, title=words["days"], values=list(_HOLD_DAYS), grid=False)
    x = alt.X("days:Q", scale=alt.Scale(domain=[0, 365], nice=False), axis=days)
    shares = quiet_axis(palette, title=words["holds"], tickCount=5, **ON_TOP)
    y = alt.Y("low:Q", scale=alt.Scale(domain=[0, 10], nice=False), axis=shares)
    layers: list[alt.Chart] = []
    for name, color in zip(names, (palette.mark, palette.before), strict=False):
        rows = frame[frame["name"] == name]
        base = alt.Chart(rows).encode(x=x, tooltip=[alt.Tooltip("phrase:N", title="repair")])
        layers += [
            base.mark_area(color=color, opacity=0.25).encode(y=y, y2="high:Q"),
            base.mark_line(color=color, strokeWidth=3).encode(y="holds:Q"),
        ]
    return finish([*layers, *_end_labels(frame, names, palette, x)], palette, title).properties(height=_HEIGHT)


def chart_visits(
    frame: pd.DataFrame, palette: Palette, *, title: Sequence[str], words: dict[str, str]
) -> alt.LayerChart:
    """Visits per machine so far by age, with the 90 % band.

    Parameters
    ----------
    frame : age, visits, low, high, phrase
    title : the finding, one line an item
    words : age, visits (titles of the axes)
    """
    ages = alt.Scale(zero=False, nice=False)
    x = alt.X("age:Q", scale=ages, axis=quiet_axis(palette, title=words["age"], tickCount=6, grid=False))
    y = alt.Y("low:Q", axis=quiet_axis(palette, title=words["visits"], tickCount=5, **ON_TOP))
    base = alt.Chart(frame).encode(x=x, tooltip=[alt.Tooltip("phrase:N", title="age")])
    layers = [
        base.mark_area(color=palette.mark, opacity=0.25).encode(y=y, y2="high:Q"),
        base.mark_line(color=palette.mark, strokeWidth=3).encode(y="visits:Q"),
    ]
    return finish(layers, palette, title).properties(height=_HEIGHT)


def _end_labels(frame: pd.DataFrame, names: list[str], palette: Palette, x: alt.X) -> list[alt.Chart]:
    """The name of each line below its right end; of two lines, the upper one has its name above."""
    ends = frame.groupby("name")["holds"].last()
    labels = []
    for name, color in zip(names, (palette.mark, palette.before), strict=False):
        rows = frame[(frame["name"] == name) & (frame["days"] == frame["days"].max())]
        above = len(names) > 1 and ends[name] == ends.max()
        text = alt.Chart(rows).mark_text(
            align="right", dy=-14 if above else 16, fontSize=SMALL_PIXELS, fontWeight=600, color=color
        )
        labels.append(text.encode(x=x, y="high:Q" if above else "low:Q", text="name:N"))
    return labels
