"""Minutes that the plan would have saved on the demo's later tickets: `python -m benchmarks.replay --tickets 250`.

The model is fitted to the tickets before `ORIGIN` alone. Each later ticket is worked on anew with its true suspect and
true rates known: in the order of the plan, as recorded, and in the order of what settled most tickets of that symptom.
A check that was recorded answers as it did then; any other one by luck of its own, the same for every order.
"""

import json
import tempfile
from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import date
from pathlib import Path
from time import perf_counter

import click
import numpy as np
import pandas as pd

from analytics.advice import SENDOUT_MINUTES, advise
from analytics.case import Case, CheckResult
from analytics.fit import Effort, fit_evidence
from analytics.plan_access import Access, build_access
from analytics.planning import BenchState
from analytics.posterior import Posterior
from analytics.priors import link_prior
from analytics.scenario import World
from analytics.scenario_truth import world_from_truth
from analytics.terms import Priors
from analytics.vocabulary import Vocabulary
from pipelines.catalogue import read_vocabulary
from pipelines.cli_history import ingest_files
from pipelines.cli_serve import demo_files
from pipelines.complaints import learn_complaints
from pipelines.history import read_evidence
from pipelines.rules import read_ratios
from pipelines.settings import Settings, seed_folder
from pipelines.store import reading

REPORTS = Path(__file__).parent / "reports"
ORIGIN = date(2024, 1, 1)
SEED = 20_240_101
EFFORT = Effort(tune=300, draws=400, chains=2)
# A check that settled fewer tickets of a symptom than this is not worth trying by habit.
LEAST_SETTLED = 0.01
# Looks that tell nothing, as in the demo's world.
INCONCLUSIVE = 0.05
TRIES = 3
RESAMPLES = 4000
# The bar: at least a quarter of the minutes.
BAR = 0.25
PLAN, RECORDED, HABIT = "plan", "recorded order", "what settled most before"


@dataclass(frozen=True)
class Machine:
    """One later ticket to work on: the case as it came in, the true suspect, what was recorded, and its luck.

    recorded : (check, outcome) in the order made; luck : (check of the vocabulary, try, 2) uniform numbers
    """

    case: Case
    true_suspect: str
    recorded: tuple[tuple[str, str], ...]
    luck: np.ndarray


@dataclass(frozen=True)
class Yard:
    """What stays the same for every machine."""

    vocabulary: Vocabulary
    world: World
    posterior: Posterior
    checks: dict[str, tuple[str, ...]]
    access: dict[str, Access]
    settled: dict[str, tuple[str, ...]]


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


def prepare(settings: Settings) -> tuple[Yard, dict[str, pd.DataFrame]]:
    """Fit the tickets before `ORIGIN`, and read all tickets with their truth."""
    vocabulary = read_vocabulary(seed_folder() / "vocabulary")
    truth = json.loads((seed_folder() / "demo" / "truth.json").read_text(encoding="utf-8"))
    world = world_from_truth(truth, vocabulary)
    ratios = read_ratios(seed_folder() / "handbook_ratios.csv", vocabulary)
    posterior = fit_evidence(
        read_evidence(settings.store_path, vocabulary, until=ORIGIN),
        vocabulary,
        link_prior=lambda inputs: link_prior(vocabulary, inputs.links, rules=(), ratios=ratios),
        priors=Priors(),
        seed=SEED,
        effort=EFFORT,
        fit_id="replay",
    )
    words = learn_complaints(settings.store_path, posterior, vocabulary, until=ORIGIN)
    with reading(settings.store_path) as con:
        frames = {name: con.table(name).df() for name in ("tickets", "ticket_checks", "ticket_symptoms")}
    frames["truth"] = pd.read_csv(seed_folder() / "demo" / "truth_tickets.csv")
    checks = {symptom: tuple(c.code for c in vocabulary.checks_for(symptom)) for symptom in vocabulary.symptoms}
    yard = Yard(
        vocabulary=vocabulary,
        world=world,
        posterior=replace(posterior, text=words),
        checks=checks,
        access={symptom: _true_access(symptom, vocabulary, world) for symptom in vocabulary.symptoms},
        settled=_settled(frames, vocabulary),
    )
    return yard, frames


def draw_machines(yard: Yard, frames: dict[str, pd.DataFrame], *, count: int) -> list[Machine]:
    """Later tickets with a known true suspect and at least one recorded check, a random sample of them."""
    rng = np.random.default_rng(SEED)
    later = frames["tickets"][frames["tickets"]["opened_on"] >= pd.Timestamp(ORIGIN)]
    truth = frames["truth"].rename(columns={"ticket": "ticket_number"})
    later = later.merge(truth, on=["shop", "ticket_number"], how="inner", validate="one_to_one")
    made = frames["ticket_checks"].sort_values(["ticket_id", "position"]).groupby("ticket_id")
    later = later[later["ticket_id"].isin(set(made.groups))].sort_values("ticket_id")
    chosen = later.iloc[np.sort(rng.permutation(len(later))[:count])]
    others = dict(iter(frames["ticket_symptoms"].groupby("ticket_id")))
    return [
        Machine(
            case=_case(row, others.get(row["ticket_id"])),
            true_suspect=row["true_suspect"],
            recorded=tuple(made.get_group(row["ticket_id"])[["check_code", "outcome"]].itertuples(index=False)),
            luck=rng.random((len(yard.vocabulary.checks), TRIES, 2)),
        )
        for _, row in chosen.iterrows()
    ]


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


def _true_access(symptom: str, vocabulary: Vocabulary, world: World) -> Access:
    """Access tables with the true mean minutes: median x exp(spread^2 / 2), of a log-normal."""
    checks, names = vocabulary.checks_for(symptom), list(vocabulary.checks)
    mean = world.check_minutes * np.exp(world.minutes_spread**2 / 2.0)
    minutes = [float(mean[names.index(check.code)]) for check in checks]
    return build_access(
        checks, vocabulary.access_groups, minutes=minutes, open_groups=frozenset(), closed_for_retest=None
    )[0]


def _settled(frames: dict[str, pd.DataFrame], vocabulary: Vocabulary) -> dict[str, tuple[str, ...]]:
    """Symptom -> remedies by the share of its earlier tickets that they settled, largest first."""
    before = frames["tickets"][frames["tickets"]["opened_on"] < pd.Timestamp(ORIGIN)]
    cured = frames["ticket_checks"].query("outcome == 'cured'").merge(before, on="ticket_id")
    orders = {}
    for symptom in vocabulary.symptoms:
        allowed = {check.code for check in vocabulary.checks_for(symptom)}
        total = int((before["symptom"] == symptom).sum())
        counts = cured.loc[cured["symptom"] == symptom, "check_code"].value_counts()
        orders[symptom] = tuple(c for c, n in counts.items() if c in allowed and n >= LEAST_SETTLED * total)
    return orders


def _case(row: pd.Series, others: pd.DataFrame | None) -> Case:
    def blank(value: object) -> str:
        return "" if pd.isna(value) else str(value)

    def looked_for(presence: bool) -> tuple[str, ...]:  # noqa: FBT001 - a column's own value
        return () if others is None else tuple(others.loc[others["present"] == presence, "symptom"])

    return Case(
        symptom=row["symptom"],
        family=blank(row["family"]),
        shop=row["shop"],
        age_years=None if pd.isna(row["built_year"]) else int(row["opened_on"].year - row["built_year"]),
        also_present=looked_for(True),  # noqa: FBT003
        also_absent=looked_for(False),  # noqa: FBT003
        complaint=blank(row["complaint"]),
    )


if __name__ == "__main__":
    main()
