"""Charts of the shelf and of donors: figures with their 90 % intervals on one scale from zero."""

import altair as alt
import pandas as pd

from dashboards import charts_shop
from dashboards.model_look import fold, palette
from dashboards.sentences import sentence
from pipelines.review_shelf import say_figure

ROWS = 12


def interval_frame(table: pd.DataFrame, name: str, value: str, bounds: tuple[str, str]) -> pd.DataFrame:
    """The first rows as `charts_shop.chart_rates` wants them.

    Parameters
    ----------
    table : rows in the order to show, with the columns `name`, `value` and `bounds` (from, to)
    """
    first = table.head(ROWS)
    figures = list(zip(first[value], first[bounds[0]], first[bounds[1]], strict=True))
    return pd.DataFrame(
        {
            "name": first[name].astype(str).to_numpy(),
            "rate": first[value].to_numpy(dtype=float),
            "low": first[bounds[0]].to_numpy(dtype=float),
            "high": first[bounds[1]].to_numpy(dtype=float),
            "short": [say_figure(middle) for middle, _, _ in figures],
            "phrase": [
                sentence("shop_shelf.between", figure=say_figure(middle), low=say_figure(low), high=say_figure(high))
                for middle, low, high in figures
            ],
        }
    )


def draw_intervals(frame: pd.DataFrame, *, title: str, scale: str) -> alt.LayerChart | None:
    """The chart of such a frame; none where every figure is nothing."""
    if frame.empty or not frame["high"].max() > 0:
        return None
    return charts_shop.chart_rates(frame, palette(), title=fold([title]), scale=scale)
