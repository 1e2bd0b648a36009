"""The Club page on small real stores, run without a browser."""

from datetime import UTC, date, datetime
from pathlib import Path

import numpy as np
import pytest
from streamlit.testing.v1 import AppTest

from analytics.posterior import Posterior
from analytics.shop_differences import compare_shop
from analytics.vocabulary import Vocabulary
from pipelines.bench_tickets import TicketRow
from pipelines.bundle_files import load_bundle
from pipelines.bundle_writing import Wish, write_bundle
from pipelines.bundles import read_bundle
from pipelines.catalogue import write_vocabulary
from pipelines.intake import save_ticket
from pipelines.posteriors import FitRow, save_posterior
from pipelines.settings import DATA_VARIABLE, Settings

pytestmark = pytest.mark.slow

PAGE = Path(__file__).resolve().parents[2] / "dashboards" / "sheets" / "club.py"


@pytest.fixture
def shop(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, tiny_vocabulary: Vocabulary) -> Settings:
    """A data folder with the tiny vocabulary and no store."""
    write_vocabulary(tiny_vocabulary, tmp_path / "own" / "vocabulary")
    monkeypatch.setenv(DATA_VARIABLE, str(tmp_path / "own"))
    return Settings(tmp_path / "own")


def _fill(settings: Settings, name: str, vocabulary: Vocabulary, count: int) -> None:
    for at in range(count):
        ticket = TicketRow(shop=name, ticket_number=str(at), opened_on=date(2020, 5, 1), symptom="stuck",
                           suspects=("plug_loose",), confirmation="cured", result="fixed")  # fmt: skip
        save_ticket(ticket, store_path=settings.store_path, vocabulary=vocabulary, today=date(2026, 1, 1))


@pytest.fixture
def member(shop: Settings, tmp_path: Path, tiny_vocabulary: Vocabulary) -> str:
    """The shop with six tickets and one bundle of another in its pool; the other's code."""
    _fill(shop, "Pier", tiny_vocabulary, 6)
    other = Settings(tmp_path / "other")
    write_vocabulary(tiny_vocabulary, other.data_folder / "vocabulary")
    _fill(other, "Harbour", tiny_vocabulary, 9)
    write_bundle(other, tmp_path / "b.zip", shop="Harbour", today=date(2026, 1, 1), wish=Wish())
    read_bundle(shop, tmp_path / "b.zip", mapping={})
    return load_bundle(tmp_path / "b.zip").manifest.contributor


def _keep(settings: Settings, posterior: Posterior, fit_id: str, day: int) -> None:
    at = datetime(2026, 1, day, tzinfo=UTC).replace(tzinfo=None)
    row = FitRow(fit_id, at, "x", "x", "0", seconds=1.0, last_order=6)
    save_posterior(settings, Posterior(fit_id, posterior.draws, posterior.diagnostics, 15), row)


def _told(app: AppTest) -> str:
    assert not app.exception
    return " ".join(
        str(element.value) for kind in ("markdown", "caption", "info", "error") for element in app.get(kind)
    )


def _page() -> AppTest:
    return AppTest.from_file(str(PAGE), default_timeout=60).run()


@pytest.mark.usefixtures("shop")
def test_an_empty_shop_is_told_of_the_pack() -> None:
    assert "pack install" in _told(_page())


def test_a_shop_alone_is_told_how_to_give_and_take(shop: Settings, tiny_vocabulary: Vocabulary) -> None:
    _fill(shop, "Pier", tiny_vocabulary, 6)
    told = _told(_page())
    assert "Nobody has contributed yet" in told
    assert "bundle read FILE" in told


@pytest.mark.usefixtures("member")
def test_a_pool_without_a_fit_shows_who_gave_and_asks_for_the_fit() -> None:
    told = _told(_page())
    assert "1 bundle with 9 tickets count now" in told
    assert "pool fit" in told


def test_a_broken_vocabulary_is_said_in_a_sentence(shop: Settings, member: str) -> None:
    assert member
    (shop.data_folder / "vocabulary" / "suspects.csv").write_text("nonsense\n", encoding="utf-8")
    app = _page()
    assert not app.exception
    assert app.error


def test_with_a_fit_of_each_kind_the_page_compares_shop_and_pool(
    shop: Settings, member: str, tiny_posterior: Posterior
) -> None:
    """Luck is no difference: the hand-made shops are alike but for draws; made ten times as prone to dirt, it is."""
    joined = tiny_posterior.draws.assign_coords(shop=np.array(["Pier", member], dtype=object))
    _keep(shop, tiny_posterior, "alone", 1)
    _keep(shop, Posterior("x", joined, tiny_posterior.diagnostics, 15), "joined", 2)
    told = _told(_page())
    assert "Nowhere beyond chance" in told
    assert "than without the pool" in told
    gamma = joined["gamma"].copy()
    gamma.loc[{"shop": "Pier", "mode": "dirty"}] += np.log(10.0)
    _keep(shop, Posterior("x", joined.assign(gamma=gamma), tiny_posterior.diagnostics, 15), "dirty", 3)
    assert "dirty about" in _told(_page())


def test_a_difference_needs_odds_of_99_to_1(tiny_posterior: Posterior) -> None:
    """Checked against the draws themselves: the share above one, and the middle of the factors."""
    found = {one.mode: one for one in compare_shop(tiny_posterior, "Pier", ["Harbour"])}
    gamma = tiny_posterior.draws["gamma"]
    factor = np.exp(gamma.sel(shop="Pier") - gamma.sel(shop="Harbour"))
    for mode, one in found.items():
        assert one.factor == pytest.approx(float(factor.sel(mode=mode).median()))
        share = float((factor.sel(mode=mode) > 1).mean())
        assert one.is_sure == (max(share, 1 - share) >= 0.99)
