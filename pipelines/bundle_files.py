"""A bundle as one file: manifest, cells as plain Parquet, and a signature if there is one. Trusts nothing it reads."""

import hashlib
import io
import json
import re
import zipfile
from collections.abc import Mapping
from dataclasses import asdict, dataclass, fields
from pathlib import Path
from uuid import uuid4

import pandas as pd
import pyarrow as pa
import pyarrow.parquet as pq

from analytics.errors import InputError
from analytics.rollup import BUNDLE_COLUMNS
from analytics.vocabulary import CONFIRMATIONS
from pipelines.signatures import Signature, check_signature

SCHEMA_VERSION = 1
MANIFEST, CELLS, SIGNATURE = "manifest.json", "cells.parquet", "signature.json"
# A bundle of six workshops with 20 symptoms is below 100 kB; a hundred times that is no bundle.
MOST_BYTES, MOST_ROWS, LONGEST_TEXT = 10_000_000, 100_000, 4_000
_CODE = re.compile(r"[a-z0-9_]{0,80}")
_RESULTS = re.compile(r"[a-z0-9_:=;]{0,4000}")
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
    schema_version: int = SCHEMA_VERSION


@dataclass(frozen=True, eq=False)
class Bundle:
    """A checked bundle: counts add up to what the manifest says; `public_key` is "" when nobody signed."""

    manifest: Manifest
    cells: pd.DataFrame
    public_key: str
    checksum: str


def pack_cells(cells: pd.DataFrame) -> bytes:
    """Cells as uncompressed Parquet; the same cells give the same bytes."""
    ordered = cells[list(BUNDLE_COLUMNS)].sort_values(list(BUNDLE_COLUMNS[:-1]), ignore_index=True)
    schema = pa.schema([(name, pa.int64() if name == "tickets" else pa.string()) for name in BUNDLE_COLUMNS])
    out = io.BytesIO()
    pq.write_table(
        pa.Table.from_pandas(ordered, schema=schema, preserve_index=False).replace_schema_metadata(None),
        out,
        compression="none",
        use_dictionary=False,
    )
    return out.getvalue()


def manifest_bytes(manifest: Manifest) -> bytes:
    """The manifest as it is signed."""
    return json.dumps(asdict(manifest), sort_keys=True, indent=1, ensure_ascii=True).encode()


def bundle_checksum(manifest: Manifest) -> str:
    """Names a bundle; the manifest holds the checksum of the cells."""
    return hashlib.sha256(manifest_bytes(manifest)).hexdigest()


def save_bundle(path: Path, manifest: Manifest, cells: bytes, signature: Signature | None) -> None:
    """Written aside and renamed. The same bundle gives the same bytes: no instant is stored."""
    entries = {MANIFEST: manifest_bytes(manifest), CELLS: cells}
    if signature is not None:
        entries[SIGNATURE] = json.dumps(asdict(signature), sort_keys=True).encode()
    save_container(path, entries)


def save_container(path: Path, entries: Mapping[str, bytes]) -> None:
    """Named entries in one uncompressed file, without any instant."""
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
                raise _no_bundle(path, "it holds other files than it may")
            if any(entry.compress_type != zipfile.ZIP_STORED or entry.file_size > most_bytes for entry in listed):
                raise _no_bundle(path, "it is compressed")
            return {entry.filename: box.read(entry) for entry in listed}
    except (zipfile.BadZipFile, OSError, RuntimeError, NotImplementedError) as error:
        raise _no_bundle(path, "it is damaged or something else") from error


def load_bundle(path: Path) -> Bundle:
    """A bundle whose checksum, signature, counts and codes have been checked; InputError says what is wrong with it."""
    entries = load_container(path, (MANIFEST, CELLS, SIGNATURE), most_bytes=MOST_BYTES)
    if not {MANIFEST, CELLS} <= set(entries):
        raise _no_bundle(path, "its manifest or its cells are missing")
    public_key = ""
    if SIGNATURE in entries:
        public_key = check_signature(entries[SIGNATURE], entries[MANIFEST])
    return check_cells(path, entries[MANIFEST], entries[CELLS], public_key=public_key)


def check_cells(path: Path, manifest_told: bytes, cells_told: bytes, *, public_key: str) -> Bundle:
    """Manifest and cells, compared with each other; `path` is for sentences only."""
    manifest = read_manifest(path, manifest_told)
    if hashlib.sha256(cells_told).hexdigest() != manifest.cells_checksum:
        raise _no_bundle(path, "its cells are not those that its manifest was written for")
    cells = _read_cells(path, cells_told)
    _check_counts(path, manifest, cells)
    return Bundle(manifest, cells, public_key, hashlib.sha256(manifest_told).hexdigest())


