"""Tickets of many shops, drawn as counts from an invented world and written one row a ticket, one folder a shop."""

from pathlib import Path

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq

from analytics.scenario import make_world, softmax
from analytics.scenario_tickets import GRADE_SHARES
from analytics.vocabulary import CONFIRMATIONS, Vocabulary

SEED, SHOP_SD, SIZE_SD = 20_261_125, 0.35, 0.8
COLUMNS = ("symptom", "family", "age_band", "suspect", "confirmation")


def write_pool(folder: Path, vocabulary: Vocabulary, *, shops: int, tickets: int) -> int:
    """Writes `folder`/shop=NUMBER/tickets.parquet for each shop; gives the bytes of all.

    A shop's odds of a suspect depart from the world's by a factor of its own (normal in logs, sd `SHOP_SD`).
    """
    rng = np.random.default_rng(SEED)
    world = make_world(vocabulary, ("Pool",), rng)
    cells, suspect, chance = _cells(vocabulary, world.arrivals[0], {
        symptom: softmax(log_odds[:, 0]) for symptom, log_odds in world.log_odds.items()
    })  # fmt: skip
    dictionaries = [pa.array(names) for names in _names(vocabulary)]
    size = 0
    for shop, count in enumerate(_sizes(rng, shops, tickets)):
        factor = np.exp(rng.normal(0.0, SHOP_SD, len(vocabulary.suspects)))[suspect]
        counts = rng.multinomial(count, chance * factor / (chance * factor).sum())
        rows = cells[rng.permutation(np.repeat(np.arange(len(cells)), counts))]
        columns = [
            pa.DictionaryArray.from_arrays(pa.array(rows[:, at]), names) for at, names in enumerate(dictionaries)
        ]
        path = folder / f"shop={shop:05}" / "tickets.parquet"
        path.parent.mkdir(parents=True)
        pq.write_table(pa.table(columns, names=list(COLUMNS)), path)
        size += path.stat().st_size
    return size


def _cells(
    vocabulary: Vocabulary, arrivals: np.ndarray, odds: dict[str, np.ndarray]
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """(cell, column of `COLUMNS`) codes, the suspect of each cell, and P(cell); all age bands come alike often."""
    place = {code: at for at, code in enumerate(vocabulary.suspects)}
    cells, chances = [], []
    for symptom_at, (symptom, shares) in enumerate(odds.items()):
        suspects = [place[code] for code in vocabulary.suspects_of(symptom)]
        for (family, age, slot), share in np.ndenumerate(shares):
            for grade, graded in enumerate(GRADE_SHARES):
                cells.append((symptom_at, family, age, suspects[slot], grade))
                chances.append(arrivals[family, symptom_at] * share * graded)
    codes = np.array(cells, dtype=np.int32)
    chance = np.array(chances)
    return codes, codes[:, 3], chance / chance.sum()


def _names(vocabulary: Vocabulary) -> tuple[list[str], ...]:
    return (
        list(vocabulary.symptoms),
        list(vocabulary.families),
        [band.code for band in vocabulary.age_bands],
        list(vocabulary.suspects),
        list(CONFIRMATIONS),
    )


def _sizes(rng: np.random.Generator, shops: int, tickets: int) -> np.ndarray:
    """Tickets of each shop: few have many."""
    weight = rng.lognormal(0.0, SIZE_SD, shops)
    return rng.multinomial(tickets, weight / weight.sum())
