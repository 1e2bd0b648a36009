"""Attacks on bundles: whoever knows a machine, or every other shop, learns no more than the stated guarantee allows.

The guarantee is that of k-anonymity for counts (Sweeney, Int. J. of Uncertainty, Fuzziness and Knowledge-Based Systems
10(5), 2002) with complementary suppression (Hundepool et al., Statistical Disclosure Control, Wiley 2012, chapter 4):
whatever can be added up or subtracted from bundles counts 0 or at least k tickets.
"""

import itertools
import math
from collections.abc import Callable
from datetime import date
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from analytics.errors import InputError
from analytics.evidence import read_possible
from analytics.rollup import BUNDLE_COLUMNS
from analytics.vocabulary import UNKNOWN_AGE, Vocabulary
from pipelines.bundle_files import load_bundle
from pipelines.bundle_noise import add_noise, noise_variance
from pipelines.bundle_writing import Wish, write_bundle
from pipelines.catalogue import write_vocabulary
from pipelines.column_maps import read_column_map
from pipelines.intake import ingest_file
from pipelines.settings import Settings

K = 5
PLAIN = Wish(threshold=K)
COLUMNS = "ticket,shop,family,built_year,opened_on,symptom,suspect,confirmation,result,checks"
_KEYS = list(BUNDLE_COLUMNS[:-1])

Fill = Callable[..., Settings]


@pytest.fixture
def fill(tmp_path: Path, tiny_vocabulary: Vocabulary) -> Fill:
    """`fill(rows)`: a store with those tickets added; rows are the texts of `COLUMNS`."""
    settings, files = Settings(tmp_path / "data"), itertools.count()
    write_vocabulary(tiny_vocabulary, settings.data_folder / "vocabulary")

    def add(rows: list[str]) -> Settings:
        path = tmp_path / f"tickets{next(files)}.csv"
        path.write_text("\n".join([COLUMNS, *rows]) + "\n", encoding="utf-8")
        report = ingest_file(path, store_path=settings.store_path, vocabulary=tiny_vocabulary, shop="",
                             column_map=read_column_map(None), today=date(2030, 1, 1))  # fmt: skip
        assert not report.quarantined
        return settings

    return add


def _tickets(count: int, *, seed: int, years: tuple[int, int] = (2018, 2023), shop: str = "Harbour") -> list[str]:
    """Tickets of a shop as they come: everything mixed, some without a year or a suspect."""
    rng = np.random.default_rng(seed)
    lists = {"stuck": ["plug_loose", "switch_dirty", "coil_open", ""], "dark": ["fuse_blown", "plug_loose", ""]}
    rows = []
    for at in range(count):
        symptom = rng.choice(list(lists))
        suspect = rng.choice(lists[symptom])
        built = rng.choice(["", "1950", "1970", "1985"])
        opened = f"{rng.integers(years[0], years[1] + 1)}-{rng.integers(1, 13):02d}-05"
        told = f"{suspect},{rng.choice(['cured', 'reproduced_and_cured'])},fixed" if suspect else ",,not_fixed"
        rows.append(f"{shop[0]}{seed}-{at},{shop},{rng.choice(['crane', 'piano'])},{built},{opened},{symptom},{told},"
                    f"{'' if suspect else 'look_at_plug = clear'}")  # fmt: skip
    return rows


def _cells(settings: Settings, path: Path, today: date, wish: Wish = PLAIN, shop: str = "Harbour") -> pd.DataFrame:
    write_bundle(settings, path, shop=shop, today=today, wish=wish)
    return load_bundle(path).cells


def _may_be_in(cells: pd.DataFrame, *, symptom: str, family: str, age_band: str) -> pd.DataFrame:
    """Cells in which a machine of this family and age with this complaint may have been counted."""
    return cells[
        cells["symptom"].isin([symptom, ""])
        & cells["family"].isin([family, ""])
        & cells["age_band"].isin([age_band, UNKNOWN_AGE])
    ]


@pytest.mark.parametrize("seed", range(4))
def test_who_knows_family_age_and_month_finds_the_machine_among_k_or_more(
    fill: Fill, tmp_path: Path, seed: int
) -> None:
    """The machine was the only one of its family and age in that month: the month is nowhere, the rest is shared."""
    known = "V-1,Harbour,piano,1985,2022-05-05,stuck,coil_open,reproduced_and_cured,fixed,"
    settings = fill([*_tickets(90, seed=seed), known])
    cells = _cells(settings, tmp_path / "b.zip", date(2024, 2, 1))
    assert not set(cells.columns) & {"month", "opened_on", "year", "shop", "machine", "ticket"}
    found = _may_be_in(cells, symptom="stuck", family="piano", age_band="middle")
    assert len(found) > 0
    assert found["tickets"].min() >= K
    told = found.assign(possible=[row.suspect or row.results for row in found.itertuples()])
    # what it was cannot be told: several suspects remain
    assert len(set(told["possible"])) > 1 or len(read_possible(told["possible"].iloc[0])) > 1


def test_two_bundles_of_successive_months_are_the_same_to_the_byte(fill: Fill, tmp_path: Path) -> None:
    settings = fill(_tickets(80, seed=1))
    write_bundle(settings, tmp_path / "january.zip", shop="Harbour", today=date(2024, 1, 20), wish=PLAIN)
    fill(["V-1,Harbour,piano,1985,2024-02-05,stuck,coil_open,cured,fixed,",
          "V-2,Harbour,piano,1985,2023-12-30,dark,fuse_blown,cured,fixed,"])  # fmt: skip
    write_bundle(settings, tmp_path / "february.zip", shop="Harbour", today=date(2024, 2, 20), wish=PLAIN)
    assert (tmp_path / "january.zip").read_bytes() == (tmp_path / "february.zip").read_bytes()


