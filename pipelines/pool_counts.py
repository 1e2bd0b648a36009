"""The counts of every bundle and pack that counts now, and their sum with what had to be hidden estimated."""

import json
from collections.abc import Sequence
from dataclasses import dataclass

import pandas as pd

from analytics.evidence import CELL_COLUMNS, read_possible
from analytics.rollup_checks import add_minutes
from analytics.unrolling import Contribution, unroll
from analytics.unrolling_checks import unroll_outcomes
from analytics.vocabulary import Vocabulary
from pipelines.bundle_files import CELLS_ONLY
from pipelines.bundle_tables import COLUMNS, Counts
from pipelines.settings import Settings
from pipelines.store import reading, run_query

OWN, RECEIVED, PACK = "own", "received", "pack"
CURRENT = "current"


@dataclass(frozen=True, eq=False)
class Told:
    """What one contributor tells; `most` is the largest count that it hid, 0 if nothing can be said of that."""

    contributor: str
    counts: Counts
    most: int
    noise_variance: float


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
            float(str(row.noise_variance)),
        )
        for row in rows.itertuples()
    )


def unroll_counts(told: Sequence[Told], vocabulary: Vocabulary) -> Counts:
    """The sum; cells with the columns of `evidence.CELL_COLUMNS`, each contributor a shop.

    Only bundles that state what they hide are shared out: packs have been, those with noise hide by it, and older ones
    did not say.
    """
    plain = [one for one in told if one.most and not one.noise_variance]
    contributions = [Contribution(one.contributor, one.counts.cells, one.counts.families, one.most) for one in plain]
    shared = unroll(contributions, vocabulary) if contributions else pd.DataFrame(columns=list(CELL_COLUMNS))
    cells = pd.concat([shared, *(_weighed(one) for one in told if one not in plain)])
    outcomes = unroll_outcomes([(one.counts.checks, one.most) for one in told], vocabulary)
    minutes = add_minutes(pd.concat([one.counts.minutes for one in told]))
    return Counts(cells, told[0].counts.families.iloc[:0], outcomes, minutes)


def _weighed(one: Told) -> pd.DataFrame:
    cells = one.counts.cells
    merged = cells["results"].map(lambda text: max(1, len(read_possible(text)))).astype(float)
    weight = cells["tickets"] ** 2 / (cells["tickets"] + one.noise_variance * merged)
    return cells.assign(shop=one.contributor, weight=weight)[list(CELL_COLUMNS)]


def _most_hidden(kind: str, manifest: dict[str, int]) -> int:
    if kind == PACK or manifest["schema_version"] == CELLS_ONLY:
        return 0
    return (manifest["threshold"] - 1) * manifest["parts"]
