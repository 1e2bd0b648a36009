"""How soon a machine works: following the plan, and following habit."""

from collections.abc import Mapping, Sequence

import altair as alt
import pandas as pd

from dashboards.charts_look import ON_TOP, Palette, finish, quiet_axis

HEIGHT = 300


def chart_habit(
    frame: pd.DataFrame, palette: Palette, *, title: Sequence[str], words: Mapping[str, str]
) -> alt.LayerChart:
    """Two stairs on one scale, each with its name at its end.

    Parameters
    ----------
    frame : way ("plan" or "usual"), minutes, share (0 to 1); each way by rising minutes
    words : name of each way, and of the axes "minutes" and "share"
    """
    named = frame.assign(fixed=10 * frame["share"], name=frame["way"].map(words))
    colour = alt.Color(
        "way:N", scale=alt.Scale(domain=["plan", "usual"], range=[palette.mark, palette.before]), legend=None
    )
    dash = alt.StrokeDash("way:N", scale=alt.Scale(domain=["plan", "usual"], range=[[1, 0], [6, 4]]), legend=None)
    x = alt.X("minutes:Q", axis=quiet_axis(palette, title=words["minutes"], format="d"), scale=alt.Scale(nice=False))
    y = alt.Y(
        "fixed:Q",
        axis=quiet_axis(palette, title=words["share"], values=[0, 2, 4, 6, 8, 10], format="d", **ON_TOP),
        scale=alt.Scale(domain=[0, 10]),
    )
    base = alt.Chart(named)
    line = base.mark_line(interpolate="step-after", strokeWidth=3).encode(x=x, y=y, color=colour, strokeDash=dash)
    names = []
    for way, rise in (("plan", -12), ("usual", 14)):
        end = alt.Chart(named[named["way"] == way].tail(1))
        name = end.mark_text(align="right", dy=rise, fontSize=13, fontWeight=600)
        names.append(name.encode(x="minutes:Q", y="fixed:Q", text="name:N", color=colour))
    return finish([line, *names], palette, title).properties(height=HEIGHT)
