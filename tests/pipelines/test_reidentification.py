"""Attacks on bundles: whoever knows a machine, or every other shop, learns no more than the stated guarantee allows.

The guarantee is that of k-anonymity for counts (Sweeney, Int. J. of Uncertainty, Fuzziness and Knowledge-Based Systems
10(5), 2002) with complementary suppression (Hundepool et al., Statistical Disclosure Control, Wiley 2012, chapter 4):
whatever can be added up or subtracted from bundles counts 0 or at least k tickets. Suspects by family are a second
margin of the same table; what both margins together allow is asked of linear programs.
"""

import itertools
import math
from collections.abc import Callable
from datetime import date
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from scipy.optimize import linprog

from analytics.errors import InputError
from analytics.evidence import read_possible
from analytics.noisy_counts import laplace_variance
from analytics.rollup_cells import BUNDLE_COLUMNS
from analytics.rollup_checks import roll_up_minutes
from analytics.vocabulary import UNKNOWN_AGE, Vocabulary
from pipelines.bundle_files import load_bundle
from pipelines.bundle_noise import noise_variance, noisy_cells, noisy_families
from pipelines.bundle_tables import COLUMNS, NUMBERS, Counts
from pipelines.bundle_writing import Wish, write_bundle
from pipelines.catalogue import write_vocabulary
from pipelines.column_maps import read_column_map
from pipelines.intake import ingest_file
from pipelines.settings import Settings

pytestmark = pytest.mark.slow

K = 5
PLAIN = Wish(threshold=K)
HEADER = "ticket,shop,family,built_year,opened_on,symptom,suspect,confirmation,result,checks"
_KEYS = list(BUNDLE_COLUMNS[:-1])

Fill = Callable[..., Settings]


@pytest.fixture
def fill(tmp_path: Path, tiny_vocabulary: Vocabulary) -> Fill:
    """`fill(rows)`: a store with those tickets added; rows are the texts of `HEADER`."""
    settings, files = Settings(tmp_path / "data"), itertools.count()
    write_vocabulary(tiny_vocabulary, settings.data_folder / "vocabulary")

    def add(rows: list[str]) -> Settings:
        path = tmp_path / f"tickets{next(files)}.csv"
        path.write_text("\n".join([HEADER, *rows]) + "\n", encoding="utf-8")
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
        checks = f"look_at_plug = {rng.choice(['fault_found', 'clear'])} / {rng.integers(1, 9)}"
        made = checks if suspect and rng.random() < 0.7 else "" if suspect else "look_at_plug = clear"
        rows.append(
            f"{shop[0]}{seed}-{at},{shop},{rng.choice(['crane', 'piano'])},{built},{opened},{symptom},{told},{made}"
        )
    return rows


def _cells(settings: Settings, path: Path, today: date, wish: Wish = PLAIN, shop: str = "Harbour") -> pd.DataFrame:
    return _counts(settings, path, today, wish, shop).cells


def _counts(settings: Settings, path: Path, today: date, wish: Wish = PLAIN, shop: str = "Harbour") -> Counts:
    write_bundle(settings, path, shop=shop, today=today, wish=wish)
    return load_bundle(path).counts


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


@pytest.mark.parametrize("added", [4, 30])
def test_the_difference_of_two_years_families_and_checks_shows_nobody(fill: Fill, tmp_path: Path, added: int) -> None:
    settings = fill(_tickets(120, seed=2))
    before = _counts(settings, tmp_path / "a.zip", date(2024, 1, 20))
    fill(_tickets(added, seed=102, years=(2022, 2024)))
    after = _counts(settings, tmp_path / "b.zip", date(2025, 1, 20))
    for side in ("families", "checks", "minutes"):
        keys = [column for column in COLUMNS[side] if column not in NUMBERS]
        old, new = (getattr(counts, side).set_index(keys)["tickets"] for counts in (before, after))
        assert len(old) > 0
        difference = new.sub(old, fill_value=0)
        assert (difference[difference != 0] >= K).all()


@pytest.mark.parametrize("seed", range(3))
def test_no_complaint_of_a_family_can_be_pinned_below_k_from_both_sides(fill: Fill, tmp_path: Path, seed: int) -> None:
    """The attack of Dobra and Fienberg (PNAS 97, 2000): linear programming over all tables with the same margins.

    An attacker who joins the cells (complaint, suspect) with the side (family, suspect) asks for the most that each
    (complaint, family, suspect) can hold; likewise of a complaint's merged tickets, where the cells are groups of
    suspects. Could it only be 1 to K - 1, a small group would be found.
    """
    counts = _counts(fill(_tickets(150, seed=seed)), tmp_path / "b.zip", date(2024, 2, 1))
    asked = 0
    for (symptom, suspect), side in counts.families.groupby(["symptom", "suspect"]):
        cells = counts.cells[(counts.cells["suspect"] == suspect) & (counts.cells["family"] == "")]
        named = cells["results"].str.contains("possible") & (cells["symptom"] == symptom)
        rows = cells[named if symptom else cells["symptom"] != ""].groupby(["symptom", "results"])["tickets"].sum()
        assert side["tickets"].sum() == rows.sum()
        shape = (len(rows), len(side))
        margins = [np.repeat(np.eye(shape[0]), shape[1], axis=1), np.tile(np.eye(shape[1]), shape[0])]
        told = np.concatenate([rows.to_numpy(), side["tickets"].to_numpy()])
        for at in range(shape[0] * shape[1]):
            aim = np.zeros(shape[0] * shape[1])
            aim[at] = -1.0
            found = linprog(aim, A_eq=np.concatenate(margins), b_eq=told, bounds=(0, None))
            assert found.status == 0
            assert -found.fun >= K - 1e-6
            asked += 1
    assert asked > 4


