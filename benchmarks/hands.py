"""Several hands on one store, and hands that drop it: nothing acknowledged may be lost.

    python -m benchmarks.hands [--kills 200] [--steps 25] [--data FITTED_FOLDER]

First eight writers (files through the command line, tickets, whole bench sessions) and a refit work on one store at
once. Then a worker is killed with signal 9 at a random moment, again and again, over six kinds of work; after each kill
the store is opened and every fact ever acknowledged is looked for. Written to benchmarks/reports/hands.json and .md.
"""

import json
import multiprocessing
import random
import shutil
import tempfile
import time
from collections.abc import Sequence
from dataclasses import asdict, dataclass, replace
from multiprocessing.process import BaseProcess
from pathlib import Path
from typing import Any

import click

from benchmarks.hands_checks import find_losses
from benchmarks.hands_work import Place, prepare, read_notes, work
from pipelines.catalogue import read_vocabulary
from pipelines.settings import seed_folder

REPORTS = Path(__file__).parent / "reports"
WRITERS = ("ingest", "ingest", "ingest", "save", "save", "session close", "session close", "session close")
REFITS = 4
KILLED_KINDS = ("ingest", "session close", "fit publish", "migration", "bundle read", "restore")
# Kills fall anywhere in the first so many seconds of work; the steps take a tenth of that and less.
LATEST_KILL_SECONDS, WAIT_SECONDS, FOREVER = 1.0, 120.0, 1_000_000
# Each step of these leaves another store, so each kill begins anew; the other kinds hit one store all the time.
KINDS_WITH_MANY_STORES = ("migration", "bundle read", "restore")
SEED = 20_261_125


@dataclass(frozen=True)
class Crowd:
    """Writers and a refit at once: steps acknowledged and refused, facts looked for, longest wait of a writer for the
    store and its longest step, losses.
    """

    writers: int
    refits: int
    acknowledged: int
    refused: int
    facts: int
    longest_wait_seconds: float
    longest_step_seconds: float
    seconds: float
    losses: tuple[str, ...]


@dataclass(frozen=True)
class Kills:
    """Kills of one kind of work: how many fell inside a step, facts acknowledged before, losses found after."""

    kind: str
    kills: int
    inside_a_step: int
    acknowledged: int
    losses: tuple[str, ...]


@click.command()
@click.option("--kills", default=200, show_default=True, help="Kills in all, shared by the kinds of work.")
@click.option("--steps", default=25, show_default=True, help="Steps of each writer in the crowd.")
@click.option("--data", type=click.Path(path_type=Path, exists=True), help="Fitted data folder to copy for the crowd.")
def main(kills: int, steps: int, data: Path | None) -> None:
    """Let the crowd work, do the kills, print and keep the report."""
    with tempfile.TemporaryDirectory(prefix="faultodds-hands-") as name:
        crowd = try_crowd(Path(name) / "crowd", WRITERS, steps, fitted=data)
        click.echo(json.dumps(asdict(crowd)))
        rows = try_kills(Path(name) / "kills", KILLED_KINDS, kills)
    REPORTS.mkdir(exist_ok=True)
    report = {"crowd": asdict(crowd), "kills": [asdict(row) for row in rows]}
    (REPORTS / "hands.json").write_text(json.dumps(report, indent=1) + "\n", encoding="utf-8")
    (REPORTS / "hands.md").write_text(say_report(crowd, rows), encoding="utf-8")
    click.echo(say_report(crowd, rows))


def try_crowd(folder: Path, writers: Sequence[str], steps: int, *, fitted: Path | None = None) -> Crowd:
    """Writers of these kinds and one refit, all at once on one store."""
    place = Place(folder / "data", folder / "inbox", folder / "notes")
    prepare(place)
    if fitted is not None:
        shutil.rmtree(place.data)
        shutil.copytree(fitted, place.data)
    places = [replace(place, notes=folder / f"notes-{at}") for at in range(len(writers) + 1)]
    began = time.perf_counter()
    hands = [_start(kind, at, steps) for kind, at in zip(writers, places, strict=False)]
    hands.append(_start("refit", places[-1], REFITS))
    for hand in hands:
        hand.join()
    seconds = time.perf_counter() - began
    notes = [note for each in places for note in read_notes(each.notes)]
    facts = [fact for note in notes for fact in note.get("facts", ())]
    # a hand that ended by an error of the program lost something, whatever the store says
    losses = [f"a worker ended with {hand.exitcode}" for hand in hands if hand.exitcode != 0]
    losses += find_losses(place, facts, read_vocabulary(seed_folder() / "vocabulary"))
    return Crowd(
        writers=len(writers),
        refits=sum(fact.startswith("fit ") for fact in facts),
        acknowledged=sum("done" in note for note in notes),
        refused=sum("refused" in note for note in notes),
        facts=len(facts),
        longest_wait_seconds=_longest("waited", places[:-1]),
        longest_step_seconds=_longest("seconds", places[:-1]),
        seconds=round(seconds, 1),
        losses=tuple(losses),
    )  # fmt: skip


