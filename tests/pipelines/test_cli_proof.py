"""Proof, priors and checks as a person meets them on the command line."""

import json
from collections.abc import Callable
from dataclasses import replace
from datetime import date, datetime
from pathlib import Path

import pytest

from analytics.case import CheckResult
from analytics.posterior import Posterior
from analytics.vocabulary import Vocabulary
from pipelines.bench_tickets import TicketRow
from pipelines.catalogue import write_vocabulary
from pipelines.cli import main
from pipelines.column_maps import read_column_map
from pipelines.intake import ingest_file, save_ticket
from pipelines.posteriors import FitRow, save_posterior
from pipelines.settings import Settings
from pipelines.store import last_ticket_order, reading

TODAY = date(2026, 11, 25)
HEADER = "ticket,shop,family,built_year,opened_on,symptom,suspect,confirmation,result"
# Suspects of "stuck" as the hand-made posterior expects them, and turned round: the rare ones often.
USUAL = {"plug_loose": 12, "switch_dirty": 12, "coil_open": 2, "something_else": 2}
ODD = {"plug_loose": 0, "switch_dirty": 0, "coil_open": 24, "something_else": 4}


@pytest.fixture
def settings(tmp_path: Path, tiny_vocabulary: Vocabulary) -> Settings:
    settings = Settings(tmp_path / "data")
    write_vocabulary(tiny_vocabulary, settings.data_folder / "vocabulary")
    return settings


@pytest.fixture
def run(settings: Settings, capsys: pytest.CaptureFixture[str]) -> Callable[..., tuple[int, str]]:
    def call(*words: str) -> tuple[int, str]:
        try:
            main(["--data", str(settings.data_folder), *words])
            code = 0
        except SystemExit as stop:
            code = int(stop.code or 0)
        told = capsys.readouterr()
        return code, told.out + told.err

    return call


def store_tickets(settings: Settings, vocabulary: Vocabulary, counts: dict[str, int]) -> None:
    rows = [
        f"{suspect} {number},Pier,crane,1980,2020-05-01,stuck,{suspect},reproduced_and_cured,fixed"
        for suspect, count in counts.items()
        for number in range(count)
    ]
    path = settings.data_folder / "tickets.csv"
    path.write_text("\n".join([HEADER, *rows]) + "\n", encoding="utf-8")
    report = ingest_file(
        path,
        store_path=settings.store_path,
        vocabulary=vocabulary,
        shop="",
        column_map=read_column_map(None),
        today=TODAY,
    )
    assert report.quarantined == 0


def store_fit(settings: Settings, posterior: Posterior) -> None:
    """The hand-made posterior as if it had been fitted to all tickets stored so far."""
    with reading(settings.store_path) as con:
        last_order = last_ticket_order(con)
    fitted_at = datetime(2026, 11, 25)  # noqa: DTZ001 - UTC
    row = FitRow("first", fitted_at, "x", "x", "0", seconds=1.0, last_order=last_order)
    save_posterior(settings, replace(posterior, fit_id="first"), row)


def first_suspect(told: str) -> str:
    """The first indented line, up to its figures."""
    return next(line for line in told.splitlines() if line.startswith("  ")).strip().split("  ")[0]


def test_proof_needs_a_fit(run: Callable[..., tuple[int, str]]) -> None:
    code, told = run("proof")
    assert code == 1
    assert "faultodds fit" in told


def test_proof_says_that_usual_tickets_fit_and_keeps_the_figures(
    run: Callable[..., tuple[int, str]], settings: Settings, tiny_vocabulary: Vocabulary, tiny_posterior: Posterior
) -> None:
    store_tickets(settings, tiny_vocabulary, USUAL)
    store_fit(settings, tiny_posterior)
    code, told = run("proof")
    assert code == 0
    assert "The fit holds" in told
    assert "Suspects of each symptom: Fits" in told
    assert "Off" not in told
    assert "counting each symptom by itself" in told
    kept = json.loads((settings.data_folder / "proof.json").read_text(encoding="utf-8"))
    assert kept["fit_id"] == "first"
    assert {table["name"]: table["ticket_count"] for table in kept["tables"]} == {
        "mode_by_age": 28.0,
        "shop_by_mode": 28.0,
        "suspect_by_symptom": 28.0,
    }


