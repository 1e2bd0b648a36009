"""The prior pack: what the pool has learnt as one small file, so that a new shop's first answer needs no ticket."""

import hashlib
import json
import secrets
from dataclasses import dataclass, replace
from importlib.metadata import version
from pathlib import Path
from tempfile import TemporaryDirectory
from uuid import uuid4

import pandas as pd
import xarray as xr

from analytics.errors import InputError
from analytics.posterior import Posterior
from analytics.rollup import BUNDLE_COLUMNS
from pipelines.bundle_files import (
    CELLS,
    MANIFEST,
    Bundle,
    Manifest,
    check_cells,
    load_container,
    manifest_bytes,
    pack_cells,
    save_container,
)
from pipelines.bundle_words import terms_used, translate, vocabulary_hash
from pipelines.bundles import keep_pool_cells
from pipelines.catalogue import read_vocabulary
from pipelines.live import fit_gaps
from pipelines.pool import CURRENT, KINDS_FOR_PACK, OWN, PACK, known_bundles
from pipelines.posteriors import FitRow, read_posterior, save_posterior, write_posterior
from pipelines.settings import Settings
from pipelines.store import reading, run_query, utc_now, writing
from pipelines.wording import counted

FACTS, DRAWS = "pack.json", "posterior.nc"
MOST_BYTES, MOST_DRAW_BYTES = 60_000_000, 400_000_000
# Enough draws for an interval that is good to two points; three times as many make the file three times as large.
PACK_DRAWS = 200
# Tickets that the pool counts for in the next fit of the shop that installed it: measured in benchmarks/club.py.
DEFAULT_WORTH = 1000


@dataclass(frozen=True, eq=False)
class Pack:
    """A checked pack; worth: tickets that its evidence counts for beside the shop's own."""

    bundle: Bundle
    posterior: Posterior
    worth: int


def write_pack(settings: Settings, path: Path, posterior: Posterior, *, worth: int = DEFAULT_WORTH) -> tuple[str, ...]:
    """Writes draws that were learnt from bundles alone, and the sum of those bundles.

    Notes
    -----
    Both are made of what the bundles say and of nothing else, so a pack tells no more of any shop than its bundle has
    told. The draws know no single shop: their effects and the codes are left out of them.
    """
    if worth < 1:
        raise InputError(f"A pack worth {worth} tickets would not count. Give 1 or more.")
    vocabulary = read_vocabulary(settings.vocabulary_folder)
    with reading(settings.store_path) as con:
        found = run_query(con, "pool_cells")
    known = known_bundles(settings)
    parts = known[(known["state"] == CURRENT) & known["kind"].isin(KINDS_FOR_PACK)]
    found = found[found["kind"].isin(KINDS_FOR_PACK)]
    cells = (
        found.groupby(list(BUNDLE_COLUMNS[:-1]), sort=True, as_index=False)["tickets"].sum().astype({"tickets": int})
    )
    manifest = Manifest(
        contributor=f"pack-{secrets.token_hex(8)}",
        number=1,
        from_year=int(parts["from_year"].min()),
        to_year=int(parts["to_year"].max()),
        vocabulary_hash=vocabulary_hash(vocabulary),
        terms={**terms_used(cells, vocabulary), "contributor": dict.fromkeys(sorted(parts["contributor"]), "")},
        threshold=int(parts["threshold"].min()),
        ticket_count=int(cells["tickets"].sum()),
        row_count=len(cells),
        rolled_up=_rolled_up(parts),
        epsilon=0.0,
        noise_variance=float(parts["noise_variance"].max()),
        corrected=0,
        cells_checksum=hashlib.sha256(pack_cells(cells)).hexdigest(),
    )
    draws = _draws_of(posterior)
    facts = {"worth": worth, "draws_checksum": hashlib.sha256(draws).hexdigest(), "schema_version": 1}
    save_container(path, {MANIFEST: manifest_bytes(manifest), CELLS: pack_cells(cells),
                          FACTS: json.dumps(facts, sort_keys=True).encode(), DRAWS: draws})  # fmt: skip
    return (
        f"{path.name}: {counted(manifest.ticket_count, 'ticket')} of {counted(len(parts), 'contributor')}, "
        f"{path.stat().st_size / 1e6:.1f} MB. A shop that installs it can ask at once.",
        f"In that shop's own fits it counts for {counted(min(worth, manifest.ticket_count), 'ticket')}.",
    )


