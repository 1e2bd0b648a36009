"""The committed demo history is what the script makes, its truth belongs to it, and intake reads it."""

import csv
import json
import subprocess
import sys
from datetime import date
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from analytics.scenario import suspect_probabilities
from analytics.scenario_truth import world_from_truth
from analytics.vocabulary import Vocabulary
from pipelines.catalogue import read_vocabulary
from pipelines.column_maps import read_column_map
from pipelines.intake import IngestReport, ingest_file
from pipelines.settings import seed_folder
from pipelines.store import reading

pytestmark = pytest.mark.slow

DEMO = seed_folder() / "demo"


@pytest.fixture(scope="module")
def vocabulary() -> Vocabulary:
    return read_vocabulary(seed_folder() / "vocabulary")


@pytest.fixture(scope="module")
def reports(
    vocabulary: Vocabulary, tmp_path_factory: pytest.TempPathFactory
) -> tuple[list[IngestReport], pd.DataFrame]:
    """What intake says of the six files, and the tickets it stored: shop, ticket_number, machine, result."""
    store = tmp_path_factory.mktemp("demo") / "demo.duckdb"
    told = []
    with (DEMO / "shops.csv").open(encoding="utf-8", newline="") as stream:
        for row in csv.DictReader(stream):
            column_map = read_column_map(DEMO / row["column_map"] if row["column_map"] else None)
            report = ingest_file(
                DEMO / row["file"],
                store_path=store,
                vocabulary=vocabulary,
                shop=row["shop"],
                column_map=column_map,
                today=date(2026, 10, 31),
            )
            told.append(report)
    with reading(store) as con:
        return told, con.execute("select shop, ticket_number, machine, result, opened_on from tickets").df()


def test_the_script_makes_the_committed_files_again(tmp_path: Path) -> None:
    script = Path(__file__).parents[2] / "scripts" / "make_demo.py"
    subprocess.run([sys.executable, "-W", "error", str(script), str(tmp_path)], check=True)
    assert sorted(path.name for path in tmp_path.iterdir()) == sorted(path.name for path in DEMO.iterdir())
    changed = [path.name for path in tmp_path.iterdir() if path.read_bytes() != (DEMO / path.name).read_bytes()]
    assert changed == []


def test_the_stated_truth_gives_odds_for_every_symptom_family_shop_and_age(vocabulary: Vocabulary) -> None:
    text = (DEMO / "truth.json").read_text(encoding="utf-8")
    assert len(text) < 3_000_000
    world = world_from_truth(json.loads(text), vocabulary)
    for symptom in vocabulary.symptoms:
        for family in vocabulary.families:
            for shop in world.shops:
                where = {"family": family, "shop": shop, "age_band": vocabulary.age_bands[-1].code}
                chances = suspect_probabilities(world, symptom, **where)
                assert len(chances) == len(vocabulary.suspects_of(symptom))
                np.testing.assert_allclose(chances.sum(), 1.0)


def test_intake_reads_the_demo_and_sets_one_row_in_a_hundred_aside(
    reports: tuple[list[IngestReport], pd.DataFrame],
) -> None:
    told, tickets = reports
    assert len(told) == 6
    assert len(tickets) >= 4_500
    rows_in = sum(report.rows_in for report in told)
    assert 0.005 < sum(report.quarantined for report in told) / rows_in < 0.015
    assert [report.duplicates for report in told] == [4] * 6
    assert min(tickets["opened_on"]).year == 2012
    assert 0.09 < (tickets["result"] != "fixed").mean() < 0.15


def test_every_ticket_has_its_stated_true_suspect(
    reports: tuple[list[IngestReport], pd.DataFrame], vocabulary: Vocabulary
) -> None:
    truth = pd.read_csv(DEMO / "truth_tickets.csv", keep_default_na=False)
    assert not truth.duplicated(["shop", "ticket"]).any()
    assert set(truth["true_suspect"]) <= set(vocabulary.suspects)
    stored = reports[1].merge(truth, left_on=["shop", "ticket_number"], right_on=["shop", "ticket"], how="left")
    assert stored["true_suspect"].notna().all()
    before = stored.merge(stored, left_on=["shop", "comeback_of"], right_on=["shop", "ticket"])
    assert len(before) > 200
    assert (before["machine_x"] == before["machine_y"]).all()
    assert (before["true_suspect_x"] == before["true_suspect_y"]).all()


def test_the_example_cases_name_symptoms_checks_and_suspects_of_the_vocabulary(vocabulary: Vocabulary) -> None:
    with (DEMO / "cases.csv").open(encoding="utf-8", newline="") as stream:
        cases = list(csv.DictReader(stream))
    assert len({case["symptom"] for case in cases}) == 12
    for case in cases:
        assert case["true_suspect"] in vocabulary.suspects_of(case["symptom"])
        made = [pair.partition("=")[0] for pair in case["results"].split(";") if pair]
        assert set(made) <= {check.code for check in vocabulary.checks_for(case["symptom"])}
