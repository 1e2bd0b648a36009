"""Bundles of several shops taken together: what each of them had to hide is estimated from what all of them show.

Only rolled-up counts go in, so nothing comes out that the bundles have not told. What comes out are expected counts:
good enough to learn from, true of no single ticket.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from analytics.evidence import CELL_COLUMNS, read_possible
from analytics.hidden_counts import expected_counts
from analytics.rollup_cells import MIXED_GRADE
from analytics.vocabulary import STRENGTH_WEIGHTS, Vocabulary

# Steps between sharing out and learning the shares: after a dozen they move by less than one in a thousand.
STEPS = 15
# Tickets that the seeded strengths, and the families of all suspects together, count for beside what is shown.
STRENGTH_WORTH, FAMILY_WORTH = 5.0, 6.0
# Expected counts below this are left to the other families: they would cost the fit more than they tell.
LEAST = 0.01
# Marks the side of a complaint's merged tickets among the sides that are named by a suspect.
MERGED = "merged:"


@dataclass(frozen=True, eq=False)
class Contribution:
    """A shop's rolled-up counts.

    code : stands for the shop
    cells, families : as in `rollup_cells.RolledUp`
    most : the largest count that was hidden: threshold - 1, times the tables that the bundle has been added up from
    """

    code: str
    cells: pd.DataFrame
    families: pd.DataFrame
    most: int


def unroll(contributions: Sequence[Contribution], vocabulary: Vocabulary) -> pd.DataFrame:
    """Cells (columns `evidence.CELL_COLUMNS`) in which every merged suspect and family has its expected count.

    Notes
    -----
    Expectation-maximisation in two stages. Suspects: a merged cell is shared out among those it may hold, in
    proportion to their shares in all shops, none more than `most`; the shares are then learnt anew. Families: likewise
    for each suspect, and for the merged tickets of a complaint, where the shop has told families apart at all. Within
    a suspect, complaint and family are taken as independent, which costs little (`benchmarks/club_losses.py`).
    """
    cells = pd.concat([part.cells.assign(shop=part.code, most=part.most) for part in contributions])
    cells = cells[cells["symptom"].isin(list(vocabulary.symptoms))].reset_index(drop=True)
    merged = cells["results"].map(read_possible).map(len).gt(0)
    shared = _share_suspects(cells[~merged & (cells["suspect"] != "")], cells[merged], vocabulary)
    known = cells[~merged].rename(columns={"tickets": "weight"})
    both = pd.concat([known.assign(side=known["suspect"]), shared.assign(side=MERGED + shared["symptom"])])
    parts = [part for part in contributions if (part.families["family"] != "").any()]
    placed = place_families(both, _family_shares(parts, vocabulary)) if parts else both
    return placed[list(CELL_COLUMNS)].astype({"weight": float}).reset_index(drop=True)


def _share_suspects(known: pd.DataFrame, merged: pd.DataFrame, vocabulary: Vocabulary) -> pd.DataFrame:
    """Merged cells by suspect; their families stay as they are."""
    rows: list[pd.DataFrame] = []
    for symptom, group in merged.groupby("symptom"):
        listed = vocabulary.suspects_of(str(symptom))
        strengths = np.array([STRENGTH_WEIGHTS[vocabulary.links[str(symptom), code]] for code in listed])
        seeded = STRENGTH_WORTH * strengths / strengths.sum()
        shown = known[known["symptom"] == symptom].groupby("suspect")["tickets"].sum().reindex(listed, fill_value=0)
        inside = [np.isin(listed, read_possible(text)) for text in group["results"]]
        # a sum that would force one to be large has had one pulled in from above (`rollup_groups.is_settled`)
        limits = [int(m) if n <= (i.sum() - 1) * m else int(n)
                  for i, n, m in zip(inside, group["tickets"], group["most"], strict=True)]  # fmt: skip
        sums = list(zip(inside, group["tickets"], limits, strict=True))
        rates, shares = seeded, []
        for _ in range(STEPS):
            shares = [_among(rates, *one) for one in sums]
            rates = seeded + shown.to_numpy() + np.sum(shares, axis=0)
        for share, (_, row) in zip(shares, group.iterrows(), strict=True):
            found = pd.DataFrame({"suspect": listed, "weight": share}).query("weight > 0")
            place = {name: row[name] for name in ("symptom", "family", "shop", "age_band")}
            rows.append(found.assign(**place, confirmation=MIXED_GRADE, results="", others=""))
    return pd.concat(rows) if rows else pd.DataFrame(columns=list(CELL_COLUMNS))


def _family_shares(parts: Sequence[Contribution], vocabulary: Vocabulary) -> dict[tuple[str, str], dict[str, float]]:
    """(shop, side) -> family -> share of that side's tickets; a side is a suspect, or a complaint's merged tickets."""
    families = tuple(vocabulary.families)
    tables: dict[tuple[str, str], tuple[np.ndarray, list[tuple[np.ndarray, float, int]]]] = {}
    for part in parts:
        named = part.families["suspect"].where(part.families["suspect"] != "", MERGED + part.families["symptom"])
        tables |= {(part.code, str(side)): _family_table(rows, families, part.most)
                   for side, rows in part.families.groupby(named)}  # fmt: skip
    by_side = {side: np.full(len(families), 1.0 / len(families)) for _, side in tables}
    factor = {part.code: np.ones(len(families)) for part in parts}
    counts: dict[tuple[str, str], np.ndarray] = {}
    for _ in range(STEPS):
        for (shop, side), (shown, rests) in tables.items():
            rates = by_side[side] * factor[shop]
            counts[shop, side] = shown + sum((_among(rates, *rest) for rest in rests), np.zeros(len(families)))
        overall = _normal(np.sum(list(counts.values()), axis=0) + 1.0)
        by_side = {name: _normal(_added(counts, 1, name) + FAMILY_WORTH * overall) for name in by_side}
        factor = {name: _normal(_added(counts, 0, name) + 1.0) / overall for name in factor}
    return {key: dict(zip(families, _normal(count), strict=True)) for key, count in counts.items() if count.sum()}


def _family_table(
    rows: pd.DataFrame, families: tuple[str, ...], most: int
) -> tuple[np.ndarray, list[tuple[np.ndarray, float, int]]]:
    """Shown counts (family,), and each sum of hidden ones: which families it may hold, how many, most of each."""
    shown, rests = np.zeros(len(families)), []
    for row in rows.itertuples():
        if row.family in families:
            shown[families.index(str(row.family))] += float(str(row.tickets))
        else:
            inside = np.isin(families, str(row.possible).split(";"))
            # tickets without a family may have come from any
            rests.append((inside if inside.any() else np.full(len(families), fill_value=True),
                          float(str(row.tickets)), most))  # fmt: skip
    return shown, rests


def place_families(named: pd.DataFrame, shares: Mapping[tuple[str, str], Mapping[str, float]]) -> pd.DataFrame:
    """Cells without a family, by family, where their side (column `side`) tells it."""
    keys = list(zip(named["shop"], named["side"], strict=True))
    split = np.array([key in shares for key in keys]) & (named["family"] == "").to_numpy()
    rows = []
    for key, (_, row) in zip(np.array(keys, dtype=object)[split], named[split].iterrows(), strict=True):
        here = shares[tuple(key)]
        least = min(LEAST / row["weight"], max(here.values()))
        told = {family: share for family, share in here.items() if share >= least}
        total = sum(told.values())
        rows += [{**row, "family": family, "weight": row["weight"] * share / total} for family, share in told.items()]
    return pd.concat([named[~split], pd.DataFrame(rows, columns=named.columns)])


def _among(rates: np.ndarray, inside: np.ndarray, total: float, most: int) -> np.ndarray:
    found = np.zeros(len(rates))
    found[inside] = expected_counts(rates[inside], total, most)
    return found


def _added(counts: Mapping[tuple[str, str], np.ndarray], place: int, name: str) -> np.ndarray:
    return np.sum([count for key, count in counts.items() if key[place] == name], axis=0)


def _normal(values: np.ndarray) -> np.ndarray:
    return values / values.sum()
