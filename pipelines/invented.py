"""The invented tickets in a shop's own store, for a first look without a terminal; and out of it again."""

import csv
import json
from datetime import UTC, datetime
from pathlib import Path

from analytics.errors import InputError
from pipelines.backtest_files import FILE_NAME as BACKTEST_NAME
from pipelines.catalogue import read_vocabulary
from pipelines.column_maps import read_column_map
from pipelines.intake import ingest_file
from pipelines.proof_files import PROOF_NAME
from pipelines.refit_status import STATUS_FILE, refit_lock
from pipelines.settings import Settings, seed_folder
from pipelines.store import last_ticket_order, reading

MARK, ASIDE = "invented_tickets.json", "set_aside"


def demo_files() -> list[tuple[Path, str, Path | None]]:
    """(file, shop, column map) of the six invented workshops."""
    folder = seed_folder() / "demo"
    with (folder / "shops.csv").open(encoding="utf-8", newline="") as text:
        rows = list(csv.DictReader(text))
    return [
        (folder / row["file"], row["shop"], folder / row["column_map"] if row["column_map"] else None) for row in rows
    ]


def has_invented(settings: Settings) -> bool:
    """Whether the store was filled with the invented tickets."""
    return (settings.data_folder / MARK).exists()


def fill_with_invented(settings: Settings) -> None:
    """Ingests the six invented workshops into a store without tickets. The mark is written first: a crash in between
    leaves tickets that are known for what they are.

    Raises
    ------
    InputError
        When the store holds tickets of its own.
    """
    if _has_tickets(settings) and not has_invented(settings):
        raise InputError(
            "The store holds tickets of your own, and invented ones would spoil its odds. To look around beside it, "
            "run `faultodds demo --port 8766` in a terminal."
        )
    settings.data_folder.mkdir(parents=True, exist_ok=True)
    told = {"about": "All tickets of this store are invented.", "filled_at": datetime.now(UTC).isoformat()}
    (settings.data_folder / MARK).write_text(json.dumps(told) + "\n", encoding="utf-8")
    vocabulary, today = read_vocabulary(settings.vocabulary_folder), datetime.now(UTC).date()
    for path, shop, columns in demo_files():
        ingest_file(
            path,
            store_path=settings.store_path,
            vocabulary=vocabulary,
            shop=shop,
            column_map=read_column_map(columns),
            today=today,
        )


def refuse_mixing(settings: Settings) -> None:
    """InputError while the store holds the invented tickets: no file of real ones may be read in beside them."""
    if has_invented(settings):
        raise InputError(
            "The store holds invented tickets, which would spoil the odds of your own. Take them out first: there is "
            "a button on the Bench page."
        )


def set_invented_aside(settings: Settings) -> Path:
    """Moves the store of invented tickets, with all fits and whatever was tried on it, into a dated folder; nothing is
    deleted. Gives that folder.

    Raises
    ------
    InputError
        When the store is not one of invented tickets, or a fit runs on it.
    """
    if not has_invented(settings):
        raise InputError("These tickets are your own and stay where they are.")
    with refit_lock(settings) as lock:
        if lock is None:
            raise InputError("A fit runs on the invented tickets. Wait until it is over (about a minute).")
        target = settings.data_folder / ASIDE / f"{datetime.now(UTC):%Y-%m-%dT%H%M%S.%fZ}"
        target.mkdir(parents=True)
        store = settings.store_path
        beside = [settings.data_folder / name for name in (PROOF_NAME, BACKTEST_NAME, STATUS_FILE, MARK)]
        # the mark goes last: whatever happens in between, what stays is known as invented
        for path in (store, store.with_name(f"{store.name}.wal"), settings.posteriors_folder, *beside):
            if path.exists():
                path.rename(target / path.name)
    return target


def _has_tickets(settings: Settings) -> bool:
    if not settings.store_path.exists():
        return False
    with reading(settings.store_path) as con:
        return last_ticket_order(con) > 0