@pytest.mark.parametrize("added", [1, 4, 5, 30])
@pytest.mark.parametrize("seed", [2, 3])
def test_the_difference_of_two_years_bundles_shows_nobody(fill: Fill, tmp_path: Path, added: int, seed: int) -> None:
    settings = fill(_tickets(80, seed=seed))
    before = _cells(settings, tmp_path / "a.zip", date(2024, 1, 20)).set_index(_KEYS)["tickets"]
    fill(_tickets(added, seed=100 + seed, years=(2022, 2024)))
    after = _cells(settings, tmp_path / "b.zip", date(2025, 1, 20)).set_index(_KEYS)["tickets"]
    difference = after.sub(before, fill_value=0)
    difference = difference[difference != 0]
    assert (difference >= K).all()
    # late entries of closed years are not lost either, they come with the next year
    assert difference.sum() == (added if added >= K else 0)


def test_an_attack_on_counts_without_the_guarantee_does_find_the_machine(fill: Fill, tmp_path: Path) -> None:
    """The attack of the test above is no straw man: counting everything anew, which the program warns of, shows one."""
    settings = fill(_tickets(200, seed=2))
    before = _cells(settings, tmp_path / "a.zip", date(2024, 1, 20)).set_index(_KEYS)["tickets"]
    fill(["V-1,Harbour,piano,1985,2022-05-05,stuck,coil_open,reproduced_and_cured,fixed,"])
    written = write_bundle(settings, tmp_path / "b.zip", shop="Harbour", today=date(2024, 1, 20),
                           wish=Wish(threshold=K, anew=1))  # fmt: skip
    after = load_bundle(tmp_path / "b.zip").cells.set_index(_KEYS)["tickets"]
    difference = after.sub(before, fill_value=0)
    assert difference.sum() == 1
    assert "compare" in " ".join(written.sentences)


def test_who_holds_all_shops_but_one_still_meets_k_or_more(fill: Fill, tmp_path: Path) -> None:
    """Pool minus the known shops is the last shop's own bundle: it must hold by itself, not only within the sum."""
    shops = ("Harbour", "Pier", "Quay")
    settings = fill([row for seed, shop in enumerate(shops) for row in _tickets(60, seed=seed, shop=shop)])
    parts = {shop: _cells(settings, tmp_path / f"{shop}.zip", date(2024, 2, 1), shop=shop) for shop in shops}
    pool = pd.concat(parts.values()).groupby(_KEYS)["tickets"].sum()
    known = pd.concat([parts["Harbour"], parts["Pier"]]).groupby(_KEYS)["tickets"].sum()
    left = pool.sub(known, fill_value=0)
    assert (left[left != 0] >= K).all()
    assert left.sum() == 60


def test_codes_of_shops_are_random_and_stay(fill: Fill, tmp_path: Path) -> None:
    settings = fill([*_tickets(30, seed=1), *_tickets(30, seed=1, shop="Pier")])
    codes = []
    for shop in ("Harbour", "Pier", "Harbour"):
        write_bundle(settings, tmp_path / "b.zip", shop=shop, today=date(2024, 2, 1), wish=PLAIN)
        codes.append(load_bundle(tmp_path / "b.zip").manifest.contributor)
        assert shop.encode() not in (tmp_path / "b.zip").read_bytes()
    assert codes[0] == codes[2] != codes[1]


def test_fewer_tickets_than_the_threshold_make_no_bundle(fill: Fill, tmp_path: Path) -> None:
    settings = fill(_tickets(4, seed=1))
    with pytest.raises(InputError, match="Wait until there are more"):
        write_bundle(settings, tmp_path / "b.zip", shop="Harbour", today=date(2024, 2, 1), wish=PLAIN)
    assert not (tmp_path / "b.zip").exists()


@pytest.mark.slow
@pytest.mark.parametrize("epsilon", [0.5, 2.0])
def test_noise_keeps_its_epsilon_and_its_variance(tiny_vocabulary: Vocabulary, epsilon: float) -> None:
    """P(n | one ticket more) / P(n) <= exp(epsilon), measured; variance 2p/(1-p)^2 (Ghosh et al. 2012)."""
    row = ("stuck", "", UNKNOWN_AGE, "plug_loose", "cured", "", "")

    def said(tickets: int) -> np.ndarray:
        frame = pd.DataFrame([(*row, tickets)], columns=list(BUNDLE_COLUMNS))
        drawn = [add_noise(frame, tiny_vocabulary, epsilon=epsilon) for _ in range(1500)]
        return np.array(
            [d.loc[(d["symptom"] == "stuck") & (d["suspect"] == "plug_loose"), "tickets"].sum() for d in drawn]
        )

    with_it, without, factor = said(41), said(40), math.exp(epsilon)
    assert without.var() == pytest.approx(noise_variance(epsilon), rel=0.4)
    for at in range(39, 43):
        more, less = np.mean(with_it == at), np.mean(without == at)
        for first, second in ((more, less), (less, more)):
            chance = math.sqrt((first + factor**2 * second) / 1500 + 1e-5)
            assert first - factor * second < 5 * chance
