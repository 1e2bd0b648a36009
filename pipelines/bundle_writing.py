"""Writing a workshop's bundle: whole closed years, each ticket counted once and for all."""

import json
import secrets
from dataclasses import dataclass, replace
from datetime import date
from pathlib import Path

import pandas as pd

from analytics.errors import InputError
from analytics.rollup import roll_up
from analytics.rollup_cells import DEFAULT_THRESHOLD, LEVELS
from analytics.rollup_checks import add_minutes, roll_up_minutes, roll_up_outcomes
from analytics.vocabulary import Vocabulary
from pipelines.bundle_files import (
    Manifest,
    bundle_checksum,
    counts_entries,
    counts_facts,
    manifest_bytes,
    save_container,
)
from pipelines.bundle_in_words import written_in_words
from pipelines.bundle_noise import TABLES, check_epsilon, noise_variance, noisy_cells, noisy_families
from pipelines.bundle_tables import COLUMNS, NUMBERS, Counts, cells_alone
from pipelines.bundle_words import terms_used, vocabulary_hash
from pipelines.bundles import keep_counts
from pipelines.catalogue import read_vocabulary
from pipelines.history import age_band_frame
from pipelines.pool import CURRENT, OWN, known_bundles
from pipelines.settings import Settings
from pipelines.signatures import signature_entry
from pipelines.store import last_ticket_order, reading, registered, run_query, writing


@dataclass(frozen=True)
class Wish:
    """How a bundle is to be written.

    threshold : fewest tickets in a cell; 1: none, all counts have noise instead
    epsilon : of the noise on suspects by family, or on all; 0 without
    signed, anew : 1 to sign it; 1 to count tickets anew that have left the shop before, because some were corrected
    """

    threshold: int = DEFAULT_THRESHOLD
    epsilon: float = 0.0
    signed: int = 0
    anew: int = 0


@dataclass(frozen=True)
class Written:
    """A bundle that was written, and what to say of it."""

    manifest: Manifest
    sentences: tuple[str, ...]


def write_bundle(settings: Settings, path: Path, *, shop: str, today: date, wish: Wish) -> Written:
    """Writes the bundle of one workshop: whole closed years only, each ticket counted once and for all.

    Notes
    -----
    Years that an earlier bundle holds are not counted again: its cells are repeated, and the tickets of newer closed
    years (with late entries of older ones) are rolled up by themselves and added. So the difference of two bundles is
    itself a rolled-up table in which every cell holds 0 or at least `threshold` tickets, and two bundles of successive
    months are equal to the byte. Too few new tickets wait for the next year. Counting anew (`wish.anew`) breaks this:
    who holds both bundles can subtract them.
    """
    vocabulary = read_vocabulary(settings.vocabulary_folder)
    years = _closed_years(settings, shop, today)
    with reading(settings.store_path) as con:
        found, order = run_query(con, "find_contributor", shop=shop), last_ticket_order(con)
    code = f"club-{secrets.token_hex(8)}" if found.empty else str(found["code"].iloc[0])
    before = _last_own(settings, code)
    if before is not None and not wish.anew:
        if (before.manifest.threshold, before.manifest.epsilon) != (wish.threshold, wish.epsilon):
            raise InputError(
                f"The last bundle had threshold {before.manifest.threshold} and epsilon {before.manifest.epsilon:g}; "
                "mixing two promises keeps neither. Give the same again, or count everything anew with --anew."
            )
        return _extend(settings, path, before, shop=shop, order=order, last_order=int(found["last_order"].iloc[0]),
                       to_year=years[1], vocabulary=vocabulary, wish=wish)  # fmt: skip
    table = _count(settings, vocabulary, shop=shop, years=years, after_order=None)
    counts, levels = _roll(table, vocabulary, wish)
    manifest = _manifest(counts, levels, code=code, number=_next_number(settings, code), parts=1, years=years,
                         vocabulary=vocabulary, wish=wish)  # fmt: skip
    _keep_own(settings, manifest, counts, shop=shop, order=order)
    return _save(settings, path, _Own(manifest, counts), wish)


