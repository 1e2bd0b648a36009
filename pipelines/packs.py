"""The prior pack: what the pool has learnt as one small file, so that a new shop's first answer needs no ticket."""

import hashlib
import json
import secrets
from collections.abc import Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from tempfile import TemporaryDirectory

import pandas as pd
import xarray as xr

from analytics.errors import InputError
from analytics.posterior import Posterior
from analytics.rollup_cells import BUNDLE_COLUMNS
from analytics.unrolling import LEAST
from analytics.vocabulary import UNKNOWN_AGE, Vocabulary
from pipelines.bundle_files import (
    MANIFEST,
    Bundle,
    Manifest,
    check_entries,
    counts_entries,
    counts_facts,
    load_container,
    save_container,
)
from pipelines.bundle_tables import CELLS, SIDES, Counts
from pipelines.bundle_words import terms_used, vocabulary_hash
from pipelines.catalogue import read_vocabulary
from pipelines.pool import CURRENT, KINDS_FOR_PACK, known_bundles
from pipelines.pool_counts import Told, read_counts, unroll_counts
from pipelines.posteriors import read_posterior, write_posterior
from pipelines.settings import Settings
from pipelines.signatures import SIGNATURE, signature_entry, signer_in_words, signer_of
from pipelines.wording import counted

FACTS, DRAWS = "pack.json", "posterior.nc"
# Every pack has a new code, but all packs of a store are signed with the key of this name.
PACK_SIGNER = "packs"
MOST_BYTES, MOST_DRAW_BYTES = 60_000_000, 400_000_000
# Enough draws for an interval that is good to two points; three times as many make the file three times as large.
PACK_DRAWS = 200
# Tickets that the pool counts for, at most, in the next fit of the shop that installed it: more than a pool holds, so
# all of them. To make it count for less gains a new shop nothing (benchmarks/club.py).
DEFAULT_WORTH = 100_000


@dataclass(frozen=True, eq=False)
class Pack:
    """A checked pack; worth: tickets that its evidence counts for beside the shop's own."""

    bundle: Bundle
    posterior: Posterior
    worth: int


def write_pack(
    settings: Settings, path: Path, posterior: Posterior, *, worth: int = DEFAULT_WORTH, signed: int = 0
) -> tuple[str, ...]:
    """Writes draws that were learnt from bundles alone, and the sum of those bundles; signed (1), or as before (0).

    Notes
    -----
    Both are made of what the bundles say and of nothing else, so a pack tells no more of any shop than its bundle has
    told. The draws know no single shop: their effects and the codes are left out of them.
    """
    if worth < 1:
        raise InputError(f"A pack worth {worth} tickets would not count. Give 1 or more.")
    vocabulary = read_vocabulary(settings.vocabulary_folder)
    known = known_bundles(settings)
    parts = known[(known["state"] == CURRENT) & known["kind"].isin(KINDS_FOR_PACK)]
    counts = _sum_of(read_counts(settings, KINDS_FOR_PACK), vocabulary)
    manifest = _manifest_of(parts, counts, vocabulary)
    draws = _draws_of(posterior)
    facts = {"worth": worth, "draws_checksum": hashlib.sha256(draws).hexdigest(), "schema_version": 1}
    entries = {**counts_entries(manifest, counts), FACTS: json.dumps(facts, sort_keys=True).encode(), DRAWS: draws}
    signature = signature_entry(settings.data_folder, PACK_SIGNER, _signed_part(entries), wanted=signed)
    save_container(path, {**entries, **signature})
    return (
        f"{path.name}: {counted(manifest.ticket_count, 'ticket')} of {counted(len(parts), 'contributor')}, "
        f"{path.stat().st_size / 1e6:.1f} MB. A shop that installs it can ask at once.",
        f"In that shop's own fits it counts for {counted(min(worth, manifest.ticket_count), 'ticket')}.",
        signer_in_words(signer_of(signature, _signed_part(entries))),
    )


