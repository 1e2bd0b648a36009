"""Which checks fix most for their time, and whether first checks and repairs got better or worse."""

from collections.abc import Callable

import altair as alt
import pandas as pd

from dashboards import charts_shop
from dashboards.model_look import fold, palette
from dashboards.sentences import sentence
from dashboards.shop_parts import read_part, show_figure
from pipelines import review_checks, review_quarters
from pipelines.review_parts import Part

ROWS = 12
type Draw = Callable[[pd.DataFrame], alt.LayerChart]


def show_checks() -> None:
    """All figures about checks."""
    draws: dict[str, Draw] = {
        review_checks.QUESTION_FIX: draw_fixes,
        review_checks.QUESTION_FIND: draw_finds,
        review_checks.QUESTION_SYMPTOM: draw_symptoms,
        review_quarters.QUESTION_FIRST: draw_first_checks,
        review_quarters.QUESTION_MINUTES: draw_minutes,
    }
    for number, part in enumerate(read_part("checks")):
        show_figure(part, _drawn(part, draws), key=f"shop_checks_{number}")


def draw_fixes(table: pd.DataFrame) -> alt.LayerChart:
    """The best checks by fixes per bench hour."""
    frame = rate_frame(table.head(ROWS), review_checks.PER_HOUR, table[review_checks.CHECK].head(ROWS))
    return _rates(frame, "shop_checks.fixes", "shop_checks.fixes_scale")


def draw_finds(table: pd.DataFrame) -> alt.LayerChart:
    """The best looks by finds per bench hour."""
    frame = rate_frame(table.head(ROWS), review_checks.FINDS, table[review_checks.CHECK].head(ROWS))
    return _rates(frame, "shop_checks.finds", "shop_checks.finds_scale")


def draw_symptoms(table: pd.DataFrame) -> alt.LayerChart:
    """The best check of each symptom, those with most bench time first."""
    best = table[table["place"] == 1].head(ROWS)
    names = best[review_checks.SYMPTOM] + ": " + best[review_checks.CHECK]
    return _rates(rate_frame(best, review_checks.PER_HOUR, names), "shop_checks.symptoms", "shop_checks.fixes_scale")


def draw_first_checks(table: pd.DataFrame) -> alt.LayerChart:
    """Hits of the first check by quarter, in ten."""
    return _quarters(table, review_quarters.TENS, "shop_checks.first", "shop_checks.first_scale")


def draw_minutes(table: pd.DataFrame) -> alt.LayerChart:
    """Usual minutes of a fixed repair by quarter."""
    return _quarters(table, review_quarters.MIDDLE, "shop_checks.minutes", "shop_checks.minutes_scale")


def rate_frame(table: pd.DataFrame, rate: str, names: pd.Series) -> pd.DataFrame:
    """Rows as `chart_rates` wants them."""
    low, high = table[review_checks.LOW], table[review_checks.HIGH]
    rows = list(zip(table[rate], low, high, strict=True))
    return pd.DataFrame(
        {
            "name": names.astype(str).to_numpy(),
            "rate": table[rate].to_numpy(),
            "low": low.to_numpy(),
            "high": high.to_numpy(),
            "short": [f"{middle:.2g}" for middle, _, _ in rows],
            "phrase": [
                sentence("shop_checks.between", rate=f"{middle:.2g}", low=f"{least:.2g}", high=f"{most:.2g}")
                for middle, least, most in rows
            ],
        }
    )


def _drawn(part: Part, draws: dict[str, Draw]) -> alt.LayerChart | None:
    """The chart of a figure that has rows and one."""
    return draws[part.question](part.table) if len(part.table) and part.question in draws else None


def _rates(frame: pd.DataFrame, title: str, scale: str) -> alt.LayerChart:
    heading = fold([sentence(title, rows=len(frame))])
    return charts_shop.chart_rates(frame, palette(), title=heading, scale=sentence(scale))


def _quarters(table: pd.DataFrame, value: str, title: str, scale: str) -> alt.LayerChart:
    oldest_first = table[::-1].reset_index(drop=True)
    columns = {value: "value", review_quarters.LOW: "low", review_quarters.HIGH: "high"}
    frame = oldest_first[[review_quarters.QUARTER, *columns]].rename(columns=columns)
    figures = zip(frame[review_quarters.QUARTER], frame["value"], frame["low"], frame["high"], strict=True)
    frame["phrase"] = [
        sentence("shop_checks.quarter", quarter=quarter, value=f"{middle:.2g}", low=f"{low:.2g}", high=f"{high:.2g}")
        for quarter, middle, low, high in figures
    ]
    changes = list(dict.fromkeys(oldest_first[review_quarters.STRETCH]))[1:]
    heading = fold([sentence(title)])
    return charts_shop.chart_quarters(frame, palette(), title=heading, scale=sentence(scale), changes=changes)
