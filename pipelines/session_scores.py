"""What the bench was advised, kept as it was said, and scored when the ticket closes: the measure of the tool."""

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import pandas as pd

from analytics.advice import Advice
from analytics.session import BenchEvent
from pipelines.store import Connection, reading, registered, run_query, utc_now, writing

# Odds below one in a million count as one in a million.
LEAST_PROBABILITY = 1e-6


@dataclass(frozen=True)
class ServedPlaces:
    """Closed sessions; how many had their suspect first, or among the first three, before any check; mean log loss of
    all advice, and that of an even guess over the list (nats, the smaller the better; 0 without a session).
    """

    sessions: int
    first_one: int
    first_three: int
    log_loss: float
    blind_log_loss: float


def keep_advice(store_path: Path, code: str, advice: Advice, *, position: int, fit_id: str) -> None:
    """Keep one recommendation with its odds; shown again at the same place from the same fit, it is kept once.

    Parameters
    ----------
    position : entries that the session had when it was served, undone ones included
    """
    odds = pd.DataFrame(
        {
            "suspect": pd.array([one.suspect for one in advice.suspects], "str"),
            "probability": [one.probability for one in advice.suspects],
        }
    )
    key = {"code": code, "position": position, "fit_id": fit_id}
    said = {"next_check": advice.next_check, "expected_minutes": advice.answer.expected_minutes}
    with writing(store_path) as con, registered(con, new_odds=odds):
        run_query(con, "insert_served_advice", **key, **said, served_at=utc_now())
        run_query(con, "insert_served_odds", **key)


def score_session(
    con: Connection, code: str, events_at: Sequence[tuple[BenchEvent, ...]], *, suspects: tuple[str, ...]
) -> None:
    """Score all advice of a session inside the transaction that closes it; without a suspect there is no score.

    Parameters
    ----------
    events_at : events that stood after 0, 1, 2, ... entries
    suspects : what it was, in the order found; advice is scored by the first one not yet repaired when it was served
    """
    truths = []
    for position in run_query(con, "served_positions", code=code)["position"]:
        repaired = {event.about for event in events_at[position] if event.kind == "repaired"}
        left = [suspect for suspect in suspects if suspect not in repaired]
        truths += [(int(position), left[0])] if left else []
    if not truths:
        return
    frame = pd.DataFrame(truths, columns=["position", "suspect"]).astype({"position": "int32", "suspect": "str"})
    with registered(con, truths=frame):
        run_query(con, "insert_served_scores", code=code, least_probability=LEAST_PROBABILITY)


def read_running_score(store_path: Path) -> pd.DataFrame:
    """The running score over closed sessions; columns as in `sql/running_scores.sql`. Smaller is better."""
    with reading(store_path) as con:
        return run_query(con, "running_scores")


def read_served_places(store_path: Path) -> ServedPlaces:
    """Where what it really was had stood on the lists that were served."""
    with reading(store_path) as con:
        row = run_query(con, "served_places").iloc[0]
    if not row["sessions"]:
        return ServedPlaces(0, 0, 0, 0.0, 0.0)
    return ServedPlaces(
        sessions=int(row["sessions"]),
        first_one=int(row["first_one"]),
        first_three=int(row["first_three"]),
        log_loss=float(row["log_loss"]),
        blind_log_loss=float(row["blind_log_loss"]),
    )
