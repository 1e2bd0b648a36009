"""What one pair of hands does in `benchmarks.hands`: works in a loop and writes down each step that was acknowledged.

A worker runs in a process of its own and may be killed at any moment. It appends one line of JSON before and after each
step; a line is in the system's hands once it is written, so a kill does not take it back.
"""

import io
import json
import os
import shutil
from collections.abc import Callable, Iterator
from contextlib import contextmanager, redirect_stderr, redirect_stdout
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime
from pathlib import Path
from time import perf_counter
from typing import Any
from unittest.mock import patch
from uuid import uuid4

import pandas as pd

from analytics.errors import InputError
from analytics.session import BenchEvent, Session
from analytics.session_closing import Closing
from pipelines import store
from pipelines.backups import make_backup
from pipelines.bench_tickets import TicketRow, field_texts
from pipelines.bundle_writing import Wish, write_bundle
from pipelines.bundles import read_bundle
from pipelines.carried_refits import carry_last_fit
from pipelines.catalogue import read_vocabulary
from pipelines.cli import main as faultodds
from pipelines.intake import save_ticket
from pipelines.posteriors import FitRow, load_newest, save_posterior
from pipelines.prior_sources import load_prior
from pipelines.restores import restore_backup
from pipelines.sessions import close_session, record_event, start_session, ticket_number
from pipelines.settings import Settings, seed_folder

SHOP, TICKETS_A_FILE, OLD_VERSION = "Harbour Workshop", 20, 4
TODAY = date(2026, 11, 25)
CONTRIBUTORS = tuple(f"Club shop {at}" for at in range(1, 5))
# A step: what it is called, and the work, which gives the facts to be found afterwards.
type Step = tuple[str, Callable[[], list[str]]]


@dataclass(frozen=True)
class Place:
    """The data folder to work in, a folder for files that come in, and where acknowledged steps are written down."""

    data: Path
    inbox: Path
    notes: Path


def work(kind: str, place: Place, rounds: int) -> None:
    """Works `rounds` steps of the kind, or until killed."""
    number = os.open(place.notes, os.O_WRONLY | os.O_APPEND | os.O_CREAT)
    steps = STEPS[kind](place)
    with _timed_openings() as waits:
        name, step = next(steps)
        _note(number, {"begun": kind})
        for at in range(rounds):
            if at > 0:
                name, step = next(steps)
            _note(number, {"step": name})
            waits.clear()
            started = perf_counter()
            try:
                told: dict[str, object] = {"done": name, "facts": step()}
            except InputError as error:
                told = {"refused": str(error)}
            _note(number, {**told, "seconds": perf_counter() - started, "waited": max(waits, default=0.0)})


@contextmanager
def _timed_openings() -> Iterator[list[float]]:
    """Seconds that each opening of a store took, waiting for the others included."""
    waits: list[float] = []
    connect = store._connect

    def timed(*given: Any) -> store.Connection:
        started = perf_counter()
        try:
            return connect(*given)
        finally:
            waits.append(perf_counter() - started)

    with patch.object(store, "_connect", timed):
        yield waits


def read_notes(path: Path) -> list[dict[str, Any]]:
    """What was written down; a last line that a kill cut short counts for nothing."""
    lines = path.read_bytes().split(b"\n")[:-1] if path.exists() else []
    return [json.loads(line) for line in lines]


def prepare(place: Place) -> None:
    """A store with one file of tickets and one published fit, a store of an earlier version, bundles to be read."""
    for folder in (place.data, place.inbox):
        folder.mkdir(parents=True)
    next(_ingest(place))[1]()
    next(_publish(place))[1]()
    with patch.object(store, "_migrations", return_value=store._migrations()[:OLD_VERSION]):
        next(_ingest(Place(place.inbox / "old", place.inbox, place.notes)))[1]()
    club = Settings(place.inbox / "club")
    for at, shop in enumerate(CONTRIBUTORS):
        _write_tickets(place.inbox / f"club-{at}.csv", shop)
        _command(club.data_folder, "ingest", str(place.inbox / f"club-{at}.csv"))
        write_bundle(club, place.inbox / f"club-{at}.bundle", shop=shop, today=TODAY, wish=Wish(threshold=5))


def _ingest(place: Place) -> Iterator[Step]:
    while True:
        path = place.inbox / f"{uuid4().hex}.csv"
        numbers = _write_tickets(path, SHOP)

        def step(path: Path = path, numbers: list[str] = numbers) -> list[str]:
            _command(place.data, "ingest", str(path))
            return [f"ticket {number}" for number in numbers]

        yield path.name, step


def _save(place: Place) -> Iterator[Step]:
    settings = Settings(place.data)
    vocabulary = read_vocabulary(settings.vocabulary_folder)
    while True:
        ticket = _ticket(uuid4().hex, SHOP)

        def step(ticket: TicketRow = ticket) -> list[str]:
            save_ticket(ticket, store_path=settings.store_path, vocabulary=vocabulary, today=TODAY)
            return [f"ticket {ticket.ticket_number}"]

        yield ticket.ticket_number, step


