"""Chart of the Vocabulary page: the odds before any ticket as they are and as an edit would make them."""

from collections.abc import Sequence

import altair as alt
import pandas as pd

from dashboards.charts import chart_moved
from dashboards.charts_look import Palette

# More rows than these no one compares.
MOST_ROWS = 8
# Below the scale stands what it means, in letters that hang down.
_PADDING = {"top": 12, "bottom": 6, "left": 0, "right": 2}


def chart_prior_changes(frame: pd.DataFrame, palette: Palette, *, title: Sequence[str], scale: str) -> alt.LayerChart:
    """Odds of one complaint before (ring) and after (dot) an edit, the largest first.

    Parameters
    ----------
    frame : name, before, after (0 to 1), short, phrase (words); in the order to show
    title : the finding, one line an item
    scale : what the ten are
    """
    chart = chart_moved(frame.head(MOST_ROWS), palette, title=title, scale=scale)
    return chart.properties(padding=_PADDING)
