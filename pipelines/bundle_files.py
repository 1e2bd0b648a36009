"""A bundle as one file: manifest, cells as plain Parquet, and a signature if there is one. Trusts nothing it reads."""

import hashlib
import json
import re
import zipfile
from collections.abc import Mapping
from dataclasses import asdict, dataclass, field, fields
from pathlib import Path
from typing import Any
from uuid import uuid4

import pandas as pd

from analytics.errors import InputError
from pipelines.bundle_tables import CELLS, COLUMNS, SIDES, Counts, no_bundle, pack_sides, pack_table, read_counts
from pipelines.signatures import SIGNATURE, signer_of

# Version 1 had the cells alone, with the grade of confirmation and without checks; it can still be read.
SCHEMA_VERSION, CELLS_ONLY = 2, 1
MANIFEST = "manifest.json"
# A bundle of six workshops with 20 symptoms is below 100 kB; a hundred times that is no bundle.
MOST_BYTES = 10_000_000
# What the manifest of version 1 did not state.
_SINCE_2 = ("parts", "sides", "sides_checksum")
_CONTRIBUTOR = re.compile(r"(club|pack)-[0-9a-f]{16}")


@dataclass(frozen=True)
class Manifest:
    """What a bundle says of itself.

    contributor : random code; number : grows with every bundle of it
    from_year, to_year : whole calendar years, both included
    vocabulary_hash, terms : of the words used: list -> code -> name
    threshold, rolled_up : fewest tickets in a cell; level of `rollup.LEVELS` -> tickets
    epsilon, noise_variance : of the noise on each count, 0 without
    corrected : 1 when earlier tickets were counted anew, else 0
    parts : tables that were rolled up one by one and added: one for the first bundle, one for each later addition
    sides : what is told beside the cells -> rows: families, checks, minutes
    cells_checksum, sides_checksum : SHA-256 of the tables' bytes
    """

    contributor: str
    number: int
    from_year: int
    to_year: int
    vocabulary_hash: str
    terms: Mapping[str, Mapping[str, str]]
    threshold: int
    ticket_count: int
    row_count: int
    rolled_up: Mapping[str, int]
    epsilon: float
    noise_variance: float
    corrected: int
    cells_checksum: str
    parts: int = 1
    sides: Mapping[str, int] = field(default_factory=dict)
    sides_checksum: str = ""
    schema_version: int = SCHEMA_VERSION


@dataclass(frozen=True, eq=False)
class Bundle:
    """A checked bundle: counts add up to what the manifest says; `public_key` is "" when nobody signed."""

    manifest: Manifest
    counts: Counts
    public_key: str
    checksum: str

    @property
    def cells(self) -> pd.DataFrame:
        """The counted tickets, each in one cell."""
        return self.counts.cells


def manifest_bytes(manifest: Manifest) -> bytes:
    """The manifest as it is signed; one of version 1 has the bytes it always had."""
    told = asdict(manifest)
    if manifest.schema_version == CELLS_ONLY:
        told = {name: value for name, value in told.items() if name not in _SINCE_2}
    return json.dumps(told, sort_keys=True, indent=1, ensure_ascii=True).encode()


def counts_facts(counts: Counts) -> dict[str, Any]:
    """What a manifest says of the counts: row_count, sides and the checksums."""
    return {
        "row_count": len(counts.cells),
        "cells_checksum": hashlib.sha256(pack_table("cells", counts.cells)).hexdigest(),
        "sides": {side: len(getattr(counts, side)) for side in SIDES},
        "sides_checksum": _sides_checksum(pack_sides(counts)),
    }


def counts_entries(manifest: Manifest, counts: Counts) -> dict[str, bytes]:
    """The manifest and its tables, as they stand in a file."""
    sides = {} if manifest.schema_version == CELLS_ONLY else pack_sides(counts)
    return {MANIFEST: manifest_bytes(manifest), CELLS: pack_table("cells", counts.cells), **sides}


def _sides_checksum(entries: Mapping[str, bytes]) -> str:
    return hashlib.sha256(b"".join(entries[file] for file in SIDES.values())).hexdigest()