def test_proof_names_what_does_not_fit(
    run: Callable[..., tuple[int, str]], settings: Settings, tiny_vocabulary: Vocabulary, tiny_posterior: Posterior
) -> None:
    store_tickets(settings, tiny_vocabulary, ODD)
    # a fit that is sure of its odds, so that the tickets and not its doubts decide
    store_fit(settings, replace(tiny_posterior, draws=tiny_posterior.draws.isel(draw=[0] * 60)))
    told = run("proof")[1]
    assert "Suspects of each symptom: Off" in told
    assert "Grab is stuck: Coil open: 24 counted, expected about" in told
    assert "Open, 30 to 59 years old: 24 counted" in told


def test_priors_answer_before_the_first_ticket(run: Callable[..., tuple[int, str]]) -> None:
    code, told = run("priors", "grab is stuck")
    assert code == 0
    assert "Before any ticket" in told
    first, second = (told.index(name) for name in ("Plug loose", "Coil open"))
    assert first < second
    assert "First check: " in told
    assert "Behind this: no tickets with this symptom" in told


def test_priors_of_all_symptoms_point_to_one(run: Callable[..., tuple[int, str]]) -> None:
    code, told = run("priors")
    assert code == 0
    assert "Grab is stuck" in told
    assert "Cabinet is dark" in told
    assert "faultodds priors stuck" in told


def test_a_rule_of_thumb_shows_in_the_priors(run: Callable[..., tuple[int, str]], settings: Settings) -> None:
    """ "Nine in ten, worth a hundred tickets" beats two often against one."""
    rules = "symptom,suspect,about_in_ten,low_in_ten,high_in_ten,worth_tickets,who\nstuck,coil_open,9,,,100,the boss\n"
    assert first_suspect(run("priors", "stuck")[1]) in {"Plug loose", "Switch dirty"}
    (settings.data_folder / "vocabulary" / "rules.csv").write_text(rules, encoding="utf-8")
    assert first_suspect(run("priors", "stuck")[1]) == "Coil open"


def test_a_symptom_nobody_knows_is_refused_with_the_closest(run: Callable[..., tuple[int, str]]) -> None:
    for verb in (("priors", "grabb is stukk in the sea"), ("checks", "--symptom", "xyz")):
        code, told = run(*verb)
        assert code == 1
        assert "No symptom is called" in told


def test_checks_show_their_seed_while_nothing_was_fitted(run: Callable[..., tuple[int, str]]) -> None:
    code, told = run("checks", "--symptom", "stuck")
    assert code == 0
    assert "There is no fit yet" in told
    assert "Look at the plug (inspection), never made" in told
    # 0.8 detection, 0.95 for the coil, 2 and 5 minutes: the tiny vocabulary
    assert "finds Plug loose: seeded about 8 in 10, now about" in told
    assert "takes: seeded about 5 min, now about" in told
    assert "Replace the fuse" not in told


def test_checks_say_how_often_they_were_made(
    run: Callable[..., tuple[int, str]], settings: Settings, tiny_vocabulary: Vocabulary, tiny_posterior: Posterior
) -> None:
    made = (("meter_coil", "clear"), ("reseat_plug", "not_cured"), ("reseat_plug", "cured"))
    ticket = TicketRow(
        shop="Pier",
        ticket_number="No. 1",
        opened_on=date(2020, 5, 1),
        symptom="stuck",
        suspects=("plug_loose",),
        confirmation="cured",
        result="fixed",
        checks=tuple(CheckResult(check, outcome, 2.0) for check, outcome in made),
    )
    save_ticket(ticket, store_path=settings.store_path, vocabulary=tiny_vocabulary, today=TODAY)
    store_fit(settings, tiny_posterior)
    told = run("checks")[1]
    assert "Reseat the plug (remedy), made 2 times" in told
    assert "Meter the coil (measurement), made 1 time" in told
    assert "Replace the fuse (remedy), never made" in told
    assert told.index("Reseat the plug") < told.index("Meter the coil") < told.index("Replace the fuse")
    assert "There is no fit yet" not in told