def _longest(what: str, places: Sequence[Place]) -> float:
    return round(max(note[what] for place in places for note in read_notes(place.notes) if what in note), 2)


def try_kills(folder: Path, kinds: Sequence[str], kills: int) -> tuple[Kills, ...]:
    """So many kills in all, shared by the kinds; each kind has its own store, which all its kills hit."""
    rng = random.Random(SEED)
    rows = []
    for at, kind in enumerate(kinds):
        place = Place(folder / str(at) / "data", folder / str(at) / "inbox", folder / str(at) / "notes")
        prepare(place)
        place.notes.unlink(missing_ok=True)
        share = kills // len(kinds) + (at < kills % len(kinds))
        rows.append(_kill_again_and_again(kind, place, share, rng))
        shutil.rmtree(folder / str(at))
    return tuple(rows)


def _kill_again_and_again(kind: str, place: Place, kills: int, rng: random.Random) -> Kills:
    vocabulary = read_vocabulary(seed_folder() / "vocabulary")
    template = place.inbox.parent / "template"
    shutil.copytree(place.inbox.parent, template)
    inside, acknowledged, facts, losses = 0, 0, list[str](), list[str]()
    for _ in range(kills):
        notes = _kill_once(kind, place, rng.uniform(0.0, LATEST_KILL_SECONDS))
        told = [fact for note in notes for fact in note.get("facts", ())]
        inside, acknowledged, facts = inside + ("step" in notes[-1]), acknowledged + len(told), facts + told
        losses += [f"refused: {note['refused']}" for note in notes if "refused" in note]
        losses += find_losses(place, facts, vocabulary)
        if kind in KINDS_WITH_MANY_STORES:
            facts = []
            for folder in (place.data, place.inbox):
                shutil.rmtree(folder)
                shutil.copytree(template / folder.name, folder)
    return Kills(kind, kills, inside, acknowledged, tuple(losses))


def _kill_once(kind: str, place: Place, seconds: float) -> list[dict[str, Any]]:
    place.notes.unlink(missing_ok=True)
    hand = _start(kind, place, FOREVER)
    _wait_for_first_note(place.notes, hand)
    time.sleep(seconds)
    if hand.exitcode is not None:
        raise RuntimeError(f"A worker ended by itself ({hand.exitcode}).")
    hand.kill()
    hand.join()
    return read_notes(place.notes)


def _start(kind: str, place: Place, rounds: int) -> BaseProcess:
    """A worker, forked from a server that has imported everything and opened nothing."""
    context = multiprocessing.get_context("forkserver")
    context.set_forkserver_preload(["benchmarks.hands_work"])
    hand = context.Process(target=work, args=(kind, place, rounds), daemon=True)
    hand.start()
    return hand


def _wait_for_first_note(path: Path, hand: BaseProcess) -> None:
    deadline = time.monotonic() + WAIT_SECONDS
    while not read_notes(path):
        if time.monotonic() > deadline or hand.exitcode is not None:
            raise RuntimeError(f"A worker did not begin ({hand.exitcode}).")
        time.sleep(0.005)


def say_report(crowd: Crowd, rows: Sequence[Kills]) -> str:
    """Both parts for a person, as Markdown."""
    losses = [*crowd.losses, *(loss for row in rows for loss in row.losses)]
    lines = [
        "# Several hands on one store",
        "",
        f"{crowd.writers} writers and {crowd.refits} fits worked at once for {crowd.seconds:.0f} s: "
        f"{crowd.acknowledged} steps acknowledged with {crowd.facts} facts, {crowd.refused} refused, "
        f"{len(crowd.losses)} losses. A writer waited at most {crowd.longest_wait_seconds:.1f} s for the store; "
        f"its longest step took {crowd.longest_step_seconds:.1f} s.",
        "",
        f"{sum(row.kills for row in rows)} kills with signal 9 at random moments, the store checked after each:",
        "",
        "| work | kills | inside a step | facts acknowledged | lost or wrong |",
        "|---|---:|---:|---:|---:|",
        *(
            f"| {row.kind} | {row.kills} | {row.inside_a_step} | {row.acknowledged} | {len(row.losses)} |"
            for row in rows
        ),
        "",
        *([f"- {loss}" for loss in losses] or ["Nothing that was acknowledged is missing or there twice."]),
    ]
    return "\n".join(lines) + "\n"


if __name__ == "__main__":
    main()
