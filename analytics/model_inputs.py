"""Evidence as the index arrays and weights that the model reads: counting becomes arithmetic here, once."""

from dataclasses import dataclass

import numpy as np
import pandas as pd

from analytics.check_rates import CheckTable, count_check_table
from analytics.companions import companion_rates
from analytics.evidence import Evidence
from analytics.told_likelihood import told_by_cells
from analytics.vocabulary import CONFIRMATIONS, SOMETHING_ELSE, Vocabulary

# Failure mode of `something_else`: it has none of its own, yet shops differ in how often they end there.
NO_MODE = "no_mode"


@dataclass(frozen=True)
class LinkTable:
    """Every (symptom, suspect) pair, flattened: `link`. `slot_link` (symptom, slot) lists them padded with link 0."""

    symptoms: tuple[str, ...]
    suspects: tuple[str, ...]
    modes: tuple[str, ...]
    pairs: tuple[tuple[int, int], ...]
    symptom: np.ndarray
    suspect: np.ndarray
    mode: np.ndarray
    pair: np.ndarray
    slot_link: np.ndarray
    slot_used: np.ndarray

    def slots_of(self, symptom: int) -> np.ndarray:
        """Links of one symptom, in the order of its list."""
        return self.slot_link[symptom][self.slot_used[symptom]]


@dataclass(frozen=True)
class TicketTables:
    """Tickets as `ticket_likelihood.score_tickets` reads them; a context is a (symptom, family, shop) that occurs.

    context (context, 3); sure (context, age) tickets whose suspect is certain, and link_total (link,), family_total
    (family + 1, suspect), shop_total (shop + 1, mode), age_total (link, age) their margins.
    Written suspects that may be a guess: written (row, 3) age, slot, grade - 1; written_weight (row,).
    All others: pattern (row, 3) age (-1: no year), grade - 1 (-1: nothing written), slot, those of one age and grade
    together; pattern_weight (row,); pattern_likelihood (row, slot). `*_start` (context + 1,) says which rows belong to
    a context.
    """

    context: np.ndarray
    sure: np.ndarray
    link_total: np.ndarray
    family_total: np.ndarray
    shop_total: np.ndarray
    age_total: np.ndarray
    written_start: np.ndarray
    written: np.ndarray
    written_weight: np.ndarray
    pattern_start: np.ndarray
    pattern: np.ndarray
    pattern_weight: np.ndarray
    pattern_likelihood: np.ndarray


@dataclass(frozen=True)
class ModelInputs:
    """All that `build_model` reads. A family or shop that is not given has the last index: its effects are zero.

    age_share (family + 1, age): how old the machines of a family are, for tickets without a year.
    companion_present (suspect, symptom): P(another symptom is present | suspect).
    """

    links: LinkTable
    families: tuple[str, ...]
    shops: tuple[str, ...]
    ages: tuple[str, ...]
    tickets: TicketTables
    age_share: np.ndarray
    checks: CheckTable
    companion_present: np.ndarray
    ticket_count: float


def link_table(vocabulary: Vocabulary) -> LinkTable:
    """The suspects of every symptom as flat arrays."""
    suspects, symptoms = tuple(vocabulary.suspects), tuple(vocabulary.symptoms)
    modes = (*vocabulary.failure_modes, NO_MODE)
    mode_of = [modes.index(s.failure_mode or NO_MODE) for s in vocabulary.suspects.values()]
    lists = [[suspects.index(code) for code in vocabulary.suspects_of(symptom)] for symptom in symptoms]
    symptom = np.repeat(np.arange(len(symptoms)), [len(codes) for codes in lists])
    suspect = np.concatenate([np.array(codes) for codes in lists])
    mode = np.array(mode_of)[suspect]
    pairs = sorted(set(zip(symptom.tolist(), mode.tolist(), strict=True)))
    width = max(len(codes) for codes in lists)
    starts = np.cumsum([0, *(len(codes) for codes in lists)])[:-1]
    used = np.arange(width) < np.array([[len(codes)] for codes in lists])
    slot_link = np.where(used, starts[:, None] + np.arange(width), starts[:, None])
    pair = np.array([pairs.index(p) for p in zip(symptom.tolist(), mode.tolist(), strict=True)])
    return LinkTable(symptoms, suspects, modes, tuple(pairs), symptom, suspect, mode, pair, slot_link, used)


def model_inputs(evidence: Evidence, vocabulary: Vocabulary) -> ModelInputs:
    """Index arrays of the evidence in the order of the vocabulary.

    Families and shops are those of the evidence and of the vocabulary together, so that a family without tickets has
    its own (wide) effect.
    """
    links = link_table(vocabulary)
    families = tuple(dict.fromkeys((*vocabulary.families, *evidence.families)))
    shops, ages = evidence.shops, tuple(band.code for band in vocabulary.age_bands)
    placed = _place_cells(evidence.cells, links, families=families, shops=shops, ages=ages)
    checks = count_check_table(evidence, vocabulary)
    companions = companion_rates(evidence, vocabulary)
    lists = tuple(links.suspect[links.slots_of(symptom)] for symptom in range(len(links.symptoms)))
    likelihood = told_by_cells(placed, lists, (links.symptoms, links.suspects), checks=checks, companions=companions)
    return ModelInputs(
        links=links,
        families=families,
        shops=shops,
        ages=ages,
        tickets=_ticket_tables(placed, likelihood, links, sizes=(len(families) + 1, len(shops) + 1, len(ages))),
        age_share=_age_share(placed, family_count=len(families), age_count=len(ages)),
        checks=checks,
        companion_present=companions,
        ticket_count=float(placed["weight"].sum()),
    )


