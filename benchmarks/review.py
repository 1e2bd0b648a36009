"""How long a review of the shop takes: seconds of each part (of the clock, of the processor), and peak memory.

    python -m benchmarks.review [--tickets 1000000] [--data FOLDER]

The store holds tickets of the demo's world, written in batches, each a history of its own. Every part runs in a process
of its own, as a user would start it; written to benchmarks/reports/review.json.
"""

import json
import resource
import subprocess
import sys
import tempfile
from pathlib import Path
from time import perf_counter, process_time

import click
import numpy as np
import pandas as pd

from analytics.scenario import World
from analytics.scenario_tickets import History, simulate_tickets
from analytics.scenario_truth import world_from_truth
from pipelines.catalogue import read_vocabulary
from pipelines.reviews import PARTS, review_shop
from pipelines.settings import Settings, seed_folder
from pipelines.store import reading, registered, run_query, utc_now, writing

REPORTS = Path(__file__).parent / "reports"
BATCH = 50_000
# The bar for all parts together.
SECONDS, MEBIBYTES = 10.0, 2048


@click.command()
@click.option("--tickets", default=1_000_000, show_default=True, help="Ordinary tickets; comebacks come on top.")
@click.option("--data", type=click.Path(path_type=Path), help="Folder for the store; one that is there is used again.")
@click.option("--part", default="", help="Time this part alone, here and now, on the store in --data.")
def main(tickets: int, data: Path | None, part: str) -> None:
    """Write the store, time the parts, print and keep the report."""
    if part and data is not None:
        click.echo(json.dumps(measure(Settings(data), part)))
        return
    with tempfile.TemporaryDirectory() as name:
        settings = Settings(data or Path(name))
        if not settings.store_path.exists():
            write_store(settings, tickets)
        report = make_report(count_tickets(settings), [time_part(settings, part) for part in PARTS])
    REPORTS.mkdir(exist_ok=True)
    text = json.dumps(report, indent=1)
    (REPORTS / "review.json").write_text(text)
    click.echo(text)


def make_report(tickets: int, rows: list[dict[str, float]]) -> dict[str, object]:
    """The parts with their sum of seconds, the highest peak, and whether both hold the bar."""
    seconds, peak = round(sum(row["seconds"] for row in rows), 2), max(row["mebibytes"] for row in rows)
    holds = seconds <= SECONDS and peak <= MEBIBYTES
    return {"tickets": tickets, "seconds": seconds, "mebibytes": peak, "holds": holds, "parts": rows}


def write_store(settings: Settings, tickets: int) -> None:
    """A store with so many tickets, in batches that bound the memory."""
    vocabulary = read_vocabulary(settings.vocabulary_folder)
    truth = json.loads((seed_folder() / "demo" / "truth.json").read_text(encoding="utf-8"))
    world = world_from_truth(truth, vocabulary)
    started = perf_counter()
    for batch, first in enumerate(range(0, tickets, BATCH)):
        history = draw_history(world, batch, min(BATCH, tickets - first))
        save_history(settings, history, batch)
        click.echo(f"{min(first + BATCH, tickets):,} tickets after {perf_counter() - started:.0f} s", err=True)


def draw_history(world: World, seed: int, count: int) -> History:
    """One batch; nobody says anything about a machine, which saves most of the time."""
    return simulate_tickets(world, np.random.default_rng(seed), count=count, phrases={})


def save_history(settings: Settings, history: History, batch: int) -> None:
    """The batch as tickets of the store."""
    tickets = history.tickets.rename(columns={"suspect": "named"})
    tickets = tickets.assign(
        ticket_id=f"{batch}-" + tickets["ticket"].astype(str),
        ticket_number=f"{batch}-" + tickets["ticket"].astype(str),
        confirmation=tickets["confirmation"].replace("", None),
        line=tickets["ticket"],
    )
    number = tickets.set_index("ticket")["ticket_id"]
    checks = history.checks.rename(columns={"check": "check_code"})
    checks = checks.assign(ticket_id=checks["ticket"].map(number))
    suspects = tickets.loc[tickets["named"] != "", ["ticket_id", "named"]].rename(columns={"named": "suspect"})
    frames = {"new_tickets": tickets, "new_checks": checks, "new_suspects": suspects, "new_symptoms": others(tickets)}
    with writing(settings.store_path) as con, registered(con, **frames):
        run_query(con, "insert_tickets", source="file", file_hash=f"batch {batch}")
        for name in ("insert_ticket_checks", "insert_ticket_suspects", "insert_ticket_symptoms"):
            run_query(con, name)


def others(tickets: pd.DataFrame) -> pd.DataFrame:
    """Other symptoms that were looked for, a row each."""
    told = tickets.loc[tickets["others"] != "", ["ticket_id", "others"]]
    rows = told.assign(other=told["others"].str.split(";")).explode("other")
    parts = rows["other"].str.split("=", expand=True)
    return pd.DataFrame({"ticket_id": rows["ticket_id"], "symptom": parts[0], "present": parts[1] == "present"})


def count_tickets(settings: Settings) -> int:
    """Tickets in the store, comebacks included."""
    with reading(settings.store_path) as con:
        return int(run_query(con, "review_months")["tickets"].sum())


def time_part(settings: Settings, part: str) -> dict[str, float]:
    """Seconds and peak memory of `faultodds review PART` in a process of its own."""
    command = [sys.executable, "-m", "benchmarks.review", "--data", str(settings.data_folder), "--part", part]
    return dict(json.loads(subprocess.run(command, check=True, capture_output=True, text=True).stdout))


def measure(settings: Settings, part: str) -> dict[str, object]:
    """Runs in the child: figures of the part, seconds without the start of Python, and peak memory."""
    started = perf_counter()
    figures = dict(review_shop(settings, (part,), today=utc_now().date()))[part]
    return {
        "part": part,
        "figures": len(figures),
        "seconds": round(perf_counter() - started, 2),
        "processor_seconds": round(process_time(), 2),
        # Linux counts in kibibytes
        "mebibytes": resource.getrusage(resource.RUSAGE_SELF).ru_maxrss // 1024,
    }


if __name__ == "__main__":
    main()
