"""Charts of the Model page: what the tickets changed, whether odds keep their word, what age does, what checks can."""

from collections.abc import Sequence
from typing import Any

import altair as alt
import pandas as pd

from dashboards.charts_look import (
    ON_TOP,
    ROW_PIXELS,
    SMALL_PIXELS,
    TEXT_PIXELS,
    Palette,
    dot,
    finish,
    quiet_axis,
    row_labels,
)

_SQUARE_PIXELS, _CURVE_PIXELS, _FIELD_PIXELS = 340, 280, 46
_TENS = alt.Scale(domain=[0, 10], nice=False)
# Odds between a sixteenth and sixteen times the usual; a longer line is cut at the edge.
FACTOR_LIMITS = (0.0625, 16.0)
_FACTORS = (0.0625, 0.125, 0.25, 0.5, 1.0, 2.0, 4.0, 8.0, 16.0)


def chart_learnt(frame: pd.DataFrame, palette: Palette, *, title: Sequence[str], scale: str) -> alt.LayerChart:
    """Suspects before any ticket (ring) and now (dot, 50 and 90 % intervals), from 0 to 10 in ten.

    Parameters
    ----------
    frame : name, before, share, low_50, high_50, low_90, high_90 (in ten), short, phrase (words); in the order to show
    title : the finding, one line an item
    scale : what the ten are
    """
    tooltip = [alt.Tooltip("name:N", title="suspect"), alt.Tooltip("phrase:N", title="odds")]
    base = alt.Chart(frame).encode(y=alt.Y("name:N", sort=list(frame["name"]), axis=None), tooltip=tooltip)
    x = alt.X("low_90:Q", scale=_TENS, axis=quiet_axis(palette, title=scale, values=[0, 2, 4, 6, 8, 10], format="d"))
    thin = base.mark_rule(strokeWidth=2, color=palette.mark).encode(x=x, x2="high_90:Q")
    thick = base.mark_rule(strokeWidth=8, color=palette.mark, opacity=0.55, strokeCap="round").encode(
        x="low_50:Q", x2="high_50:Q"
    )
    # larger than the dot, so that it shows around it where nothing changed
    ring = base.mark_point(filled=False, size=180, color=palette.before, strokeWidth=2.5, opacity=1)
    layers = [thin, thick, ring.encode(x="before:Q"), dot(base, palette).encode(x="share:Q")]
    chart = finish([*layers, *row_labels(base, frame, palette)], palette, title)
    return chart.properties(height=alt.Step(ROW_PIXELS))


def chart_calibration(
    frame: pd.DataFrame, palette: Palette, *, title: Sequence[str], words: dict[str, str]
) -> alt.LayerChart:
    """What was said against what happened, with 90 % intervals, beside the line on which both agree.

    Parameters
    ----------
    frame : said, happened, low, high (in ten), phrase (words)
    title : the finding, one line an item
    words : said, happened (titles of the axes), as_said (label of the line)
    """
    base = alt.Chart(frame).encode(tooltip=[alt.Tooltip("phrase:N", title="odds")])
    tens = [0, 2, 4, 6, 8, 10]
    line = alt.Chart(pd.DataFrame({"at": [0.0, 10.0]})).mark_line(
        strokeDash=[5, 4], color=palette.before, strokeWidth=1.5
    )
    label = alt.Chart(pd.DataFrame({"said": [9.0], "happened": [9.6]})).mark_text(
        align="right", color=palette.muted, fontSize=SMALL_PIXELS, text=words["as_said"]
    )
    shared: dict[str, Any] = {"values": tens, "format": "d"}
    x = alt.X("said:Q", scale=_TENS, axis=quiet_axis(palette, title=words["said"], **shared))
    y = alt.Y("low:Q", scale=_TENS, axis=quiet_axis(palette, title=words["happened"], **shared, **ON_TOP))
    layers = [
        line.encode(x="at:Q", y="at:Q"),
        label.encode(x="said:Q", y="happened:Q"),
        base.mark_rule(strokeWidth=2, color=palette.mark).encode(x=x, y=y, y2="high:Q"),
        dot(base, palette).encode(x="said:Q", y="happened:Q"),
    ]
    return finish(layers, palette, title).properties(height=_SQUARE_PIXELS)