def _ticket_tables(
    placed: pd.DataFrame, likelihood: np.ndarray, links: LinkTable, *, sizes: tuple[int, int, int]
) -> TicketTables:
    """Cells sorted by context and split into sure, written and pattern."""
    keys = placed[["symptom", "family", "shop"]].to_numpy(dtype=np.int64)
    context, at = np.unique(keys, axis=0, return_inverse=True)
    at = at.reshape(-1)
    slot, grade, age = (placed[name].to_numpy(dtype=np.int64) for name in ("slot", "grade", "age"))
    weight = placed["weight"].to_numpy(dtype=float)
    has_year, named = age >= 0, slot >= 0
    sure, written = has_year & named & (grade == 0), has_year & named & (grade >= 1)
    order = np.lexsort((grade, age, at))
    written_rows, pattern_rows = order[written[order]], order[~(sure | written)[order]]
    link = links.slot_link[placed["symptom"].to_numpy(dtype=np.int64), np.maximum(slot, 0)]
    family_count, shop_count, age_count = sizes

    def total(shape: tuple[int, ...], *index: np.ndarray) -> np.ndarray:
        table = np.zeros(shape)
        np.add.at(table, tuple(values[sure] for values in index), weight[sure])
        return table

    return TicketTables(
        context=np.ascontiguousarray(context),
        sure=total((len(context), age_count), at, age),
        link_total=total((len(links.symptom),), link),
        family_total=total((family_count, len(links.suspects)), keys[:, 1], links.suspect[link]),
        shop_total=total((shop_count, len(links.modes)), keys[:, 2], links.mode[link]),
        age_total=total((len(links.symptom), age_count), link, age),
        written_start=np.searchsorted(at[written_rows], np.arange(len(context) + 1)),
        written=np.stack([age, slot, grade - 1], axis=1)[written_rows],
        written_weight=weight[written_rows],
        pattern_start=np.searchsorted(at[pattern_rows], np.arange(len(context) + 1)),
        pattern=np.stack([age, np.maximum(grade - 1, -1), slot], axis=1)[pattern_rows],
        pattern_weight=weight[pattern_rows],
        pattern_likelihood=likelihood[pattern_rows],
    )


def _place_cells(
    cells: pd.DataFrame, links: LinkTable, *, families: tuple[str, ...], shops: tuple[str, ...], ages: tuple[str, ...]
) -> pd.DataFrame:
    """Codes -> positions; cells whose suspect is not in its symptom's list count as `something_else`."""
    slot_of = {
        (links.symptoms[links.symptom[link]], links.suspects[links.suspect[link]]): slot
        for s in range(len(links.symptoms))
        for slot, link in enumerate(links.slots_of(s))
    }
    other_slot = {symptom: slot_of[symptom, SOMETHING_ELSE] for symptom in links.symptoms}
    keys = zip(cells["symptom"], cells["suspect"], strict=True)
    slot = [slot_of.get((s, k), other_slot[s]) if k else -1 for s, k in keys]
    return pd.DataFrame(
        {
            "symptom": cells["symptom"].map({code: i for i, code in enumerate(links.symptoms)}).astype(int),
            "family": cells["family"]
            .map({code: i for i, code in enumerate(families)})
            .fillna(len(families))
            .astype(int),
            "shop": cells["shop"].map({code: i for i, code in enumerate(shops)}).fillna(len(shops)).astype(int),
            "age": cells["age_band"].map({code: i for i, code in enumerate(ages)}).fillna(-1).astype(int),
            "slot": np.array(slot, dtype=int),
            "grade": cells["confirmation"]
            .map({code: i for i, code in enumerate(CONFIRMATIONS)})
            .fillna(-1)
            .astype(int),
            "results": cells["results"],
            "others": cells["others"],
            "weight": cells["weight"].astype(float),
        }
    )


def _age_share(placed: pd.DataFrame, *, family_count: int, age_count: int) -> np.ndarray:
    """(family + 1, age): shares of ages among tickets with a year; each family borrows 20 tickets of the whole."""
    known = placed[placed["age"] >= 0]
    table = np.zeros((family_count + 1, age_count))
    np.add.at(table, (known["family"].to_numpy(), known["age"].to_numpy()), known["weight"].to_numpy())
    overall = (table.sum(0) + 1.0) / (table.sum() + age_count)
    table = table + 20.0 * overall
    return table / table.sum(1, keepdims=True)
