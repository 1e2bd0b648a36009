"""Minutes that the plan would have saved on the demo's later tickets: `python -m benchmarks.replay --tickets 250`.

The model is fitted to the tickets before `ORIGIN` alone. Each later ticket is then worked on anew, with its true
suspect and true rates known: in the order of the plan, in the order recorded, and in the order of what settled most
tickets of that symptom before. All pay the same minutes for checks, opening and closing, and the same price for
handing on. A check that was recorded answers as it did then; any other one by luck of its own, the same for every
order. Written to benchmarks/reports.
"""

import json
import tempfile
from collections.abc import Callable
from pathlib import Path
from time import perf_counter

import click
import numpy as np
import pandas as pd

from analytics.advice import SENDOUT_MINUTES, advise
from analytics.case import Case, CheckResult
from analytics.planning import BenchState
from benchmarks.replay_machines import ORIGIN, SEED, TRIES, Machine, Yard, draw_machines, prepare
from pipelines.cli_history import ingest_files
from pipelines.invented import demo_files
from pipelines.settings import Settings

REPORTS = Path(__file__).parent / "reports"
# Looks that tell nothing, as in the demo's world.
INCONCLUSIVE = 0.05
RESAMPLES = 4000
# The bar: at least a quarter of the minutes.
BAR = 0.25
PLAN, RECORDED, HABIT = "plan", "recorded order", "what settled most before"


type Choose = Callable[[Case, int], str]


@click.command()
@click.option("--tickets", default=250, show_default=True, help="Later tickets to replay, drawn at random.")
@click.option("--data", type=click.Path(path_type=Path), help="Folder with the demo store; left out, it is made anew.")
def main(tickets: int, data: Path | None) -> None:
    """Replay, print the table, write reports/replay.json and reports/replay.md."""
    with tempfile.TemporaryDirectory() as name:
        settings = Settings(data or Path(name))
        if data is None:
            list(ingest_files(settings, demo_files()))
        yard, frames = prepare(settings)
        machines = draw_machines(yard, frames, count=tickets)
    started = perf_counter()
    minutes = pd.DataFrame([replay(yard, machine) for machine in machines])
    report = summarise(minutes) | {"seconds_for_replay": round(perf_counter() - started, 1)}
    REPORTS.mkdir(exist_ok=True)
    (REPORTS / "replay.json").write_text(json.dumps(report, indent=1))
    text = markdown(report)
    (REPORTS / "replay.md").write_text(text)
    click.echo(text)


def replay(yard: Yard, machine: Machine) -> dict[str, float]:
    """Minutes of each order on one machine."""
    symptom = machine.case.symptom
    listed = [(check, outcome) for check, outcome in machine.recorded if check in yard.checks[symptom]]
    once = yard.settled[symptom]

    def by_plan(case: Case, opened: int) -> str:
        access = yard.access[symptom]
        is_open = frozenset(group for at, group in enumerate(access.groups) if opened >> at & 1)
        bench = BenchState(SENDOUT_MINUTES, open_groups=is_open)
        return advise(yard.posterior, case, yard.vocabulary, bench=bench).next_check

    return {
        PLAN: work(yard, machine, by_plan),
        RECORDED: work(yard, machine, _in_order([check for check, _ in listed])),
        f"{HABIT}, once": work(yard, machine, _in_order(once)),
        f"{HABIT}, twice": work(yard, machine, _in_order((*once, *once))),
    }


def work(yard: Yard, machine: Machine, choose: Choose) -> float:
    """Minutes until the machine is cured or handed on, at true mean minutes."""
    symptom, case, opened, spent = machine.case.symptom, machine.case, 0, 0.0
    access, names = yard.access[symptom], yard.checks[symptom]
    while True:
        check = choose(case, opened)
        if not check:
            return spent + SENDOUT_MINUTES
        at = names.index(check)
        spent += float(access.minutes[at, opened])
        opened = int(access.after[at, opened])
        outcome = _outcome(yard, machine, check, tries=sum(made.check == check for made in case.results))
        if outcome == "cured":
            return spent
        case = case.with_result(CheckResult(check, outcome))


def summarise(minutes: pd.DataFrame) -> dict[str, object]:
    """Mean minutes of each order and the share saved by the plan, with paired 90 % bootstrap intervals."""
    rng = np.random.default_rng(SEED)
    drawn = rng.integers(0, len(minutes), (RESAMPLES, len(minutes)))
    means = {name: column.to_numpy()[drawn].mean(axis=1) for name, column in minutes.items()}
    rows = []
    for name, column in minutes.items():
        saved = 1.0 - means[PLAN] / means[name]
        low, high = np.quantile(saved, (0.05, 0.95))
        rows.append(
            {
                "order": name,
                "mean_minutes": round(float(column.mean()), 1),
                "median_minutes": round(float(column.median()), 1),
                "saved": round(1.0 - float(minutes[PLAN].mean() / column.mean()), 3),
                "saved_low": round(float(low), 3),
                "saved_high": round(float(high), 3),
            }
        )
    holds = all(row["saved_low"] >= BAR for row in rows if row["order"] != PLAN)
    facts = {"tickets": len(minutes), "seed": SEED, "fitted_before": ORIGIN.isoformat()}
    return {**facts, "bar": BAR, "holds": holds, "rows": rows}


def markdown(report: dict[str, object]) -> str:
    """The report as a page."""
    verdict = "The plan saves" if report["holds"] else "The plan does not surely save"
    rows = report["rows"]
    assert isinstance(rows, list)
    lines = [
        "# Minutes saved on the demo's later tickets",
        "",
        f"{report['tickets']} tickets from {report['fitted_before']} on, fitted to the tickets before; handing on "
        f"costs {SENDOUT_MINUTES:.0f} min in every order.",
        "",
        "| order | mean minutes | median | saved by the plan (90 %) |",
        "|---|---|---|---|",
    ]
    for row in rows:
        saved = (
            f"{row['saved']:.0%} ({row['saved_low']:.0%} to {row['saved_high']:.0%})" if row["order"] != PLAN else ""
        )
        lines.append(f"| {row['order']} | {row['mean_minutes']} | {row['median_minutes']} | {saved} |")
    return "\n".join([*lines, "", f"{verdict} at least {BAR:.0%} of the minutes against every other order.", ""])


def _in_order(checks: list[str] | tuple[str, ...]) -> Choose:
    """One check after the other, then hand on."""
    return lambda case, _opened: checks[len(case.results)] if len(case.results) < len(checks) else ""


def _outcome(yard: Yard, machine: Machine, check: str, *, tries: int) -> str:
    """As recorded, where the check was made so often then; else drawn from the true rates with the machine's luck."""
    told = [outcome for name, outcome in machine.recorded if name == check]
    if tries < len(told):
        return told[tries]
    at = list(yard.vocabulary.checks).index(check)
    suspect = list(yard.vocabulary.suspects).index(machine.true_suspect)
    first, second = machine.luck[at, min(tries, TRIES - 1)]
    if yard.vocabulary.checks[check].is_remedy:
        return "cured" if first < yard.world.cured[at, suspect] else "not_cured"
    if second < INCONCLUSIVE:
        return "inconclusive"
    return "fault_found" if first < yard.world.found[at, suspect] else "clear"


if __name__ == "__main__":
    main()