def chart_ages(frame: pd.DataFrame, palette: Palette, *, title: Sequence[str], words: dict[str, str]) -> alt.LayerChart:
    """Factor on the odds by age band with 90 % intervals on a doubling scale; tickets stand below each age.

    Parameters
    ----------
    frame : label (age and tickets, two lines), factor, low, high, phrase (words); youngest first
    title : the finding, one line an item
    words : scale, ages (titles of the axes), usual (label of 1)
    """
    inside = frame.assign(**{name: frame[name].clip(*FACTOR_LIMITS) for name in ("factor", "low", "high")})
    order = list(inside["label"])
    base = alt.Chart(inside).encode(tooltip=[alt.Tooltip("phrase:N", title="age")])
    split = "split(datum.value, '|')"
    ages = quiet_axis(palette, title=words["ages"], labelExpr=split, labelAngle=0, labelOverlap=False, grid=False)
    x = alt.X("label:N", sort=order, axis=ages, scale=alt.Scale(type="point", padding=0.5))
    widest = [min(0.5, inside["low"].min()), max(2.0, inside["high"].max())]
    numbers = [factor for factor in _FACTORS if widest[0] <= factor <= widest[1]]
    shown = quiet_axis(
        palette,
        title=words["scale"],
        values=numbers,
        labelExpr=f"datum.value == 1 ? '{words['usual']}' : datum.value < 1 ? '1/' + format(1 / datum.value, 'd')"
        " : format(datum.value, 'd') + 'x'",
        **ON_TOP,
    )
    y = alt.Y("low:Q", scale=alt.Scale(type="log", base=2, domain=widest, nice=False), axis=shown)
    usual = alt.Chart(pd.DataFrame({"at": [1.0]})).mark_rule(strokeDash=[5, 4], color=palette.before, strokeWidth=1.5)
    layers = [
        usual.encode(y="at:Q"),
        base.mark_rule(strokeWidth=2, color=palette.mark).encode(x=x, y=y, y2="high:Q"),
        base.mark_line(color=palette.mark, strokeWidth=1.5, opacity=0.6).encode(x=x, y="factor:Q"),
        dot(base, palette).encode(x=x, y="factor:Q"),
    ]
    return finish(layers, palette, title).properties(height=_CURVE_PIXELS)


def chart_checks(frame: pd.DataFrame, palette: Palette, *, title: Sequence[str], scale: str) -> alt.LayerChart:
    """A map of checks (rows, by name) and suspects (columns, by number): the fuller the field, the surer the check.

    Parameters
    ----------
    frame : check, suspect (words), number (of the suspect), now (0 to 1; none where the check says nothing),
        text (seeded and now in ten), phrase (words); every check with every suspect, in the order to show
    title : the finding, one line an item
    scale : what the numbers are
    """
    checks, numbers = list(dict.fromkeys(frame["check"])), sorted(set(frame["number"]))
    rows = alt.Y("check:N", sort=checks, axis=None, scale=alt.Scale(paddingInner=0.5, paddingOuter=0.25))
    across = alt.X(
        "number:O",
        scale=alt.Scale(domain=numbers, padding=0.06),
        axis=quiet_axis(palette, title=scale, orient="top", labelAngle=0, grid=False, offset=14),
    )
    every = alt.Chart(frame).encode(x=across, y=rows)
    known = alt.Chart(frame.dropna(subset=["now"])).encode(
        x=across,
        y=rows,
        tooltip=[alt.Tooltip(f"{name}:N", title=name) for name in ("check", "suspect")]
        + [alt.Tooltip("phrase:N", title="odds")],
    )
    # never so full that the text on it loses its contrast
    fullness = alt.Opacity("now:Q", scale=alt.Scale(domain=[0, 1], range=[0.08, 0.45]), legend=None)
    names = alt.Chart(pd.DataFrame({"check": checks})).mark_text(
        align="left", baseline="bottom", dy=-3, fontSize=TEXT_PIXELS, fontWeight=600, color=palette.ink
    )
    layers = [
        every.mark_rect(color=palette.grid, opacity=0.5),
        known.mark_rect(color=palette.mark).encode(opacity=fullness),
        known.mark_text(fontSize=SMALL_PIXELS, color=palette.ink).encode(text="text:N"),
        names.encode(y=alt.Y("check:N", sort=checks, bandPosition=0), x=alt.value(0), text="check:N"),
    ]
    return finish(layers, palette, title).properties(height=alt.Step(_FIELD_PIXELS))
