"""Uses of parts foretold from the demo's past cover what the year after used, and a shifted forecast does not."""

from collections.abc import Callable
from datetime import date

import numpy as np
import pytest

from analytics.part_needs import parts_of
from analytics.posterior import Posterior
from analytics.vocabulary import Vocabulary
from pipelines.catalogue import read_vocabulary
from pipelines.cli_history import ingest_files
from pipelines.invented import demo_files
from pipelines.prior_sources import load_prior
from pipelines.settings import Settings
from pipelines.shelf_demand import PartDemand, part_frames, read_part_demand
from pipelines.store import reading, registered, run_query

pytestmark = pytest.mark.slow

YEARS = range(2015, 2026)
LEVEL = 0.9
# The forecast of one year serves every part, so parts of a year share its luck: three in a hundred off is honest.
LEEWAY = 0.035


@pytest.fixture(scope="module")
def demo(tmp_path_factory: pytest.TempPathFactory) -> Settings:
    settings = Settings(tmp_path_factory.mktemp("demo"))
    ingest_files(settings, demo_files())
    return settings


@pytest.fixture(scope="module")
def vocabulary(demo: Settings) -> Vocabulary:
    return read_vocabulary(demo.vocabulary_folder)


@pytest.fixture(scope="module")
def foretold(demo: Settings, vocabulary: Vocabulary) -> list[tuple[PartDemand, np.ndarray]]:
    """The forecast on each first of January, and what the year then used, by part."""
    before: Posterior = load_prior(demo, vocabulary)
    return [
        (read_part_demand(demo, vocabulary, before, today=date(year - 1, 12, 31)), used_in(demo, vocabulary, year))
        for year in YEARS
    ]


def used_in(settings: Settings, vocabulary: Vocabulary, year: int) -> np.ndarray:
    wanted = {"shop": "", "since": date(year, 1, 1), "until": date(year + 1, 1, 1)}
    with reading(settings.store_path) as con, registered(con, **part_frames(vocabulary)):
        rows = run_query(con, "part_uses", **wanted)
    return rows.groupby("part")["used"].sum().reindex(list(parts_of(vocabulary))).fillna(0).to_numpy(dtype=int)


def covered(
    foretold: list[tuple[PartDemand, np.ndarray]], change: Callable[[np.ndarray], np.ndarray] = lambda used: used
) -> float:
    """Share of (year, part) inside the central interval. A count sits anywhere in its step, so that whole numbers do
    not cover more than they promise (randomised probability integral transform, Brockwell 2007; from memory).
    """
    rng = np.random.default_rng(7)
    inside = []
    for demand, used in foretold:
        coming, found = demand.over_days(365.25), change(used)
        below, upto = coming.cdf(found - 1), coming.cdf(found)
        place = below + rng.random(len(found)) * (upto - below)
        inside.append(np.abs(place - 0.5) < LEVEL / 2)
    return float(np.mean(inside))


def test_intervals_cover_what_the_year_after_used(foretold: list[tuple[PartDemand, np.ndarray]]) -> None:
    assert covered(foretold) == pytest.approx(LEVEL, abs=LEEWAY)


@pytest.mark.parametrize("factor", [0.4, 2.0])
def test_the_same_intervals_miss_a_shifted_year(foretold: list[tuple[PartDemand, np.ndarray]], factor: float) -> None:
    assert covered(foretold, lambda used: np.round(factor * used).astype(int)) < LEVEL - LEEWAY


def test_parts_used_less_often_are_foretold_less_surely(foretold: list[tuple[PartDemand, np.ndarray]]) -> None:
    demand, _ = foretold[-1]
    middle, low, high = demand.yearly()
    rarest, commonest = np.argsort(middle)[[0, -1]]
    assert demand.table["used"][rarest] == 0
    assert low[rarest] > 0
    assert high[rarest] / low[rarest] > 1.5 * high[commonest] / low[commonest]
