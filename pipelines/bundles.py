"""Bundles of others come into the pool: the same one twice, an older, a corrected and a withdrawn one included."""

import json
from collections.abc import Mapping
from dataclasses import asdict
from pathlib import Path

import pandas as pd

from analytics.errors import InputError
from analytics.vocabulary import Vocabulary
from pipelines.bundle_files import Bundle, Manifest, load_bundle
from pipelines.bundle_tables import COLUMNS, Counts, cells_alone
from pipelines.bundle_words import Proposal, translate, unknown_words, vocabulary_hash
from pipelines.catalogue import read_vocabulary
from pipelines.pool import CURRENT, OWN, RECEIVED, SUPERSEDED, WITHDRAWN, known_bundles
from pipelines.settings import Settings
from pipelines.signatures import refuse_other_hand
from pipelines.store import Connection, registered, run_query, utc_now, writing
from pipelines.wording import counted


def read_bundle(settings: Settings, path: Path, *, mapping: Mapping[tuple[str, str], str]) -> tuple[str, ...]:
    """Takes a bundle into the pool; sentences say what became of it.

    Raises
    ------
    InputError
        When it is damaged, is this store's own, contradicts an earlier one, or uses words that the mapping lacks.
    """
    bundle, vocabulary = load_bundle(path), read_vocabulary(settings.vocabulary_folder)
    code, number = bundle.manifest.contributor, bundle.manifest.number
    known = known_bundles(settings)
    same = known[known["checksum"] == bundle.checksum]
    theirs = known[known["contributor"] == code]
    if (theirs["kind"] == OWN).any():
        raise InputError("This bundle was written from your own store: its tickets count here already.")
    _refuse_counted_in_pack(known, code)
    if not same.empty:
        return _said_again(str(same["state"].iloc[0]), code, number)
    refuse_other_hand(theirs["public_key"], bundle.public_key, whose=f"bundles of {code}")
    if (theirs["number"] == number).any():
        raise InputError(f"Another bundle with number {number} of {code} is here already. Ask which of them is right.")
    if not theirs.empty and int(theirs["number"].max()) > number:
        _keep(settings, bundle, cells_alone(bundle.cells.iloc[:0]), state=SUPERSEDED)
        return (f"Bundle {number} of {code} is older than the one in the pool: noted, and not counted.",)
    missing = [word for word in missing_words(bundle, vocabulary) if (word.field, word.code) not in mapping]
    if missing:
        raise InputError(
            f"{counted(len(missing), 'word')} of this bundle {'is' if len(missing) == 1 else 'are'} not in your "
            f"vocabulary ('{missing[0].name}' first). Write a mapping with --propose FILE, correct it, and give it "
            "with --mapping FILE."
        )
    counts = translate(bundle.counts, bundle.manifest.terms, vocabulary, mapping)
    _keep(settings, bundle, counts, state=CURRENT)
    replaced = " It replaces the one before." if (theirs["state"] == CURRENT).any() else ""
    return (
        f"Bundle {number} of {code} is in the pool: {counted(bundle.manifest.ticket_count, 'ticket')} of "
        f"{bundle.manifest.from_year} to {bundle.manifest.to_year}.{replaced}",
        "It counts from the next fit on: run `faultodds pool fit`.",
    )


def missing_words(bundle: Bundle, vocabulary: Vocabulary) -> tuple[Proposal, ...]:
    """Words of a bundle that this shop's vocabulary lacks, with proposals."""
    if bundle.manifest.vocabulary_hash == vocabulary_hash(vocabulary):
        return ()
    return unknown_words(bundle.counts, bundle.manifest.terms, vocabulary)


def withdraw(settings: Settings, contributor: str) -> str:
    """Takes a contributor's bundle, or a pack, out of the pool; the tickets of this store stay."""
    with writing(settings.store_path) as con:
        known = run_query(con, "bundles_known")
        if not ((known["contributor"] == contributor) & (known["state"] == CURRENT)).any():
            raise InputError(f"'{contributor}' has nothing in the pool. `faultodds bundle show` lists who has.")
        retire(con, contributor, WITHDRAWN)
    return f"{contributor} no longer counts. The fit that is served still knows it until you run `faultodds pool fit`."


def keep_counts(con: Connection, manifest: Manifest, counts: Counts, *, kind: str, **facts: str) -> None:
    """The row of a bundle or pack and its counts, in place of the last; facts: checksum, state, public_key."""
    if facts["state"] == CURRENT:
        retire(con, manifest.contributor, SUPERSEDED)
    run_query(
        con, "insert_bundle", checksum=facts["checksum"], contributor=manifest.contributor, number=manifest.number,
        kind=kind, state=facts["state"], from_year=manifest.from_year, to_year=manifest.to_year,
        threshold=manifest.threshold, ticket_count=manifest.ticket_count, noise_variance=manifest.noise_variance,
        public_key=facts["public_key"], manifest=json.dumps(asdict(manifest)), stored_at=utc_now(),
    )  # fmt: skip
    for name in COLUMNS:
        frame = getattr(counts, name)
        if len(frame):
            with registered(con, **{f"new_{name}": frame}):
                run_query(con, f"insert_bundle_{name}", checksum=facts["checksum"])


def retire(con: Connection, contributor: str, state: str) -> None:
    """A contributor's current bundle, or a pack, counts no more, and its counts are forgotten."""
    run_query(con, "retire_bundles", contributor=contributor, state=state)
    for name in COLUMNS:
        run_query(con, f"forget_bundle_{name}")


def _keep(settings: Settings, bundle: Bundle, counts: Counts, *, state: str) -> None:
    with writing(settings.store_path) as con:
        keep_counts(con, bundle.manifest, counts, kind=RECEIVED, checksum=bundle.checksum, state=state,
                        public_key=bundle.public_key)  # fmt: skip


def _said_again(state: str, code: str, number: int) -> tuple[str, ...]:
    said = {
        CURRENT: "is in the pool already; nothing changed",
        SUPERSEDED: "was replaced by a newer one; nothing changed",
        WITHDRAWN: "was withdrawn and stays out; its contributor must write a newer one to come back",
    }
    return (f"Bundle {number} of {code} {said[state]}.",)


def _refuse_counted_in_pack(known: pd.DataFrame, code: str) -> None:
    packs = known[(known["kind"] == "pack") & (known["state"] == CURRENT)]
    for pack, manifest in zip(packs["contributor"], packs["manifest"], strict=True):
        if code in json.loads(manifest)["terms"].get("contributor", {}):
            raise InputError(
                f"The tickets of {code} are part of the pack {pack} already and would count twice. "
                f"Run `faultodds bundle withdraw {pack}` first if you want to use the bundles instead."
            )