@pytest.mark.parametrize("seed", range(4))
def test_who_knows_how_many_tickets_a_suspect_had_finds_no_few_without_a_check(
    fill: Fill, tmp_path: Path, tiny_vocabulary: Vocabulary, seed: int
) -> None:
    """The attacker knows the true number of tickets a suspect, and subtracts the outcomes from it."""
    rows = _tickets(120, seed=seed)
    counts = _counts(fill(rows), tmp_path / "b.zip", date(2024, 2, 1))
    true = pd.Series([row.split(",")[6] for row in rows]).value_counts()
    assert len(counts.checks) > 0
    for row in counts.checks.itertuples():
        known = tiny_vocabulary.checks[str(row.check)]
        at_fault = set(known.cures if row.outcome in ("cured", "not_cured") else known.reveals)
        inside = at_fault if row.place == "at_fault" else set(tiny_vocabulary.suspects) - at_fault
        left = sum(int(true.get(code, 0)) for code in inside) - row.tickets
        assert left == 0 or left >= K
        assert row.tickets >= K


def test_the_minutes_of_single_tickets_cannot_be_got_back() -> None:
    """Every five whole minutes up to 25 are tried: exact sums would name the one set, what is published names many."""
    true = np.array([2, 5, 7, 11, 23])
    tried = np.array(list(itertools.combinations_with_replacement(range(1, 26), 5)))
    logs = np.log(tried)
    sums, squares = logs.sum(1), (logs**2).sum(1)
    at = int(np.flatnonzero((tried == true).all(1))[0])
    exact = np.isclose(sums, sums[at], atol=1e-9) & np.isclose(squares, squares[at], atol=1e-9)
    assert exact.sum() == 1
    counted = pd.DataFrame({"check": [str(n) for n in range(len(tried))], "count": 5, "log_sum": sums,
                            "log_square_sum": squares})  # fmt: skip
    told = roll_up_minutes(counted, threshold=K)[["mean_log", "spread_log"]].to_numpy()
    assert (told == told[at]).all(1).sum() > 5


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


@pytest.mark.parametrize("epsilon", [0.5, 2.0])
def test_noise_keeps_its_epsilon_and_its_variance(tiny_vocabulary: Vocabulary, epsilon: float) -> None:
    """P(n | one ticket more) / P(n) <= exp(epsilon), in both tables; variance 2p/(1-p)^2 (Ghosh et al. 2012)."""
    row = ("stuck", "crane", UNKNOWN_AGE, "plug_loose", "cured", "", "")

    def said(tickets: int) -> np.ndarray:
        """(draw, table)"""
        frame = pd.DataFrame([(*row, tickets)], columns=list(BUNDLE_COLUMNS))
        drawn = []
        for _ in range(1500):
            cells = noisy_cells(frame, tiny_vocabulary, epsilon=epsilon).query("symptom == 'stuck'")
            families = noisy_families(frame, tiny_vocabulary, epsilon=epsilon).query("family == 'crane'")
            drawn.append([part.loc[part["suspect"] == "plug_loose", "tickets"].sum() for part in (cells, families)])
        return np.array(drawn)

    with_it, without, factor = said(41), said(40), math.exp(epsilon)
    assert without.var(axis=0) == pytest.approx(np.full(2, noise_variance(epsilon, K)), rel=0.4)
    assert abs(np.corrcoef(without.T)[0, 1]) < 0.1
    for at in range(39, 43):
        for more, less in zip(np.mean(with_it == at, axis=0), np.mean(without == at, axis=0), strict=True):
            for first, second in ((more, less), (less, more)):
                chance = math.sqrt((first + factor**2 * second) / 1500 + 1e-5)
                assert first - factor * second < 5 * chance


def test_noisy_tables_name_all_words_alike_whoever_had_tickets(tiny_vocabulary: Vocabulary) -> None:
    """Which counts there are must not tell of a ticket: those of a shop without any come up as the noise has it."""
    none = pd.DataFrame(columns=list(BUNDLE_COLUMNS))
    cells = pd.concat([noisy_cells(none, tiny_vocabulary, epsilon=0.5) for _ in range(200)])
    families = pd.concat([noisy_families(none, tiny_vocabulary, epsilon=0.5) for _ in range(200)])
    seen = set(zip(cells["symptom"], cells["suspect"], strict=True))
    assert seen == {(s, k) for s in tiny_vocabulary.symptoms for k in (*tiny_vocabulary.suspects_of(s), "")}
    seen = set(zip(families["suspect"], families["family"], strict=True))
    assert seen == {(k, f) for k in tiny_vocabulary.suspects for f in (*tiny_vocabulary.families, "")}


def test_a_whole_bundle_with_noise_spends_its_epsilon_once(fill: Fill, tmp_path: Path) -> None:
    """Without a threshold a ticket is in two tables, each with half; with one, only families have noise."""
    settings = fill(_tickets(60, seed=1))
    for threshold, share in ((1, 0.5), (K, 1.0)):
        wish = Wish(threshold=threshold, epsilon=2.0, anew=1)
        write_bundle(settings, tmp_path / "b.zip", shop="Harbour", today=date(2024, 2, 1), wish=wish)
        bundle = load_bundle(tmp_path / "b.zip")
        assert bundle.manifest.noise_variance == pytest.approx(laplace_variance(2.0 * share))
        assert (len(bundle.counts.checks) == 0) == (threshold == 1)
    with pytest.raises(InputError, match="hides nothing"):
        write_bundle(
            settings, tmp_path / "b.zip", shop="Harbour", today=date(2024, 2, 1), wish=Wish(threshold=1, anew=1)
        )
