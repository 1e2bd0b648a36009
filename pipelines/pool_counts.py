"""The counts of every bundle and pack that counts now, and their sum with what had to be hidden estimated."""

import json
import math
from collections.abc import Sequence
from dataclasses import dataclass

import pandas as pd

from analytics.evidence import CELL_COLUMNS
from analytics.rollup_checks import add_minutes
from analytics.unrolling import Contribution, unroll
from analytics.unrolling_checks import unroll_outcomes
from analytics.unrolling_noisy import NoisyCounts, place_noisy_families, unroll_noisy
from analytics.vocabulary import Vocabulary
from pipelines.bundle_files import CELLS_ONLY
from pipelines.bundle_noise import epsilon_of_count
from pipelines.bundle_tables import COLUMNS, Counts
from pipelines.settings import Settings
from pipelines.store import reading, run_query

OWN, RECEIVED, PACK = "own", "received", "pack"
CURRENT = "current"


@dataclass(frozen=True, eq=False)
class Told:
    """What one contributor tells.

    most : the largest count that it hid, 0 if nothing can be said of that or noise hides it
    epsilon : of the noise on each count of a suspect by family, and on all where `most` is 0; 0 without
    """

    contributor: str
    counts: Counts
    most: int
    epsilon: float


def read_counts(settings: Settings, kinds: tuple[str, ...]) -> tuple[Told, ...]:
    """All current bundles and packs of these kinds."""
    with reading(settings.store_path) as con:
        known = run_query(con, "bundles_known")
        tables = {name: run_query(con, f"pool_{name}") for name in COLUMNS}
    rows = known[(known["state"] == CURRENT) & known["kind"].isin(kinds)]
    return tuple(
        Told(
            str(row.contributor),
            Counts(**{name: table[table["checksum"] == row.checksum] for name, table in tables.items()}),
            _most_hidden(str(row.kind), json.loads(str(row.manifest))),
            _epsilon_of(json.loads(str(row.manifest))),
        )
        for row in rows.itertuples()
    )


def unroll_counts(told: Sequence[Told], vocabulary: Vocabulary) -> Counts:
    """The sum; cells with the columns of `evidence.CELL_COLUMNS`, each contributor a shop.

    What a bundle states to have hidden is shared out, by threshold and by noise; packs have been, and older bundles did
    not say.
    """
    plain = [one for one in told if one.most]
    noisy = [one for one in told if one.epsilon]
    parts = [Contribution(one.contributor, one.counts.cells, _exact_families(one), one.most) for one in plain]
    drowned = [NoisyCounts(one.contributor, one.counts.cells, one.epsilon) for one in noisy if not one.most]
    cells = pd.concat([
        *([unroll(parts, vocabulary)] if parts else []),
        *([unroll_noisy(drowned, vocabulary)] if drowned else []),
        *(_as_told(one) for one in told if not (one.epsilon or one.most)),
    ])  # fmt: skip
    # noise of before was on cells alone
    seen = [NoisyCounts(one.contributor, one.counts.families, one.epsilon) for one in noisy if len(one.counts.families)]
    if seen:
        cells = place_noisy_families(cells, seen, vocabulary)
    if drowned:
        cells["weight"] *= cells["worth"].fillna(1.0)
    cells = cells[list(CELL_COLUMNS)]
    outcomes = unroll_outcomes([(one.counts.checks, one.most) for one in told], vocabulary)
    minutes = add_minutes(pd.concat([one.counts.minutes for one in told]))
    return Counts(cells, told[0].counts.families.iloc[:0], outcomes, minutes)


def _exact_families(one: Told) -> pd.DataFrame:
    return one.counts.families.iloc[:0] if one.epsilon else one.counts.families


def _as_told(one: Told) -> pd.DataFrame:
    return one.counts.cells.assign(shop=one.contributor).rename(columns={"tickets": "weight"})[list(CELL_COLUMNS)]


def _epsilon_of(manifest: dict[str, float]) -> float:
    """Of the noise on one count: sums of several parts carry the noise of each, about as one that is wider."""
    return epsilon_of_count(manifest["epsilon"], int(manifest["threshold"])) / math.sqrt(manifest.get("parts", 1))


def _most_hidden(kind: str, manifest: dict[str, int]) -> int:
    if kind == PACK or manifest["schema_version"] == CELLS_ONLY:
        return 0
    return (manifest["threshold"] - 1) * manifest["parts"]
