"""Which repairs hold, which machines keep coming back, whether age brings repairs, and whether a machine gets worse."""

from collections.abc import Callable

import altair as alt
import pandas as pd

from dashboards import charts_comebacks, charts_shop
from dashboards.model_look import fold, palette
from dashboards.sentences import sentence
from dashboards.shop_parts import read_part, show_figure
from pipelines import review_comebacks, review_failures, review_repeaters, review_wear
from pipelines.review_parts import Part

ROWS = 12
# A remedy made fewer times is not called the best one.
FEWEST_REPAIRS = 10
type Draw = Callable[[pd.DataFrame], alt.LayerChart]


def show_comebacks() -> None:
    """All figures about comebacks."""
    draws: dict[str, Draw] = {
        review_comebacks.QUESTION_PAIRS: draw_pairs,
        review_comebacks.QUESTION_REMEDIES: draw_remedies,
        review_comebacks.QUESTION_SUSPECTS: draw_suspects,
        review_repeaters.QUESTION_REPEATERS: draw_repeaters,
        review_repeaters.QUESTION_TRENDS: draw_trends,
        review_wear.QUESTION: draw_wear,
        review_failures.QUESTION: draw_failures,
    }
    for number, part in enumerate(read_part("comebacks")):
        show_figure(part, _drawn(part, draws), key=f"shop_comebacks_{number}")


def draw_pairs(table: pd.DataFrame) -> alt.LayerChart:
    """Remedies by suspect: shares that hold a year."""
    names = table["suspect"] + ", " + table["remedy"]
    return _rates(table, names, "holds 365 days", title="shop_comebacks.pairs", scale="shop_comebacks.holds_scale")


def draw_suspects(table: pd.DataFrame) -> alt.LayerChart:
    """Suspects: shares that stay away for a year."""
    scale = "shop_comebacks.holds_scale"
    return _rates(table, table["suspect"], "holds 365 days", title="shop_comebacks.suspects", scale=scale)


def draw_remedies(table: pd.DataFrame) -> alt.LayerChart:
    """The remedy that holds worst and the one that holds best, over the first year."""
    often = table[table["repairs"] >= FEWEST_REPAIRS]
    shown = (often if len(often) else table).iloc[[0, -1]].drop_duplicates("remedy")
    frame = hold_frame(shown)
    title = sentence("shop_comebacks.worst_and_best", worst=shown["remedy"].iloc[0], best=shown["remedy"].iloc[-1])
    words = {"days": sentence("shop_comebacks.days"), "holds": sentence("shop_comebacks.still")}
    return charts_comebacks.chart_holds(frame, palette(), title=fold([title]), words=words)


def hold_frame(table: pd.DataFrame) -> pd.DataFrame:
    """Lines of `hold_table` as points by days; all hold on the first day."""
    rows = []
    for line in table.to_dict("records"):
        points = [(0, 10.0, 10.0, 10.0)] + [
            (days, line[f"holds {days} days"], line[f"from{suffix}"], line[f"to{suffix}"])
            for days, suffix in ((30, " (30 days)"), (90, " (90 days)"), (365, ""))
        ]
        rows += [(line["remedy"], *point) for point in points]
    frame = pd.DataFrame(rows, columns=["name", "days", "holds", "low", "high"])
    frame["phrase"] = [sentence("shop_comebacks.hold", **row) for row in frame.to_dict("records")]
    return frame


def draw_repeaters(table: pd.DataFrame) -> alt.LayerChart:
    """Visits a year by machine."""
    names, scale = table["machine"] + ", " + table["shop"], "shop_comebacks.visits_scale"
    return _rates(table, names, review_repeaters.RATE, title="shop_comebacks.repeaters", scale=scale)


def draw_trends(table: pd.DataFrame) -> alt.LayerChart:
    """Shapes of the power law by machine."""
    names, scale = table["machine"] + ", " + table["shop"], "shop_comebacks.shape_scale"
    return _rates(table, names, "shape", title="shop_comebacks.trends", scale=scale)


def draw_failures(table: pd.DataFrame) -> alt.LayerChart:
    """Failures in 100 machine-years by component."""
    scale = "shop_comebacks.failures_scale"
    return _rates(table, table["component"], review_failures.RATE, title="shop_comebacks.failures", scale=scale)


def draw_wear(table: pd.DataFrame) -> alt.LayerChart:
    """Visits per machine by age."""
    columns = {review_wear.AGE: "age", review_wear.VISITS: "visits", review_wear.LOW: "low", review_wear.HIGH: "high"}
    frame = table[list(columns)].rename(columns=columns)
    frame["phrase"] = [sentence("shop_comebacks.visits_by_age", **row) for row in frame.to_dict("records")]
    words = {"age": sentence("shop_comebacks.age"), "visits": sentence("shop_comebacks.visits")}
    title = fold([sentence("shop_comebacks.wear")])
    return charts_comebacks.chart_visits(frame, palette(), title=title, words=words)


def _rates(table: pd.DataFrame, names: pd.Series, rate: str, *, title: str, scale: str) -> alt.LayerChart:
    """The first rows with their intervals; `title` and `scale` are keys."""
    shown = table.head(ROWS)
    frame = pd.DataFrame(
        {
            "name": names.head(ROWS).astype(str).to_numpy(),
            "rate": shown[rate].to_numpy(),
            "low": shown["from"].to_numpy(),
            "high": shown["to"].to_numpy(),
        }
    )
    frame["short"] = [f"{middle:.2g}" for middle in frame["rate"]]
    frame["phrase"] = [
        sentence("shop_comebacks.between", rate=f"{row.rate:.2g}", low=f"{row.low:.2g}", high=f"{row.high:.2g}")
        for row in frame.itertuples()
    ]
    return charts_shop.chart_rates(frame, palette(), title=fold([sentence(title)]), scale=sentence(scale))


def _drawn(part: Part, draws: dict[str, Draw]) -> alt.LayerChart | None:
    """The chart of a figure that has rows and one."""
    return draws[part.question](part.table) if len(part.table) and part.question in draws else None
