"""A drafted vocabulary as one archive to download."""

import io
import tempfile
import zipfile
from dataclasses import dataclass
from pathlib import Path

from analytics.vocabulary import Vocabulary
from pipelines.catalogue import read_vocabulary, write_vocabulary
from pipelines.column_maps import ColumnMap
from pipelines.proposals import propose_vocabulary
from pipelines.readers import RawTable
from pipelines.settings import OWN, seed_folder


@dataclass(frozen=True, eq=False)
class Draft:
    """A draft, and the bytes of a zip archive with its files in one folder."""

    vocabulary: Vocabulary
    archive: bytes


def draft_archive(raw: RawTable, column_map: ColumnMap) -> Draft:
    """Draft from a ticket file; InputError as for `propose_vocabulary`."""
    base = read_vocabulary(seed_folder() / "vocabulary")
    vocabulary = propose_vocabulary(raw, column_map=column_map, base=base)
    with tempfile.TemporaryDirectory() as name:
        write_vocabulary(vocabulary, Path(name))
        packed = io.BytesIO()
        with zipfile.ZipFile(packed, "w", zipfile.ZIP_DEFLATED) as archive:
            for path in sorted(Path(name).glob("*.csv")):
                archive.write(path, f"{OWN}/{path.name}")
    return Draft(vocabulary, packed.getvalue())