@dataclass(frozen=True, eq=False)
class _Own:
    manifest: Manifest
    counts: Counts


@dataclass(frozen=True, eq=False)
class _Raw:
    """What a shop counted, before anything is rolled up: queries count_bundle_cells, _checks and _minutes."""

    tickets: pd.DataFrame
    uses: pd.DataFrame
    minutes: pd.DataFrame


def _last_own(settings: Settings, code: str) -> _Own | None:
    known = known_bundles(settings)
    rows = known[(known["contributor"] == code) & (known["kind"] == OWN) & (known["state"] == CURRENT)]
    if rows.empty:
        return None
    checksum = str(rows["checksum"].iloc[0])
    with reading(settings.store_path) as con:
        found = {name: run_query(con, f"pool_{name}") for name in COLUMNS}
    # a bundle holds whole tickets, the store keeps those of packs too
    own = {name: frame.loc[frame["checksum"] == checksum, list(COLUMNS[name])] for name, frame in found.items()}
    counts = Counts(**{name: frame.astype({"tickets": int}) for name, frame in own.items()})
    return _Own(Manifest(**json.loads(rows["manifest"].iloc[0])), counts)


def _closed_years(settings: Settings, shop: str, today: date) -> tuple[int, int]:
    """First year of the shop's tickets and the last one that is over."""
    last = today.year - 1
    with reading(settings.store_path) as con:
        shops = run_query(con, "shop_years", to_year=last).set_index("shop")
    if shop not in shops.index:
        names = ", ".join(f"'{name}'" for name in shops.index) or "none"
        raise InputError(f"'{shop}' has no tickets of years up to {last}. Workshops with such tickets: {names}.")
    return int(shops.loc[shop, "from_year"]), last


def _count(
    settings: Settings, vocabulary: Vocabulary, *, shop: str, years: tuple[int, int], after_order: int | None
) -> _Raw:
    chosen = {"shop": shop, "from_year": years[0], "to_year": years[1], "after_order": after_order}
    with reading(settings.store_path) as con, registered(con, age_bands=age_band_frame(vocabulary)):
        found = [run_query(con, f"count_bundle_{name}", **chosen) for name in ("cells", "checks", "minutes")]
    return _Raw(*found)


def _roll(raw: _Raw, vocabulary: Vocabulary, wish: Wish) -> tuple[Counts, dict[str, int]]:
    """Counts fit to leave the shop, and what was rolled up."""
    if wish.epsilon:
        check_epsilon(wish.epsilon)
        if wish.threshold == 1:
            return _drown(raw, vocabulary, wish.epsilon / TABLES)
    rolled = roll_up(raw.tickets, vocabulary, threshold=wish.threshold)
    named = raw.tickets[raw.tickets["suspect"] != ""].groupby("suspect")["tickets"].sum()
    checks = roll_up_outcomes(raw.uses, named.to_dict(), vocabulary, threshold=wish.threshold)
    minutes = roll_up_minutes(raw.minutes[raw.minutes["check"].isin(list(vocabulary.checks))], threshold=wish.threshold)
    families, lost = rolled.families, dict(rolled.rolled_up)
    if wish.epsilon:
        families = noisy_families(raw.tickets, vocabulary, epsilon=wish.epsilon)
        # how many the exact table would have shown must not be told beside the noisy one
        lost = {**lost, "sides": lost["sides"] + lost["family"], "family": 0}
    return Counts(rolled.cells, families, checks, minutes), lost


def _drown(raw: _Raw, vocabulary: Vocabulary, epsilon: float) -> tuple[Counts, dict[str, int]]:
    """All counts with noise, no checks: it is not on them. Lost: of named tickets which complaint went with which
    family, of others all but the complaint.
    """
    cells = noisy_cells(raw.tickets, vocabulary, epsilon=epsilon)
    families = noisy_families(raw.tickets, vocabulary, epsilon=epsilon)
    named = int(cells.loc[cells["suspect"] != "", "tickets"].sum())
    lost = dict.fromkeys(LEVELS, 0) | {"sides": named, "family": int(cells["tickets"].sum()) - named}
    return replace(cells_alone(cells), families=families), lost


