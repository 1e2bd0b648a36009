"""What comes in: the months to come, kinds of machine, season, trend, and how often a machine comes."""

from collections.abc import Callable

import altair as alt
import pandas as pd

from dashboards import charts_shop
from dashboards.model_look import fold, palette
from dashboards.sentences import sentence
from dashboards.shop_parts import read_part, show_figure
from pipelines import review_arrivals, review_machines
from pipelines.month_names import NAMES
from pipelines.review_parts import Part

ROWS, MONTHS_BACK = 12, 24
type Draw = Callable[[pd.DataFrame], alt.LayerChart]


def show_arrivals() -> None:
    """All figures about arrivals."""
    draws: dict[str, Draw] = {
        review_arrivals.QUESTION_LOAD: draw_load,
        review_arrivals.QUESTION_FAMILIES: draw_families,
        review_arrivals.QUESTION_KINDS: draw_kinds,
        review_arrivals.QUESTION_SEASON: draw_season,
        review_machines.QUESTION: draw_machines,
    }
    for number, part in enumerate(read_part("arrivals")):
        show_figure(part, _drawn(part, draws), key=f"shop_arrivals_{number}")


def draw_load(table: pd.DataFrame) -> alt.LayerChart:
    """The last two years and the months to come."""
    frame = load_frame(table)
    heading = fold([sentence("shop_arrivals.months")])
    return charts_shop.chart_months(frame, palette(), title=heading, scale=sentence("shop_arrivals.tickets"))


def draw_families(table: pd.DataFrame) -> alt.LayerChart:
    """Tickets expected by family."""
    return _rates(table, table["family"], review_arrivals.EXPECTED, "shop_arrivals.families")


def draw_kinds(table: pd.DataFrame) -> alt.LayerChart:
    """Tickets expected by family and symptom."""
    return _rates(table, table["symptom"] + ", " + table["family"], review_arrivals.EXPECTED, "shop_arrivals.kinds")


def draw_season(table: pd.DataFrame) -> alt.LayerChart:
    """Factors of the months, January first."""
    table = table.set_index(review_arrivals.MONTH).loc[list(NAMES)].reset_index()
    return _rates(table, table[review_arrivals.MONTH], review_arrivals.FACTOR, "shop_arrivals.season")


def draw_machines(table: pd.DataFrame) -> alt.LayerChart:
    """Tickets a machine-year."""
    return _rates(table, table["family"] + ", " + table["shop"], review_machines.RATE, "shop_arrivals.machines")


def load_frame(table: pd.DataFrame) -> pd.DataFrame:
    """Months as `chart_months` wants them; the first row of the table is all months to come together."""
    ahead = review_arrivals.AHEAD
    coming, gone = table.iloc[1 : 1 + ahead], table.iloc[1 + ahead : 1 + ahead + MONTHS_BACK]
    rows = pd.concat([gone[::-1], coming], ignore_index=True)
    frame = rows.rename(columns={review_arrivals.LOW: "low", review_arrivals.HIGH: "high"})
    frame["tickets"] = frame["tickets"].astype("float64")
    columns = (frame[name] for name in ("month", "expected", "low", "high", "tickets"))
    frame["phrase"] = [
        sentence("shop_arrivals.month", month=month, expected=f"{mean:.0f}", low=low, high=high, tickets=_seen(seen))
        for month, mean, low, high, seen in zip(*columns, strict=True)
    ]
    return frame


def _seen(tickets: float) -> str:
    return sentence("shop_arrivals.to_come") if pd.isna(tickets) else f"{tickets:.0f}"


def _rates(table: pd.DataFrame, names: pd.Series, rate: str, title: str) -> alt.LayerChart:
    """The first rows with their intervals; `title` is the key of what is drawn."""
    shown = table.head(ROWS)
    rows = list(zip(shown[rate], shown["from"], shown["to"], strict=True))
    frame = pd.DataFrame(
        {
            "name": names.head(ROWS).astype(str).to_numpy(),
            "rate": shown[rate].to_numpy(),
            "low": shown["from"].to_numpy(),
            "high": shown["to"].to_numpy(),
            "short": [f"{middle:.2g}" for middle, _, _ in rows],
            "phrase": [
                sentence("shop_arrivals.between", rate=f"{middle:.2g}", low=f"{low:.2g}", high=f"{high:.2g}")
                for middle, low, high in rows
            ],
        }
    )
    scale = sentence("shop_arrivals.scale")
    return charts_shop.chart_rates(frame, palette(), title=fold([sentence(title)]), scale=scale)


def _drawn(part: Part, draws: dict[str, Draw]) -> alt.LayerChart | None:
    """The chart of a figure that has rows and one."""
    return draws[part.question](part.table) if len(part.table) and part.question in draws else None
