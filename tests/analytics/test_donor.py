"""A donor machine: means against the closed form, intervals against the exact distribution, refusals."""

from itertools import product

import numpy as np
import pytest
from scipy import stats

from analytics.donor import DonorPart, Good, units_of_parts, value_donor
from analytics.errors import InputError
from analytics.part_needs import main_remedies, parts_in_components
from analytics.vocabulary import Vocabulary
from pipelines.catalogue import read_vocabulary
from pipelines.settings import seed_folder

PARTS = [DonorPart("belt", (0.9, 0.5), 20.0), DonorPart("coil", (0.7,), 45.0)]
DEMAND = stats.nbinom(np.array([2.0, 0.8]), np.array([0.5, 0.6]))


def test_the_mean_is_the_sum_over_every_way_it_can_go() -> None:
    mean = 0.0
    for goods in product((0, 1), repeat=3):
        chance = np.prod([c if g else 1 - c for g, c in zip(goods, (0.9, 0.5, 0.7), strict=True)])
        for part, units, value in ((0, goods[0] + goods[1], 20.0), (1, goods[2], 45.0)):
            uses = np.arange(200)
            frequency = stats.nbinom(DEMAND.args[0][part], DEMAND.args[1][part]).pmf(uses)
            mean += float(chance * value * (np.minimum(uses, units) * frequency).sum())
    worth = value_donor(PARTS, DEMAND, cost=30.0, rng=np.random.default_rng(1))
    assert worth.saved == pytest.approx(mean, rel=1e-9)
    assert worth.net == pytest.approx(mean - 30.0, rel=1e-9)


def test_the_draws_agree_with_the_mean_and_the_chance() -> None:
    worth = value_donor(PARTS[1:], stats.nbinom(np.array([0.8]), np.array([0.6])), cost=30.0,
                        rng=np.random.default_rng(1))  # fmt: skip
    # one unit: it pays when it is good and wanted at least once
    assert worth.chance_pays == pytest.approx(0.7 * stats.nbinom(0.8, 0.6).sf(0), abs=0.012)
    assert (worth.low, worth.high) == (-30.0, 15.0)


def test_more_units_than_uses_add_little_and_a_dearer_machine_pays_less() -> None:
    few = value_donor([DonorPart("lamp", (0.9,) * 3, 5.0)], stats.poisson(np.array([1.0])), cost=0.0,
                      rng=np.random.default_rng(1))  # fmt: skip
    many = value_donor([DonorPart("lamp", (0.9,) * 30, 5.0)], stats.poisson(np.array([1.0])), cost=0.0,
                       rng=np.random.default_rng(1))  # fmt: skip
    assert few.saved < many.saved < 5.0 * 1.0 + 1e-9
    pays = [value_donor(PARTS, DEMAND, cost=c, rng=np.random.default_rng(1)).chance_pays for c in (0.0, 40.0, 200.0)]
    assert pays[0] > pays[1] > pays[2] == 0.0


def test_a_worn_wiper_needs_the_set_that_sits_in_its_own_component() -> None:
    vocabulary = read_vocabulary(seed_folder() / "vocabulary")
    assert main_remedies(vocabulary)["stylus_worn"].part == "stylus"
    assert parts_in_components(vocabulary)[vocabulary.suspects["search_wiper_worn"].component] == ("wiper set",)


def test_what_holds_no_part_is_refused(tiny_vocabulary: Vocabulary) -> None:
    assert parts_in_components(tiny_vocabulary) == {}
    parts_in = {"coil": ("coil",)}
    assert units_of_parts({"coil": Good(0.8, 2)}, parts_in) == {"coil": (0.8, 0.8)}
    with pytest.raises(InputError, match="'wheel' holds no part"):
        units_of_parts({"wheel": Good(0.8)}, parts_in)
    with pytest.raises(InputError, match="1 units good with 9"):
        units_of_parts({"coil": Good(9.0)}, parts_in)
    with pytest.raises(InputError, match="0 or more"):
        value_donor(PARTS, DEMAND, cost=-1.0, rng=np.random.default_rng(1))
