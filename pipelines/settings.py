"""Where things are: the shop's data folder, what lies in it, and the seed data that ships with the program."""

import os
from dataclasses import dataclass
from pathlib import Path

DATA_VARIABLE = "FAULTODDS_DATA"
DEFAULT_DATA_FOLDER = "data"
# The shop's own vocabulary, what is being written to replace it, and the dated copies of those it replaced.
OWN, NEXT, COPIES = "vocabulary", "vocabulary_next", "vocabulary_before"


@dataclass(frozen=True)
class Settings:
    """One shop's data folder and the places inside it."""

    data_folder: Path

    @property
    def store_path(self) -> Path:
        """The DuckDB file."""
        return self.data_folder / "faultodds.duckdb"

    @property
    def posteriors_folder(self) -> Path:
        """Stored fits, one netCDF file each."""
        return self.data_folder / "posteriors"

    @property
    def vocabulary_folder(self) -> Path:
        """The shop's own vocabulary, or the seeded one while it has none."""
        return vocabulary_folder(self.data_folder)


def read_settings() -> Settings:
    """Settings from the environment: `FAULTODDS_DATA`, or `./data` when it is not set."""
    return Settings(Path(os.environ.get(DATA_VARIABLE) or DEFAULT_DATA_FOLDER))


def seed_folder() -> Path:
    """The `seed_data` folder; it lies beside the packages in a checkout and in an installed wheel alike."""
    return Path(__file__).resolve().parents[1] / "seed_data"


def vocabulary_folder(data_folder: Path) -> Path:
    """`vocabulary/` inside the data folder if the shop has one, else the seeded vocabulary.

    A crash between the two renames of a save leaves `vocabulary_next/` but no `vocabulary/`: the newest copy is it.
    """
    own = data_folder / OWN
    if own.is_dir():
        return own
    kept = sorted((data_folder / COPIES).glob("[0-9]*")) if (data_folder / NEXT).is_dir() else []
    return kept[-1] if kept else seed_folder() / "vocabulary"
