"""Evidence of simulated tickets in the order in which they were opened, so that any stretch of them can be counted."""

import numpy as np
import pandas as pd

from analytics.evidence import Evidence, empty_evidence, make_evidence
from analytics.scenario import World
from analytics.scenario_tickets import History, simulate_tickets
from analytics.vocabulary import UNKNOWN_AGE

NO_YEAR_SHARE = 0.1  # tickets whose year of manufacture nobody wrote down


def simulate_history(world: World, rng: np.random.Generator, *, count: int) -> History:
    """`count` tickets (comebacks among them) in random order, so that old and new ones do not differ in kind."""
    history = simulate_tickets(world, rng, count=count, phrases={})
    kept = rng.permutation(history.tickets["ticket"].to_numpy())[:count]
    tickets = history.tickets.set_index("ticket").loc[kept].reset_index()
    tickets["built_year"] = tickets["built_year"].where(rng.random(count) >= NO_YEAR_SHARE)
    return History(tickets=tickets, checks=history.checks[history.checks["ticket"].isin(kept)])


def count_evidence(world: World, history: History, first: int, last: int) -> Evidence:
    """Evidence of tickets number `first` (from 0) up to, not including, `last`; as `count_cells.sql` counts it."""
    tickets = history.tickets.iloc[first:last]
    told = tickets[(tickets["suspect"] != "") | (tickets["result"] != "no_fault_found")]
    checks = history.checks[history.checks["ticket"].isin(tickets["ticket"])]
    if told.empty:
        return empty_evidence()
    return make_evidence(
        _cells(world, told, checks),
        check_counts=_check_counts(tickets, checks),
        check_minutes=_check_minutes(checks),
        companions=_companions(tickets),
        ticket_count=len(told),
    )


def _cells(world: World, tickets: pd.DataFrame, checks: pd.DataFrame) -> pd.DataFrame:
    is_open = tickets["suspect"] == ""
    pairs = (
        (checks["check"] + "=" + checks["outcome"]).groupby(checks["ticket"]).agg(lambda rows: ";".join(sorted(rows)))
    )
    others = tickets["others"].map(lambda text: ";".join(sorted(text.split(";"))) if text else "")
    return pd.DataFrame(
        {
            **{name: tickets[name] for name in ("symptom", "family", "shop", "suspect", "confirmation")},
            "age_band": [_band(world, *row) for row in zip(tickets["opened_on"], tickets["built_year"], strict=True)],
            "results": tickets["ticket"].map(pairs).fillna("").where(is_open, ""),
            "others": others.where(is_open, ""),
            "weight": 1.0,
        }
    )


def _band(world: World, opened_on: pd.Timestamp, built_year: float) -> str:
    return UNKNOWN_AGE if np.isnan(built_year) else world.vocabulary.age_band_of(int(opened_on.year - built_year))


def _check_counts(tickets: pd.DataFrame, checks: pd.DataFrame) -> pd.DataFrame:
    named = tickets.loc[tickets["suspect"] != "", ["ticket", "suspect"]]
    return checks.merge(named, on="ticket")[["check", "suspect", "outcome"]].assign(count=1.0)


def _check_minutes(checks: pd.DataFrame) -> pd.DataFrame:
    timed = checks[checks["minutes"] > 0]
    log = np.log(timed["minutes"])
    return pd.DataFrame({"check": timed["check"], "count": 1.0, "log_sum": log, "log_square_sum": log**2})


def _companions(tickets: pd.DataFrame) -> pd.DataFrame:
    named = tickets[(tickets["suspect"] != "") & (tickets["others"] != "")]
    rows = [
        (row.suspect, *pair.split("="), 1.0)
        for row in named[["suspect", "others"]].itertuples(index=False)
        for pair in row.others.split(";")
    ]
    frame = pd.DataFrame(rows, columns=["suspect", "symptom", "present", "count"])
    return frame.astype({"suspect": "str", "symptom": "str", "present": "str", "count": float})