def _session(place: Place) -> Iterator[Step]:
    settings = Settings(place.data)
    path, vocabulary = settings.store_path, read_vocabulary(settings.vocabulary_folder)
    symptom = next(iter(vocabulary.symptoms))
    suspect, other = vocabulary.suspects_of(symptom)[0], list(vocabulary.symptoms)[1]
    while True:
        now: list[Session] = []

        def begin(now: list[Session] = now) -> list[str]:
            facts = Session(code="", opened_on=TODAY, shop=SHOP, symptom=symptom)
            now.append(start_session(path, facts, vocabulary))
            return [f"session {now[-1].code}"]

        def record(now: list[Session] = now) -> list[str]:
            now.append(record_event(path, now[-1], BenchEvent("present", other), vocabulary))
            return [f"entry {now[-1].code}"]

        def close(now: list[Session] = now) -> list[str]:
            closing = Closing("fixed", (suspect,), confirmation="cured")
            close_session(path, now[-1], closing, vocabulary=vocabulary, today=TODAY)
            return [f"ticket {ticket_number(now[-1].code)}"]

        yield "begin", begin
        if now:
            yield "record", record
            yield "close", close


def _publish(place: Place) -> Iterator[Step]:
    """Publishes a fit; the draws are those before any ticket, so that no sampler is waited for."""
    settings = Settings(place.data)
    posterior = load_prior(settings, read_vocabulary(settings.vocabulary_folder))
    while True:
        fit_id = uuid4().hex

        def step(fit_id: str = fit_id) -> list[str]:
            now = datetime.now(UTC).replace(tzinfo=None)
            row = FitRow(fit_id, now, "0-0", "none", "0", seconds=0.0, last_order=0)
            save_posterior(settings, replace(posterior, fit_id=fit_id), row)
            return [f"fit {fit_id}"]

        yield fit_id, step


def _refit(place: Place) -> Iterator[Step]:
    """The nightly fit: the last one carried on, and where it cannot be, published again."""
    settings = Settings(place.data)
    while True:

        def step() -> list[str]:
            report = carry_last_fit(settings)
            if report is not None:
                return [f"fit {report.fit_id}", "carried on"]
            fit_id, now = uuid4().hex, datetime.now(UTC).replace(tzinfo=None)
            row = FitRow(fit_id, now, "0-0", "none", "0", seconds=0.0, last_order=0)
            save_posterior(settings, replace(load_newest(settings), fit_id=fit_id), row)
            return [f"fit {fit_id}"]

        yield "refit", step


def _migrate(place: Place) -> Iterator[Step]:
    while True:
        folder = place.inbox / f"old-{uuid4().hex}"
        shutil.copytree(place.inbox / "old", folder)

        def step(folder: Path = folder) -> list[str]:
            with store.reading(Settings(folder).store_path):
                return [f"migrated {folder.name}"]

        yield folder.name, step


def _read_bundles(place: Place) -> Iterator[Step]:
    while True:
        folder = place.inbox / f"pool-{uuid4().hex}"
        for at in range(len(CONTRIBUTORS)):

            def step(folder: Path = folder, at: int = at) -> list[str]:
                read_bundle(Settings(folder), place.inbox / f"club-{at}.bundle", mapping={})
                return [f"bundle {folder.name} {at}"]

            yield folder.name, step


def _restore(place: Place) -> Iterator[Step]:
    """A backup, one more ticket, and the backup put back: that ticket has to be in the store that was set aside."""
    settings, saves = Settings(place.data), _save(place)
    while True:
        name, save = next(saves)
        yield name, save

        def step() -> list[str]:
            backup, _ = make_backup(settings, place.inbox / "backups", datetime.now(UTC))
            next(saves)[1]()
            restore_backup(settings, backup, datetime.now(UTC))
            return [f"backup {backup.name}"]

        yield "restore", step


STEPS: dict[str, Callable[[Place], Iterator[Step]]] = {
    "ingest": _ingest,
    "save": _save,
    "session close": _session,
    "fit publish": _publish,
    "refit": _refit,
    "migration": _migrate,
    "bundle read": _read_bundles,
    "restore": _restore,
}


def _ticket(number: str, shop: str) -> TicketRow:
    vocabulary = read_vocabulary(seed_folder() / "vocabulary")
    symptom = next(iter(vocabulary.symptoms))
    suspect = vocabulary.suspects_of(symptom)[0]
    opened = date(2025, 5, 1)
    return TicketRow(shop, number, opened, symptom=symptom, suspects=(suspect,), result="fixed", confirmation="cured")


def _write_tickets(path: Path, shop: str) -> list[str]:
    numbers = [uuid4().hex for _ in range(TICKETS_A_FILE)]
    model = field_texts(_ticket("", shop))
    pd.DataFrame([{**model, "ticket": number} for number in numbers]).to_csv(path, index=False)
    return numbers


def _command(data: Path, *words: str) -> None:
    """A verb of the command line, unseen; what it refuses becomes an error."""
    said = io.StringIO()
    with redirect_stdout(said), redirect_stderr(said):
        try:
            faultodds(["--data", str(data), *words])
        except SystemExit as stop:
            raise InputError(said.getvalue()) from stop


def _note(number: int, told: dict[str, object]) -> None:
    os.write(number, (json.dumps(told) + "\n").encode())