def load_pack(path: Path) -> Pack:
    """A pack whose checksums, counts and sizes have been checked."""
    entries = load_container(path, (MANIFEST, CELLS, FACTS, DRAWS), most_bytes=MOST_BYTES)
    if len(entries) != 4:
        raise InputError(f"'{path.name}' is no pack: a part of it is missing. Ask for it again.")
    bundle = check_cells(path, entries[MANIFEST], entries[CELLS], public_key="")
    try:
        facts = json.loads(entries[FACTS])
        worth, checksum = int(facts["worth"]), str(facts["draws_checksum"])
    except (ValueError, TypeError, KeyError, RecursionError) as error:
        raise InputError(f"'{path.name}' is no pack: what it is worth cannot be read. Ask for it again.") from error
    if hashlib.sha256(entries[DRAWS]).hexdigest() != checksum or worth < 1:
        raise InputError(f"'{path.name}' is damaged: its draws are not those it was written with. Ask for it again.")
    return Pack(bundle, _posterior_from(path, entries[DRAWS]), worth)


def install_pack(settings: Settings, path: Path) -> tuple[str, ...]:
    """The pack answers from now on if this store has no fit yet; in every later fit it counts as one contributor."""
    pack, vocabulary = load_pack(path), read_vocabulary(settings.vocabulary_folder)
    manifest = pack.bundle.manifest
    gaps = fit_gaps(pack.posterior, vocabulary)
    if gaps:
        raise InputError(
            f"The pack speaks of another vocabulary: {gaps[0]}. Take the pool's vocabulary, or read its bundles with "
            "a mapping instead (`faultodds bundle read FILE --propose MAP`)."
        )
    _refuse_double(settings, manifest)
    share = min(1.0, pack.worth / manifest.ticket_count)
    cells = translate(pack.bundle.cells, manifest.terms, vocabulary, {})
    cells["tickets"] = cells["tickets"] * share
    with reading(settings.store_path) as con:
        serves = run_query(con, "newest_published_fit").empty
    with writing(settings.store_path) as con:
        for old in _installed(run_query(con, "bundles_known")):
            run_query(con, "retire_bundles", contributor=old, state="superseded")
        run_query(con, "forget_bundle_cells")
        keep_pool_cells(con, manifest, cells, kind=PACK, checksum=pack.bundle.checksum, state=CURRENT, public_key="")
    worth = counted(round(share * manifest.ticket_count), "ticket")
    if serves:
        fit_id = f"pack-{uuid4().hex[:12]}"
        row = FitRow(fit_id, utc_now(), "", "", version("faultodds"), seconds=0.0, last_order=0)
        save_posterior(settings, replace(pack.posterior, fit_id=fit_id), row)
        first = "It answers from now on, and every ticket you store moves its odds."
    else:
        first = "Your own fit goes on being served; the pack counts from the next one on: run `faultodds pool fit`."
    return (
        f"{path.name} is installed: {counted(manifest.ticket_count, 'ticket')} of the pool.",
        first,
        f"In your own fits it counts for {worth}, so your own outweigh it once you have more than that.",
    )


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


def _refuse_double(settings: Settings, manifest: Manifest) -> None:
    """Nobody's tickets may count twice."""
    known = known_bundles(settings)
    inside = set(manifest.terms.get("contributor", {}))
    counting = known[(known["state"] == CURRENT) & known["contributor"].isin(inside)]
    if (counting["kind"] == OWN).any():
        raise InputError("Your own tickets are in this pack already: they would count twice. Read the bundles instead.")
    if not counting.empty:
        raise InputError(
            f"The bundle of {counting['contributor'].iloc[0]} is in your pool and in this pack: it would count twice. "
            "Withdraw the bundles first (`faultodds bundle withdraw CODE`), or leave the pack."
        )


def _installed(known: pd.DataFrame) -> list[str]:
    return list(known.loc[(known["kind"] == PACK) & (known["state"] == CURRENT), "contributor"])


def _rolled_up(parts: pd.DataFrame) -> dict[str, int]:
    total: dict[str, int] = {}
    for manifest in parts["manifest"]:
        for level, count in json.loads(manifest)["rolled_up"].items():
            total[level] = total.get(level, 0) + count
    return total