def _add(before: Counts, new: Counts) -> Counts:
    """Two tables that were each rolled up by itself."""
    both = {name: pd.concat([getattr(before, name), getattr(new, name)]) for name in COLUMNS}
    summed = {
        name: frame.groupby([c for c in COLUMNS[name] if c not in NUMBERS], sort=True, as_index=False)["tickets"].sum()
        for name, frame in both.items()
        if name != "minutes"
    }
    return Counts(**summed, minutes=add_minutes(both["minutes"]))


def _extend(
    settings: Settings, path: Path, before: _Own, *, shop: str, order: int, last_order: int, to_year: int,
    vocabulary: Vocabulary, wish: Wish,
) -> Written:  # fmt: skip
    """The last bundle with the years that have closed since; the same one again when they hold too little."""
    years = (before.manifest.to_year + 1, to_year)
    if years[0] > to_year:
        return _save(settings, path, before, wish, "No year has closed since the last bundle.")
    table = _count(settings, vocabulary, shop=shop, years=years, after_order=last_order)
    if table.tickets["tickets"].sum() < wish.threshold:
        return _save(settings, path, before, wish,
                     "The years closed since hold too few tickets to hide one: they wait for the next.")  # fmt: skip
    new, lost = _roll(table, vocabulary, wish)
    counts = _add(before.counts, new)
    levels = {level: n + before.manifest.rolled_up.get(level, 0) for level, n in lost.items()}
    manifest = _manifest(counts, levels, code=before.manifest.contributor, number=before.manifest.number + 1,
                         parts=before.manifest.parts + 1, years=(before.manifest.from_year, to_year),
                         vocabulary=vocabulary, wish=wish)  # fmt: skip
    _keep_own(settings, manifest, counts, shop=shop, order=order)
    return _save(settings, path, _Own(manifest, counts), wish)


def _manifest(
    counts: Counts, rolled_up: dict[str, int], *, code: str, number: int, parts: int, years: tuple[int, int],
    vocabulary: Vocabulary, wish: Wish,
) -> Manifest:  # fmt: skip
    return Manifest(
        contributor=code,
        number=number,
        from_year=years[0],
        to_year=years[1],
        vocabulary_hash=vocabulary_hash(vocabulary),
        terms=terms_used(counts, vocabulary),
        threshold=wish.threshold,
        ticket_count=int(counts.cells["tickets"].sum()),
        rolled_up=rolled_up,
        epsilon=wish.epsilon,
        noise_variance=noise_variance(wish.epsilon, wish.threshold),
        corrected=wish.anew,
        parts=parts,
        **counts_facts(counts),
    )


def _next_number(settings: Settings, code: str) -> int:
    known = known_bundles(settings)
    return (
        int(known.loc[known["contributor"] == code, "number"].max() or 0) + 1
        if (known["contributor"] == code).any()
        else 1
    )


def _keep_own(settings: Settings, manifest: Manifest, counts: Counts, *, shop: str, order: int) -> None:
    with writing(settings.store_path) as con:
        run_query(con, "insert_contributor", shop=shop, code=manifest.contributor, last_order=order)
        keep_counts(con, manifest, counts, kind=OWN, checksum=bundle_checksum(manifest), state=CURRENT, public_key="")


def _save(settings: Settings, path: Path, own: _Own, wish: Wish, news: str = "") -> Written:
    manifest, code = own.manifest, own.manifest.contributor
    signature = signature_entry(settings.data_folder, code, manifest_bytes(manifest), wanted=wish.signed)
    save_container(path, {**counts_entries(manifest, own.counts), **signature})
    anew = "" if news or not manifest.corrected else (
        "Tickets that left the shop before were counted anew: who holds the earlier file can compare the two."
    )  # fmt: skip
    return Written(manifest, tuple(filter(None, (news, *written_in_words(manifest, path.name), anew))))
