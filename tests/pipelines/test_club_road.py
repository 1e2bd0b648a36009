"""The whole road of the club on the command line: bundles written, read, fitted, packed, and installed elsewhere."""

import json
from collections.abc import Callable
from pathlib import Path

import pytest

from pipelines.bundle_files import load_bundle
from pipelines.cli import main
from pipelines.cli_history import ingest_files
from pipelines.invented import demo_files
from pipelines.packs import load_pack
from pipelines.posteriors import load_newest
from pipelines.settings import Settings

SHOPS = ("Cockle Row", "Marram Point", "Saltmarsh Pier")
ASKED = ("suspects", "Coin taken but not credited", "--family", "Crane grab", "--json")


@pytest.fixture
def run(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> Callable[..., str]:
    """`run(store, *words)`: what the terminal says; a verb that fails fails the test."""

    def call(store: str, *words: str) -> str:
        main(["--data", str(tmp_path / store), *words])
        told = capsys.readouterr()
        return told.out + told.err

    return call


@pytest.mark.slow
def test_three_shops_give_a_club_packs_and_an_empty_shop_answers(run: Callable[..., str], tmp_path: Path) -> None:
    for at, shop in enumerate(SHOPS):
        ingest_files(Settings(tmp_path / f"shop{at}"), [entry for entry in demo_files() if entry[1] == shop])
        told = run(f"shop{at}", "bundle", "write", str(tmp_path / f"{at}.zip"), "--shop", shop)
        assert "each of 5 tickets or more" in told
        assert "outcomes of checks" in told
        assert shop not in run("club", "bundle", "show", str(tmp_path / f"{at}.zip"))
        assert "is in the pool" in run("club", "bundle", "read", str(tmp_path / f"{at}.zip"))
    assert "contributors" in run("club", "pool", "pack", str(tmp_path / "pack.zip"))
    pack, given = load_pack(tmp_path / "pack.zip"), [load_bundle(tmp_path / f"{at}.zip") for at in range(len(SHOPS))]
    assert pack.bundle.manifest.ticket_count == sum(one.manifest.ticket_count for one in given)
    assert pack.bundle.counts.checks["tickets"].sum() > 1000
    assert "It answers from now on" in run("new", "pack", "install", str(tmp_path / "pack.zip"))
    assert "came with the club's pack" in run("new", *ASKED[:-1])
    with_pack = json.loads(run("new", *ASKED))
    assert load_newest(Settings(tmp_path / "new")).fit_id.startswith("pack-")
    first = max(with_pack["suspects"], key=lambda one: one["probability"])
    assert first["suspect"].startswith("coin_")