def _manifest_of(parts: pd.DataFrame, counts: Counts, vocabulary: Vocabulary) -> Manifest:
    return Manifest(
        contributor=f"pack-{secrets.token_hex(8)}",
        number=1,
        from_year=int(parts["from_year"].min()),
        to_year=int(parts["to_year"].max()),
        vocabulary_hash=vocabulary_hash(vocabulary),
        terms={**terms_used(counts, vocabulary), "contributor": dict.fromkeys(sorted(parts["contributor"]), "")},
        threshold=int(parts["threshold"].min()),
        ticket_count=int(parts["ticket_count"].sum()),
        rolled_up=_rolled_up(parts),
        # its counts are expectations, in which the noise of bundles has been reckoned with
        epsilon=0.0,
        noise_variance=0.0,
        corrected=0,
        **counts_facts(counts),
    )


def _signed_part(entries: Mapping[str, bytes]) -> bytes:
    """Both hold checksums: the manifest those of the counts, the facts that of the draws."""
    return entries[MANIFEST] + entries[FACTS]


def load_pack(path: Path) -> Pack:
    """A pack whose signature, checksums, counts and sizes have been checked."""
    entries = load_container(path, (MANIFEST, CELLS, *SIDES.values(), FACTS, DRAWS, SIGNATURE), most_bytes=MOST_BYTES)
    if not {MANIFEST, FACTS, DRAWS} <= set(entries):
        raise InputError(f"'{path.name}' is no pack: a part of it is missing. Ask for it again.")
    bundle = check_entries(path, entries, public_key=signer_of(entries, _signed_part(entries)))
    try:
        facts = json.loads(entries[FACTS])
        worth, checksum = int(facts["worth"]), str(facts["draws_checksum"])
    except (ValueError, TypeError, KeyError, RecursionError) as error:
        raise InputError(f"'{path.name}' is no pack: what it is worth cannot be read. Ask for it again.") from error
    if hashlib.sha256(entries[DRAWS]).hexdigest() != checksum or worth < 1:
        raise InputError(f"'{path.name}' is damaged: its draws are not those it was written with. Ask for it again.")
    return Pack(bundle, _posterior_from(path, entries[DRAWS]), worth)


def _sum_of(told: tuple[Told, ...], vocabulary: Vocabulary) -> Counts:
    """Expected counts of all contributors together, none of whom can be told from it."""
    counts = unroll_counts(told, vocabulary)
    lost = sum(float(one.counts.cells["tickets"].sum()) for one in told) - float(counts.cells["weight"].sum())
    keys = list(BUNDLE_COLUMNS[:-1])
    cells = counts.cells.rename(columns={"weight": "tickets"}).groupby(keys, sort=True, as_index=False)["tickets"].sum()
    if lost > LEAST:
        # tickets whose complaint was rolled up tell nothing, but they are there
        cells = pd.concat([cells, pd.DataFrame([("", "", UNKNOWN_AGE, "", "", "", "", lost)], columns=cells.columns)])
    return replace(counts, cells=cells)


def _draws_of(posterior: Posterior) -> bytes:
    """A thinned netCDF without any shop, complaint or coefficient."""
    every = max(1, posterior.draw_count // PACK_DRAWS)
    draws = posterior.draws.isel(draw=slice(None, None, every), shop=slice(0, 0))
    draws = draws.drop_vars(["coefficient_value", "parent_unit"], errors="ignore")
    with TemporaryDirectory() as folder:
        path = Path(folder) / DRAWS
        write_posterior(replace(posterior, draws=draws, text=None, fit_id="pack"), path)
        return path.read_bytes()


def _posterior_from(path: Path, content: bytes) -> Posterior:
    with TemporaryDirectory() as folder:
        place = Path(folder) / DRAWS
        place.write_bytes(content)
        try:
            with xr.open_dataset(place, engine="netcdf4") as lazy:
                if lazy.nbytes > MOST_DRAW_BYTES:
                    raise InputError(f"'{path.name}' would take {lazy.nbytes // 1_000_000:,} MB: it is refused.")
            posterior = read_posterior(place)
        except InputError:
            raise
        except (OSError, ValueError, KeyError, TypeError) as error:
            raise InputError(f"'{path.name}' is damaged: its draws cannot be read. Ask for it again.") from error
    return replace(posterior, text=None)


def _rolled_up(parts: pd.DataFrame) -> dict[str, int]:
    total: dict[str, int] = {}
    for manifest in parts["manifest"]:
        for level, count in json.loads(manifest)["rolled_up"].items():
            total[level] = total.get(level, 0) + count
    return total
