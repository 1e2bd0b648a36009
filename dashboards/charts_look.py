"""What all charts share: one palette, safe for every colour vision and for print; axes, dots, labels, titles."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import altair as alt
import pandas as pd

ROW_PIXELS = 48
# The title stands level with the headings beside it; nothing is lost at the sides.
_PADDING = {"top": 12, "bottom": 4, "left": 0, "right": 4}
# The letters of the page around it.
_FONT = '"Source Sans", sans-serif'
NAME_RISE, TEXT_PIXELS, SMALL_PIXELS = -8, 14, 12
# Two lines of a finding fit a telephone only in smaller letters.
_TITLE_PIXELS = alt.expr("width < 420 ? 16 : 19")
# Mean width of a letter at that size, and the least gap between a name and its odds.
_LETTER_PIXELS, _GAP_PIXELS = 6.0, 16
# A title that lies above its axis: turned letters are hard to read and take width from a telephone.
ON_TOP: dict[str, Any] = {"titleAngle": 0, "titleAlign": "left", "titleAnchor": "end", "titleX": -20, "titleY": -14}


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


def quiet_axis(palette: Palette, **chosen: Any) -> alt.Axis:
    """An axis that stays behind its data; `chosen` as for Altair."""
    quiet = {
        "gridColor": palette.grid,
        "domain": False,
        "ticks": False,
        "labelColor": palette.muted,
        "titleColor": palette.muted,
        "labelFontSize": SMALL_PIXELS,
        "titleFontSize": SMALL_PIXELS,
        "titleFontWeight": "normal",
        "titleAnchor": "start",
    }
    return alt.Axis(**{**quiet, **chosen})


def dot(base: alt.Chart, palette: Palette) -> alt.Chart:
    """A best guess."""
    return base.mark_point(filled=True, size=100, color=palette.mark, stroke=palette.paper, strokeWidth=1.5, opacity=1)


def row_labels(base: alt.Chart, frame: pd.DataFrame, palette: Palette) -> list[alt.Chart]:
    """Name left and odds right above each line; the short odds in all rows where the long ones would meet a name, and a
    name is cut where even the short ones begin: the words below the picture have it whole.
    """
    letters = (frame["name"].str.len() + frame["phrase"].str.len()).max()
    fitting = alt.expr(f"width < {_LETTER_PIXELS * letters + _GAP_PIXELS:.0f} ? datum.short : datum.phrase")
    shared: dict[str, Any] = {"baseline": "bottom", "dy": NAME_RISE, "fontSize": TEXT_PIXELS, "color": palette.ink}
    room = alt.expr(f"width - {_LETTER_PIXELS * frame['short'].str.len().max() + _GAP_PIXELS:.0f}")
    name = base.mark_text(align="left", fontWeight=600, limit=room, **shared).encode(text="name:N", x=alt.value(0))
    return [name, base.mark_text(align="right", text=fitting, **shared).encode(x=alt.value("width"))]


def finish(layers: Sequence[alt.Chart], palette: Palette, title: Sequence[str]) -> alt.LayerChart:
    """All layers under a title that says the finding, one line an item."""
    heading = alt.TitleParams(
        list(title), anchor="start", color=palette.ink, fontSize=_TITLE_PIXELS, fontWeight=600, offset=18
    )
    finished = alt.layer(*layers).properties(title=heading, background="transparent", padding=_PADDING)
    return finished.configure(font=_FONT).configure_view(stroke=None)