def bundle_checksum(manifest: Manifest) -> str:
    """Names a bundle; the manifest holds the checksum of the cells."""
    return hashlib.sha256(manifest_bytes(manifest)).hexdigest()


def save_container(path: Path, entries: Mapping[str, bytes]) -> None:
    """Named entries in one uncompressed file, written aside and renamed; without any instant, so the same again."""
    aside = path.with_name(f".{uuid4().hex}")
    try:
        with zipfile.ZipFile(aside, "w", zipfile.ZIP_STORED) as box:
            for name, content in entries.items():
                box.writestr(zipfile.ZipInfo(name, (1980, 1, 1, 0, 0, 0)), content)
        aside.replace(path)
    except OSError as error:
        raise InputError(f"'{path.name}' cannot be written ({error.strerror}). Choose another folder.") from error
    finally:
        aside.unlink(missing_ok=True)


def load_container(path: Path, allowed: tuple[str, ...], *, most_bytes: int) -> dict[str, bytes]:
    """Entries of a file that must be uncompressed and hold no other names; nothing is ever unpacked to disk."""
    if not path.is_file():
        raise InputError(f"There is no file '{path}'. Give the path of a bundle or pack.")
    if path.stat().st_size > most_bytes:
        raise InputError(f"'{path.name}' has more than {most_bytes // 1_000_000} MB: it is refused unread.")
    try:
        with zipfile.ZipFile(path) as box:
            listed = box.infolist()
            names = [entry.filename for entry in listed]
            if len(set(names)) != len(names) or not set(names) <= set(allowed):
                raise no_bundle(path, "it holds other files than it may")
            if any(entry.compress_type != zipfile.ZIP_STORED or entry.file_size > most_bytes for entry in listed):
                raise no_bundle(path, "it is compressed")
            return {entry.filename: box.read(entry) for entry in listed}
    except (zipfile.BadZipFile, OSError, RuntimeError, NotImplementedError) as error:
        raise no_bundle(path, "it is damaged or something else") from error


def load_bundle(path: Path) -> Bundle:
    """A bundle whose checksum, signature, counts and codes have been checked; InputError says what is wrong with it."""
    entries = load_container(path, (MANIFEST, CELLS, *SIDES.values(), SIGNATURE), most_bytes=MOST_BYTES)
    bundle = check_entries(path, entries, public_key=signer_of(entries, entries.get(MANIFEST, b"")))
    _check_whole(path, bundle.manifest, bundle.counts)
    return bundle


def check_entries(path: Path, entries: Mapping[str, bytes], *, public_key: str) -> Bundle:
    """Manifest and tables, compared with each other; `path` is for sentences only."""
    if not {MANIFEST, CELLS} <= set(entries):
        raise no_bundle(path, "its manifest or its cells are missing")
    manifest = read_manifest(path, entries[MANIFEST])
    if hashlib.sha256(entries[CELLS]).hexdigest() != manifest.cells_checksum:
        raise no_bundle(path, "its cells are not those that its manifest was written for")
    has_sides = manifest.schema_version != CELLS_ONLY
    if (set(SIDES.values()) & set(entries)) != (set(SIDES.values()) if has_sides else set()):
        raise no_bundle(path, "it holds other tables than its manifest says")
    if has_sides and _sides_checksum(entries) != manifest.sides_checksum:
        raise no_bundle(path, "its families, checks or minutes are not those that its manifest was written for")
    counts = read_counts(path, dict(entries))
    _check_counts(path, manifest, counts)
    return Bundle(manifest, counts, public_key, hashlib.sha256(entries[MANIFEST]).hexdigest())


