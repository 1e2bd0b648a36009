"""Charts say their finding, keep one scale and read well: looked at as specifications, no browser needed."""

from typing import Any

import pandas as pd
import pytest

from dashboards.charts import chart_moved, chart_suspects
from dashboards.charts_look import DARK, LIGHT, Palette

SUSPECTS = pd.DataFrame(
    {
        "name": ["Home switch dirty", "Fuse blown"],
        "share": [0.4, 0.06],
        "low_50": [0.36, 0.05],
        "high_50": [0.44, 0.07],
        "low_90": [0.3, 0.02],
        "high_90": [0.5, 0.11],
        "short": ["about 4 in 10", "about 1 in 20"],
        "phrase": ["about 4 in 10 (between 3 and 5)", "about 1 in 20 (between 1 in 50 and 1 in 10)"],
    }
)
MOVED = pd.DataFrame(
    {"name": ["Fuse blown"], "before": [0.06], "after": [0.6], "short": ["now about 6 in 10"], "phrase": ["up"]}
)
TITLE = ("Home switch dirty:", "about 4 in 10")
PALETTES = pytest.mark.parametrize("palette", [LIGHT, DARK], ids=["light", "dark"])


def spec_of_suspects(palette: Palette = LIGHT) -> dict[str, Any]:
    return chart_suspects(SUSPECTS, palette, title=TITLE, scale="of ten").to_dict()


def spec_of_moved() -> dict[str, Any]:
    return chart_moved(MOVED, LIGHT, title=TITLE, scale="of ten").to_dict()


def rows(spec: dict[str, Any]) -> list[dict[str, Any]]:
    return next(iter(spec["datasets"].values()))


def test_the_title_says_the_finding() -> None:
    assert spec_of_suspects()["title"]["text"] == list(TITLE)


@pytest.mark.parametrize("spec", [spec_of_suspects(), spec_of_moved()], ids=["suspects", "moved"])
def test_every_chart_has_the_scale_from_nought_to_ten(spec: dict[str, Any]) -> None:
    assert spec["layer"][0]["encoding"]["x"]["scale"] == {"domain": [0, 10], "nice": False}


def test_shares_are_drawn_in_ten() -> None:
    assert [row["share_in_ten"] for row in rows(spec_of_suspects())] == pytest.approx([10 * 0.4, 10 * 0.06])
    assert [row["after_in_ten"] for row in rows(spec_of_moved())] == pytest.approx([10 * 0.6])


def test_the_narrow_line_is_the_wide_interval_and_rows_keep_their_order() -> None:
    thin, thick, *_ = spec_of_suspects()["layer"]
    assert (thin["encoding"]["x"]["field"], thin["encoding"]["x2"]["field"]) == ("low_90_in_ten", "high_90_in_ten")
    assert (thick["encoding"]["x"]["field"], thick["encoding"]["x2"]["field"]) == ("low_50_in_ten", "high_50_in_ten")
    assert thin["mark"]["strokeWidth"] < thick["mark"]["strokeWidth"]
    assert thin["encoding"]["y"]["sort"] == list(SUSPECTS["name"])


def test_each_suspect_is_labelled_where_it_stands_not_in_a_legend() -> None:
    layers = spec_of_suspects()["layer"]
    labels = [layer for layer in layers if layer["mark"]["type"] == "text"]
    assert labels[0]["encoding"]["text"]["field"] == "name"
    assert "datum.phrase" in labels[1]["mark"]["text"]["expr"]
    assert "datum.short" in labels[1]["mark"]["text"]["expr"]
    assert not any("color" in layer["encoding"] for layer in layers)


# WCAG 2.2: 4.5 for text (1.4.3), 3 for what carries meaning in a picture (1.4.11).
@PALETTES
def test_text_and_marks_stand_out_from_the_paper(palette: Palette) -> None:
    assert contrast(palette.ink, palette.paper) >= 4.5
    assert contrast(palette.muted, palette.paper) >= 4.5
    assert contrast(palette.mark, palette.paper) >= 3
    assert contrast(palette.before, palette.paper) >= 3


def test_before_and_after_differ_in_shape_not_in_colour_alone() -> None:
    _, ring, dot, *_ = spec_of_moved()["layer"]
    assert (ring["mark"]["color"], dot["mark"]["color"]) == (LIGHT.paper, LIGHT.mark)


def contrast(first: str, second: str) -> float:
    """Contrast ratio as WCAG 2.2 defines it."""
    light, dark = sorted((luminance(first), luminance(second)), reverse=True)
    return (light + 0.05) / (dark + 0.05)


def luminance(colour: str) -> float:
    channels = [int(colour[at : at + 2], 16) / 255 for at in (1, 3, 5)]
    red, green, blue = (c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in channels)
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue
