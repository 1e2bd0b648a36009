"""What to order: the stock each part needs over its lead time, less what is there; and which parts lack a figure."""

from dataclasses import dataclass

import numpy as np
import pandas as pd

from analytics.errors import InputError
from analytics.spares import stock_for_service, waiting_share
from pipelines.shelf_demand import DAYS_A_YEAR, PartDemand
from pipelines.spreadsheet_cells import defuse_frame

# 19 of 20 times a part is there when it is wanted. Common practice, no source.
SERVICE = 0.95
# What money and space for a part cost in a year, as a share of its price. Common practice, no source.
HOLDING = 0.25
# Columns of the tables; other modules draw them.
PART, YEARLY, LOW, HIGH, USED, TRIED = "part", "uses a year", "from", "to", "used (tickets)", "tried in vain (tickets)"
TO_ORDER, COST, STOCK, LEAD = "to order", "cost", "stock wanted", "lead time (days)"
MISSING = "missing"
# What an order itself says.
ORDERED = (PART, TO_ORDER, COST, STOCK)
_IN_WORDS = {"on_shelf": "stock on the shelf", "lead_days": "lead time", "price": "price"}


@dataclass(frozen=True)
class Aim:
    """How full the shelf is to be.

    Parameters
    ----------
    service : P(the part is there) to reach, between 0 and 1
    waiting_per_day : what a machine that waits for a part costs a day; None = go by `service`
    holding : what a part on the shelf costs a year, as a share of its price
    """

    service: float = SERVICE
    waiting_per_day: float | None = None
    holding: float = HOLDING


def demand_table(demand: PartDemand) -> pd.DataFrame:
    """Uses a year of every part, most used first: mean of the rate, 90 % interval, tickets, uses to come in a year."""
    middle, low, high = demand.yearly()
    coming = demand.over_days(DAYS_A_YEAR)
    table = pd.DataFrame(
        {
            PART: demand.table["part"],
            YEARLY: middle.round(2),
            LOW: low.round(2),
            HIGH: high.round(2),
            "next year at least": coming.ppf(0.05).astype(int),
            "next year at most": stock_for_service(coming, 0.95),
            USED: demand.table["used"],
            TRIED: demand.table["tried"],
            "expected by belief (a year)": demand.table["expected"].round(2),
        }
    )
    return table.sort_values(YEARLY, ascending=False, kind="stable", ignore_index=True)


def order_table(demand: PartDemand, parts: pd.DataFrame, aim: Aim) -> pd.DataFrame:
    """One row for each part whose stock and lead time are known, those to order first.

    Parameters
    ----------
    parts : as `read_parts` gives them, in the order of `demand.table`

    Raises
    ------
    InputError
        When the aim is out of range.
    """
    _refuse_aim(aim)
    is_known = ~_lacks(parts, aim)
    known, lead = parts[is_known], parts["lead_days"].to_numpy()
    coming = demand.over_days(np.where(is_known, lead, 1.0))
    level = _levels(parts, aim)
    stock = np.array([stock_for_service(coming, float(each))[at] for at, each in enumerate(level)])[is_known]
    middle, low, high = (figure[is_known] for figure in demand.yearly())
    on_order = known["on_order"].fillna(0.0).to_numpy()
    short = np.maximum(stock - known["on_shelf"].to_numpy() - on_order, 0.0)
    wanted = np.where(short > 0, np.maximum(short, known["minimum_order"].fillna(1.0)), 0.0).astype(int)
    table = pd.DataFrame(
        {
            PART: known["part"].to_numpy(),
            TO_ORDER: wanted,
            COST: np.where(wanted > 0, (wanted * known["price"]).round(2), 0.0),
            "price": known["price"].to_numpy(),
            STOCK: stock,
            "on shelf": known["on_shelf"].astype(int).to_numpy(),
            "on order": on_order.astype(int),
            LEAD: known["lead_days"].to_numpy(),
            "uses over the lead time": coming.mean()[is_known].round(2),
            "there when wanted (in 100)": (100 * coming.cdf(_stock_of(parts, is_known, stock))[is_known]).round(1),
            YEARLY: middle.round(2),
            LOW: low.round(2),
            HIGH: high.round(2),
            USED: demand.table["used"].to_numpy()[is_known],
        }
    )
    return table.sort_values([TO_ORDER, YEARLY], ascending=False, kind="stable", ignore_index=True)


def missing_table(demand: PartDemand, parts: pd.DataFrame, aim: Aim) -> pd.DataFrame:
    """Parts that cannot be planned, or not priced, with what is missing; the most used first."""
    middle, low, high = demand.yearly()
    missing = [_missing_words(row) for row in parts[list(_IN_WORDS)].to_dict("records")]
    table = pd.DataFrame(
        {
            PART: parts["part"],
            MISSING: missing,
            "planned": np.where(_lacks(parts, aim), "no", "yes, without its cost"),
            YEARLY: middle.round(2),
            LOW: low.round(2),
            HIGH: high.round(2),
            USED: demand.table["used"],
        }
    )
    table = table[table[MISSING] != ""]
    return table.sort_values(YEARLY, ascending=False, kind="stable", ignore_index=True)


def table_as_csv(table: pd.DataFrame) -> bytes:
    """A table as CSV in UTF-8 that runs no formula in a spreadsheet."""
    return defuse_frame(table).to_csv(index=False, lineterminator="\n").encode("utf-8")


def _missing_words(row: dict[str, float]) -> str:
    return ", ".join(words for name, words in _IN_WORDS.items() if np.isnan(row[name]))


def _lacks(parts: pd.DataFrame, aim: Aim) -> np.ndarray:
    needed = ["on_shelf", "lead_days", *(["price"] if aim.waiting_per_day is not None else [])]
    return np.asarray(parts[needed].isna().any(axis=1))


def _levels(parts: pd.DataFrame, aim: Aim) -> np.ndarray:
    """(part,) chance to be there that is aimed at."""
    if aim.waiting_per_day is None:
        return np.full(len(parts), aim.service)
    holding = parts["price"].fillna(1.0).to_numpy() * aim.holding / DAYS_A_YEAR
    return waiting_share(aim.waiting_per_day, holding)


def _stock_of(parts: pd.DataFrame, is_known: np.ndarray, stock: np.ndarray) -> np.ndarray:
    every = np.zeros(len(parts))
    every[is_known] = stock
    return every


def _refuse_aim(aim: Aim) -> None:
    if not 0.0 < aim.service < 1.0:
        raise InputError(f"A service level of {aim.service:g} was given. Give a number between 0 and 1, like 0.95.")
    if aim.waiting_per_day is not None and not 0.0 < aim.waiting_per_day < 1e9:
        raise InputError(f"Waiting was priced at {aim.waiting_per_day:g} a day. Give a number above 0, like 12.50.")
    if not 0.0 < aim.holding < 100.0:
        raise InputError(f"Keeping a part was given as {aim.holding:g} of its price a year. Give a share like 0.25.")