def read_manifest(path: Path, content: bytes) -> Manifest:
    """The manifest, each entry of the right kind."""
    try:
        told = json.loads(content)
        version = told.get("schema_version")
        if version not in (CELLS_ONLY, SCHEMA_VERSION):
            raise InputError(
                f"'{path.name}' was written in version {version!r:.20} of the bundle format; this program reads "
                f"versions {CELLS_ONLY} and {SCHEMA_VERSION}. Update faultodds, or ask for a new bundle."
            )
        if set(told) != {one.name for one in fields(Manifest) if version != CELLS_ONLY or one.name not in _SINCE_2}:
            raise no_bundle(path, "its manifest lacks something")
        whole = ("number", "from_year", "to_year", "threshold", "ticket_count", "row_count", "corrected")
        told |= {name: _whole(told[name]) for name in (*whole, *(() if version == CELLS_ONLY else ("parts",)))}
        manifest = Manifest(**told)
        terms = {
            str(group): {str(c): str(n)[:200] for c, n in names.items()} for group, names in manifest.terms.items()
        }
        rolled_up = {str(level): _whole(count) for level, count in manifest.rolled_up.items()}
        sides = {str(side): _whole(rows) for side, rows in manifest.sides.items()}
        epsilon, variance = float(manifest.epsilon), float(manifest.noise_variance)
    except InputError:
        raise
    except (ValueError, TypeError, AttributeError, KeyError, RecursionError) as error:
        raise no_bundle(path, "its manifest cannot be read") from error
    if not isinstance(manifest.contributor, str) or not _CONTRIBUTOR.fullmatch(manifest.contributor):
        raise no_bundle(path, "its contributor code is none")
    if (
        not (0.0 <= epsilon < 1e6 and 0.0 <= variance < 1e12)
        or min(manifest.threshold, manifest.number, manifest.parts) < 1
    ):
        raise no_bundle(path, "its manifest holds an impossible number")
    return Manifest(**{**asdict(manifest), "terms": terms, "rolled_up": rolled_up, "sides": sides,
                       "epsilon": epsilon, "noise_variance": variance})  # fmt: skip


def _whole(value: object) -> int:
    if not isinstance(value, int) or not 0 <= value < 10**9:
        raise ValueError(value)
    return value


def _check_counts(path: Path, manifest: Manifest, counts: Counts) -> None:
    """A file that lies about its counts is refused."""
    tickets = counts.cells["tickets"]
    if len(tickets) != manifest.row_count or abs(float(tickets.sum()) - manifest.ticket_count) > 1e-6 * tickets.sum():
        raise no_bundle(path, "its cells do not add up to the tickets that its manifest states")
    if {side: len(getattr(counts, side)) for side in manifest.sides} != dict(manifest.sides):
        raise no_bundle(path, "its families, checks or minutes are more or fewer than its manifest states")
    if len(tickets) == 0 or any(getattr(counts, name)["tickets"].le(0).any() for name in COLUMNS):
        raise no_bundle(path, "it counts nothing")
    if sum(manifest.rolled_up.values()) != manifest.ticket_count:
        raise no_bundle(path, "what it says was rolled up does not add up")


def size_in_words(manifest: Manifest) -> str:
    """What keeps each count from showing anybody."""
    return "each with noise" if manifest.threshold == 1 else f"each of {manifest.threshold} tickets or more"


def _check_whole(path: Path, manifest: Manifest, counts: Counts) -> None:
    """What a workshop counted is whole, and never below the threshold that it states, unless it has noise."""
    if manifest.threshold == 1 and not manifest.epsilon:
        raise no_bundle(path, "nothing hides its counts")
    for name in COLUMNS:
        tickets = getattr(counts, name)["tickets"]
        fewest = 1 if name == "families" and manifest.epsilon else manifest.threshold
        if len(tickets) and (not pd.api.types.is_integer_dtype(tickets) or int(tickets.min()) < fewest):
            raise no_bundle(
                path, f"a count holds fewer tickets than the threshold of {manifest.threshold} that it states"
            )
    if manifest.epsilon:
        return
    cells = counts.cells[counts.cells["family"] == ""]
    for key, open_key in (("suspect", "symptom"), ("symptom", "suspect")):
        sides = counts.families[counts.families[open_key] == ""].groupby(key)["tickets"].sum()
        most = (cells if key == "suspect" else cells[cells["suspect"] == ""]).groupby(key)["tickets"].sum()
        if sides.gt(most.reindex(sides.index, fill_value=0)).any():
            raise no_bundle(path, "it counts more tickets by family than it has cells for")
