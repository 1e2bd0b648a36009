"""How many machines each workshop keeps: a table the shop edits, in its own data folder."""

from collections.abc import Mapping
from pathlib import Path

from analytics.errors import InputError
from analytics.vocabulary import Vocabulary
from pipelines.catalogue_tables import Problem
from pipelines.readers import read_raw
from pipelines.settings import Settings

NAME = "machines_kept.csv"
COLUMNS = ("shop", "family", "machines")
MOST = 1_000_000


def machines_kept_path(settings: Settings) -> Path:
    """Where the table lies: in the data folder, beside the vocabulary."""
    return settings.data_folder / NAME


def read_machines_kept(settings: Settings, vocabulary: Vocabulary) -> Mapping[tuple[str, str], int]:
    """(shop, family) -> machines kept; nothing while there is no such table.

    Raises
    ------
    InputError
        One line for each row that cannot be used, with its line number and what to do.
    """
    path = machines_kept_path(settings)
    if not path.exists():
        return {}
    table = read_raw(path)
    if set(table.frame.columns) != set(COLUMNS):
        raise InputError(f"{NAME} needs the columns {', '.join(COLUMNS)}, and no others. Correct its first line.")
    kept: dict[tuple[str, str], int] = {}
    problems: list[Problem] = []
    for line, written in table.all_cells():
        cells = {name: written.get(name, "").strip() for name in COLUMNS}
        try:
            pair = _pair(cells, vocabulary)
            if pair in kept:
                raise InputError(f"'{pair[0]}' and '{pair[1]}' are already in the table. Keep one line.")
            kept[pair] = _count(cells["machines"])
        except InputError as error:
            problems.append(Problem(NAME, line, str(error)))
    if problems:
        raise InputError("\n".join(map(str, problems)))
    return kept


def _pair(cells: Mapping[str, str], vocabulary: Vocabulary) -> tuple[str, str]:
    if not cells["shop"]:
        raise InputError("shop is blank. Write the workshop's name as it stands on its tickets.")
    if cells["family"] not in vocabulary.families:
        known = ", ".join(vocabulary.families)
        raise InputError(f"family '{cells['family']}' is not on the list. Allowed: {known}.")
    return cells["shop"], cells["family"]


def _count(written: str) -> int:
    try:
        count = int(written)
    except ValueError:
        count = -1
    if not 0 <= count <= MOST:
        raise InputError(f"machines is '{written}'. Allowed: a whole number from 0 to {MOST:,}, without a comma.")
    return count
