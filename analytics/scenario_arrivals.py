"""Which machine comes in when, with what, and why: whole arrays at a time, so that a million tickets take seconds."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date

import numpy as np
import pandas as pd

from analytics.scenario import World, softmax

# First and last day of the demo history; any other may be given.
PERIOD = (date(2012, 1, 1), date(2026, 10, 31))
DAYS_PER_YEAR = 365.25
# Softmax rows worked on at once: bounds the memory.
BLOCK = 200_000


@dataclass(frozen=True, eq=False)
class Arrivals:
    """Positions in the world's shops, families, symptoms, age bands and machines, and the day; all (ticket,)."""

    shop: np.ndarray
    family: np.ndarray
    symptom: np.ndarray
    age: np.ndarray
    machine: np.ndarray
    opened_on: np.ndarray


def draw_arrivals(world: World, rng: np.random.Generator, *, count: int, period: tuple[date, date]) -> Arrivals:
    """Tickets as they come in, in no order; comebacks are not among them."""
    shape = world.arrivals.shape
    shop, family, symptom = np.unravel_index(_pick(rng, world.arrivals.ravel(), count), shape)
    machine = _pick_machines(world, rng, shop * shape[1] + family)
    days = np.arange(np.datetime64(period[0]), np.datetime64(period[1]) + np.timedelta64(1, "D"))
    opened_on = days[_pick(rng, _day_weights(world, days), count)]
    built = world.machines["built_year"].to_numpy()[machine]
    return Arrivals(shop, family, symptom, age_positions(world, built, opened_on), machine, opened_on)


def draw_suspects(world: World, rng: np.random.Generator, arrivals: Arrivals) -> np.ndarray:
    """(ticket,) positions of the true suspects in the lists of their symptoms."""
    slots = np.zeros(len(arrivals.symptom), dtype=np.int64)
    for s, symptom in enumerate(world.vocabulary.symptoms):
        for rows in _blocks(np.flatnonzero(arrivals.symptom == s)):
            at = (arrivals.family[rows], arrivals.shop[rows], arrivals.age[rows])
            chance = softmax(world.log_odds[symptom][at])
            below = chance.cumsum(axis=1)[:, :-1] <= rng.random(len(rows))[:, None]
            slots[rows] = below.sum(axis=1)
    return slots


def simulate_cells(
    world: World,
    rng: np.random.Generator,
    *,
    count: int,
    period: tuple[date, date] = PERIOD,
) -> pd.DataFrame:
    """What came in and why, without the repairs: symptom, family, shop, age_band, suspect (the true one) as codes."""
    arrivals = draw_arrivals(world, rng, count=count, period=period)
    vocabulary = world.vocabulary
    lists = list(vocabulary.suspects_by_symptom.values())
    position = {code: at for at, code in enumerate(vocabulary.suspects)}
    width = max(len(codes) for codes in lists)
    of_slot = np.array([[position[code] for code in (*codes, *[codes[-1]] * (width - len(codes)))] for codes in lists])
    return pd.DataFrame(
        {
            "symptom": _codes(vocabulary.symptoms, arrivals.symptom),
            "family": _codes(vocabulary.families, arrivals.family),
            "shop": _codes(world.shops, arrivals.shop),
            "age_band": _codes([band.code for band in vocabulary.age_bands], arrivals.age),
            "suspect": _codes(vocabulary.suspects, of_slot[arrivals.symptom, draw_suspects(world, rng, arrivals)]),
        }
    )


def age_positions(world: World, built_year: np.ndarray, opened_on: np.ndarray) -> np.ndarray:
    """(ticket,) positions of the age bands."""
    age = opened_on.astype("datetime64[Y]").astype(int) + 1970 - built_year
    upper = np.array([band.to_age for band in world.vocabulary.age_bands])
    return np.minimum(np.searchsorted(upper, np.maximum(age, 0)), len(upper) - 1)


def _pick(rng: np.random.Generator, weights: np.ndarray, count: int) -> np.ndarray:
    """(count,) positions drawn in proportion to the weights."""
    total = np.cumsum(weights)
    return np.searchsorted(total, rng.random(count) * total[-1], side="right")


def _pick_machines(world: World, rng: np.random.Generator, group: np.ndarray) -> np.ndarray:
    """(ticket,) rows of `machines`; `group` = shop * families + family, in which order the machines are sorted."""
    shops = {name: at for at, name in enumerate(world.shops)}
    families = {code: at for at, code in enumerate(world.vocabulary.families)}
    machines = world.machines
    of_machine = machines["shop"].map(shops).to_numpy() * len(families) + machines["family"].map(families).to_numpy()
    total = np.concatenate([[0.0], np.cumsum(machines["weight"].to_numpy())])
    start = total[np.searchsorted(of_machine, group, side="left")]
    stop = total[np.searchsorted(of_machine, group, side="right")]
    return np.searchsorted(total, start + rng.random(len(group)) * (stop - start), side="right") - 1


def _day_weights(world: World, days: np.ndarray) -> np.ndarray:
    month = days.astype("datetime64[M]").astype(int) % 12
    return world.season[month] * (1.0 + world.yearly_growth) ** (np.arange(len(days)) / DAYS_PER_YEAR)


def _blocks(rows: np.ndarray) -> list[np.ndarray]:
    return [rows[start : start + BLOCK] for start in range(0, len(rows), BLOCK)]


def _codes(names: Iterable[str], at: np.ndarray) -> pd.Series:
    return pd.Series(pd.Categorical.from_codes(at, categories=list(names)).astype("str"))