def read_manifest(path: Path, content: bytes) -> Manifest:
    """The manifest, each entry of the right kind."""
    try:
        told = json.loads(content)
        if told.get("schema_version") != SCHEMA_VERSION:
            raise InputError(
                f"'{path.name}' was written in version {told.get('schema_version')!r:.20} of the bundle format; this "
                f"program reads version {SCHEMA_VERSION}. Update faultodds, or ask for a new bundle."
            )
        if set(told) != {field.name for field in fields(Manifest)}:
            raise _no_bundle(path, "its manifest lacks something")
        whole = ("number", "from_year", "to_year", "threshold", "ticket_count", "row_count", "corrected")
        manifest = Manifest(**{**told, **{name: _whole(told[name]) for name in whole}})
        terms = {
            str(group): {str(c): str(n)[:200] for c, n in names.items()} for group, names in manifest.terms.items()
        }
        rolled_up = {str(level): _whole(count) for level, count in manifest.rolled_up.items()}
        epsilon, variance = float(manifest.epsilon), float(manifest.noise_variance)
    except InputError:
        raise
    except (ValueError, TypeError, AttributeError, KeyError, RecursionError) as error:
        raise _no_bundle(path, "its manifest cannot be read") from error
    if not isinstance(manifest.contributor, str) or not _CONTRIBUTOR.fullmatch(manifest.contributor):
        raise _no_bundle(path, "its contributor code is none")
    if not (0.0 <= epsilon < 1e6 and 0.0 <= variance < 1e12) or manifest.threshold < 2 or manifest.number < 1:
        raise _no_bundle(path, "its manifest holds an impossible number")
    return Manifest(**{**asdict(manifest), "terms": terms, "rolled_up": rolled_up,
                       "epsilon": epsilon, "noise_variance": variance})  # fmt: skip


def _whole(value: object) -> int:
    if not isinstance(value, int) or not 0 <= value < 10**9:
        raise ValueError(value)
    return value


def _read_cells(path: Path, content: bytes) -> pd.DataFrame:
    """Rows and plain columns are counted before a value is read: a small file must not grow in memory."""
    try:
        file = pq.ParquetFile(io.BytesIO(content))
        about = file.metadata
        if about.num_rows > MOST_ROWS or about.num_row_groups > 10 or about.num_columns != len(BUNDLE_COLUMNS):
            raise _no_bundle(path, f"it has more than {MOST_ROWS:,} rows or other columns")
        chunks = [about.row_group(g).column(c) for g in range(about.num_row_groups) for c in range(about.num_columns)]
        if any(chunk.compression != "UNCOMPRESSED" or chunk.has_dictionary_page for chunk in chunks):
            raise _no_bundle(path, "its cells are compressed")
        kinds = {field.name: str(field.type) for field in file.schema_arrow}
        if kinds != {name: "int64" if name == "tickets" else "string" for name in BUNDLE_COLUMNS}:
            raise _no_bundle(path, "its columns are others than they must be")
        cells: pd.DataFrame = file.read().to_pandas()
    except (pa.ArrowException, OSError) as error:
        raise _no_bundle(path, "its cells are no Parquet") from error
    if cells.isna().any(axis=None):
        raise _no_bundle(path, "some of its cells are empty")
    for column, pattern in (*((c, _CODE) for c in BUNDLE_COLUMNS[:5]), ("results", _RESULTS), ("others", _RESULTS)):
        bad = [value for value in cells[column].unique() if not pattern.fullmatch(value)]
        if bad:
            raise _no_bundle(path, f"'{bad[0]:.30}' is no code (column {column})")
    if not set(cells["confirmation"]) <= {"", *CONFIRMATIONS}:
        raise _no_bundle(path, "it names a grade of confirmation that does not exist")
    return cells


def _check_counts(path: Path, manifest: Manifest, cells: pd.DataFrame) -> None:
    """A bundle that lies about its counts is refused."""
    tickets = cells["tickets"]
    if len(cells) != manifest.row_count or int(tickets.sum()) != manifest.ticket_count:
        raise _no_bundle(path, "its cells do not add up to the tickets that its manifest states")
    if len(cells) == 0 or int(tickets.min()) < manifest.threshold or int(tickets.max()) > 10**9:
        raise _no_bundle(path, f"a cell holds fewer tickets than the threshold of {manifest.threshold} that it states")
    if sum(manifest.rolled_up.values()) != manifest.ticket_count:
        raise _no_bundle(path, "what it says was rolled up does not add up")
    if cells.duplicated(list(BUNDLE_COLUMNS[:-1])).any():
        raise _no_bundle(path, "it counts the same cell twice")


def _no_bundle(path: Path, reason: str) -> InputError:
    return InputError(
        f"'{path.name}' is refused: {reason}. Ask its contributor to write it again with `faultodds bundle write`."
    )
