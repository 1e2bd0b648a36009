"""The whole road of the club on the command line: bundles written, read, fitted, packed, and installed elsewhere."""

import json
from collections.abc import Callable
from datetime import date, timedelta
from pathlib import Path

import numpy as np
import pytest

from analytics.case import CheckResult
from analytics.vocabulary import STRENGTH_WEIGHTS, Vocabulary
from pipelines.bench_tickets import TicketRow
from pipelines.catalogue import write_vocabulary
from pipelines.cli import main
from pipelines.intake import read_bench_ticket, store_bench_ticket
from pipelines.posteriors import load_newest
from pipelines.settings import Settings
from pipelines.store import writing

SEED = 1
SHOPS, TICKETS = ("Harbour", "Pier", "Quay", "Sands"), 60
# What these shops meet: the coil, which the vocabulary has as rare, more often than all else together.
MET = {
    "stuck": {"plug_loose": 0.2, "switch_dirty": 0.2, "coil_open": 0.6},
    "dark": {"fuse_blown": 0.3, "plug_loose": 0.7},
}
MADE = {
    "plug_loose": (("look_at_plug", "fault_found"), ("reseat_plug", "cured")),
    "switch_dirty": (("look_at_plug", "clear"), ("clean_switch", "cured")),
    "coil_open": (("meter_coil", "fault_found"), ("replace_coil", "cured")),
    "fuse_blown": (("replace_fuse", "cured"),),
}
ASKED = ("suspects", "stuck", "--family", "crane", "--json")

Run = Callable[..., str]


@pytest.fixture
def run(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> Run:
    """`run(store, *words)`: what the terminal says; a verb that fails fails the test."""

    def call(store: str, *words: str) -> str:
        main(["--data", str(tmp_path / store), *words])
        return capsys.readouterr().out

    return call


def _tickets(shop: str, vocabulary: Vocabulary, rng: np.random.Generator) -> list[TicketRow]:
    def minutes(check: str) -> float:
        return float(max(1, round(vocabulary.checks[check].minutes * np.exp(rng.normal(0.0, 0.5)))))

    rows = []
    for at in range(TICKETS):
        symptom = str(rng.choice(list(MET), p=[0.6, 0.4]))
        suspect = str(rng.choice(list(MET[symptom]), p=list(MET[symptom].values())))
        checks = tuple(CheckResult(check, outcome, minutes(check)) for check, outcome in MADE[suspect])
        rows.append(
            TicketRow(
                shop=shop, ticket_number=str(at), opened_on=date(2022, 1, 1) + timedelta(days=5 * at), symptom=symptom,
                family=str(rng.choice(list(vocabulary.families))), built_year=int(rng.integers(1950, 2010)),
                suspects=(suspect,), confirmation="cured", result="fixed", checks=checks,
            )
        )  # fmt: skip
    return rows


def _open_shop(settings: Settings, vocabulary: Vocabulary, tickets: list[TicketRow]) -> None:
    write_vocabulary(vocabulary, settings.data_folder / "vocabulary")
    with writing(settings.store_path) as con:
        for ticket in tickets:
            store_bench_ticket(con, read_bench_ticket(ticket, vocabulary, today=date(2024, 1, 15)))


@pytest.mark.slow
def test_four_shops_give_a_club_packs_and_an_empty_shop_answers_as_they_would(
    run: Run, tmp_path: Path, tiny_vocabulary: Vocabulary
) -> None:
    rng, met = np.random.default_rng(SEED), []
    for store in ("club", "new"):
        write_vocabulary(tiny_vocabulary, tmp_path / store / "vocabulary")
    for shop in SHOPS:
        tickets, file = _tickets(shop, tiny_vocabulary, rng), str(tmp_path / f"{shop}.zip")
        _open_shop(Settings(tmp_path / shop), tiny_vocabulary, tickets)
        met += [ticket.suspects[0] for ticket in tickets if ticket.symptom == "stuck"]
        assert "each of 5 tickets or more" in run(shop, "bundle", "write", file, "--shop", shop)
        told = run("club", "bundle", "show", file)
        assert "Coil open" in told
        assert shop not in told.replace(file, "")
        assert "is in the pool: 60 tickets" in run("club", "bundle", "read", file)
    pack = str(tmp_path / "pack.zip")
    assert "240 tickets of 4 contributors" in run("club", "pool", "pack", pack, "--seed", str(SEED))
    assert "It answers from now on" in run("new", "pack", "install", pack)
    found = json.loads(run("new", *ASKED))["suspects"]
    assert load_newest(Settings(tmp_path / "new")).fit_id.startswith("pack-")
    # The share of each suspect among the 240 tickets, counted by hand; and 8 : 8 : 1 : 1, the seeded strengths.
    listed = tiny_vocabulary.suspects_of("stuck")
    counted = np.array([met.count(code) for code in listed]) / len(met)
    seeded = np.array([STRENGTH_WEIGHTS[tiny_vocabulary.links["stuck", code]] for code in listed])
    answer = {one["suspect"]: one["probability"] for one in found}
    away = np.abs(np.array([answer[code] for code in listed]) - counted).sum()
    assert away < 0.3 * np.abs(seeded / seeded.sum() - counted).sum()
