"""How long a review of the shop takes: the whole, and each part alone (clock, processor), and peak memory.

    python -m benchmarks.review [--tickets 1000000] [--data FOLDER] [--fit FILE.nc]

The store holds tickets of the demo's world, written in batches, each a history of its own, and a fit, as every shop
has: a review with one lays plans beside repairs and weighs swaps. The draws are those of --fit, else those of the
priors: planning takes as long with either. The whole runs as `faultodds review`, each part in a process of its own;
written to benchmarks/reports/review.json.
"""

import json
import os
import resource
import subprocess
import sys
import tempfile
from dataclasses import replace
from pathlib import Path
from time import perf_counter, process_time

import click
import numpy as np
import pandas as pd

from analytics.scenario import World
from analytics.scenario_tickets import History, simulate_tickets
from analytics.scenario_truth import world_from_truth
from pipelines.catalogue import read_vocabulary
from pipelines.posteriors import FitRow, has_published_fit, read_posterior, save_posterior
from pipelines.prior_sources import load_prior
from pipelines.reviews import PARTS, review_shop
from pipelines.settings import Settings, seed_folder
from pipelines.store import last_ticket_order, reading, registered, run_query, utc_now, writing

REPORTS = Path(__file__).parent / "reports"
BATCH = 50_000
# The bar for all parts together.
SECONDS, MEBIBYTES = 10.0, 2048


@click.command()
@click.option("--tickets", default=1_000_000, show_default=True, help="Ordinary tickets; comebacks come on top.")
@click.option("--data", type=click.Path(path_type=Path), help="Folder for the store; one that is there is used again.")
@click.option(
    "--fit", "fit", type=click.Path(exists=True, path_type=Path), help="Draws to serve where the store has no fit."
)
@click.option("--part", default="", help="Time this part alone, here and now, on the store in --data.")
def main(tickets: int, data: Path | None, fit: Path | None, part: str) -> None:
    """Write the store, time the parts, print and keep the report."""
    if part and data is not None:
        click.echo(json.dumps(measure(Settings(data), part)))
        return
    with tempfile.TemporaryDirectory() as name:
        settings = Settings(data or Path(name))
        if not settings.store_path.exists():
            write_store(settings, tickets)
        if not has_published_fit(settings):
            write_fit(settings, fit)
        report = make_report(count_tickets(settings), time_whole(settings), [time_part(settings, p) for p in PARTS])
    REPORTS.mkdir(exist_ok=True)
    text = json.dumps(report, indent=1)
    (REPORTS / "review.json").write_text(text)
    click.echo(text)


def make_report(tickets: int, whole: dict[str, float], rows: list[dict[str, float]]) -> dict[str, object]:
    """Whether the whole holds the bar, and its parts."""
    holds = whole["seconds"] <= SECONDS and whole["mebibytes"] <= MEBIBYTES
    load = round(os.getloadavg()[0], 1)
    return {"tickets": tickets, "with_fit": True, "load_average": load, **whole, "holds": holds, "parts": rows}


def write_fit(settings: Settings, draws: Path | None) -> None:
    """A published fit that has seen all tickets."""
    vocabulary = read_vocabulary(settings.vocabulary_folder)
    posterior = load_prior(settings, vocabulary) if draws is None else read_posterior(draws)
    with reading(settings.store_path) as con:
        last = last_ticket_order(con)
    row = FitRow("benchmark", utc_now(), "", "", "", seconds=0.0, last_order=last)
    save_posterior(settings, replace(posterior, fit_id=row.fit_id), row)


def time_whole(settings: Settings) -> dict[str, float]:
    """Seconds of `faultodds review`, loading and printing included, and its peak memory."""
    command = [
        sys.executable,
        "-c",
        "from pipelines.cli import main; main()",
        "--data",
        str(settings.data_folder),
        "review",
    ]
    started = perf_counter()
    child = subprocess.Popen(command, stdout=subprocess.DEVNULL)
    _, status, used = os.wait4(child.pid, 0)
    if status:
        raise click.ClickException("The review did not end well.")
    return {
        "seconds": round(perf_counter() - started, 2),
        "processor_seconds": round(used.ru_utime + used.ru_stime, 2),
        # Linux counts in kibibytes
        "mebibytes": used.ru_maxrss // 1024,
    }


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
