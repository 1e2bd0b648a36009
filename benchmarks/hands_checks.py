"""What must hold after any kill and any crowd: every acknowledged thing is there once, and the store is in order."""

from collections import Counter
from pathlib import Path

import pandas as pd

from analytics.errors import InputError
from analytics.vocabulary import Vocabulary
from benchmarks.hands_work import CONTRIBUTORS, TICKETS_A_FILE, Place
from pipelines.invented import ASIDE
from pipelines.posteriors import has_published_fit, list_fits, load_newest
from pipelines.settings import Settings
from pipelines.store import newest_version, reading
from pipelines.store_checks import check_store


def find_losses(place: Place, facts: list[str], vocabulary: Vocabulary) -> list[str]:
    """Sentences, one for each acknowledged fact that is not there exactly once and each fault of the store."""
    try:
        return list(_losses(place, facts, vocabulary))
    except (InputError, OSError) as error:
        return [f"not readable: {error}"]


def _losses(place: Place, facts: list[str], vocabulary: Vocabulary) -> list[str]:
    by_kind: dict[str, list[str]] = {}
    for fact in facts:
        kind, _, name = fact.partition(" ")
        by_kind.setdefault(kind, []).append(name)
    lost = _store_losses(place, by_kind, vocabulary)
    lost += [said for name in by_kind.get("migrated", []) for said in _migration_losses(place.inbox / name)]
    for folder in place.inbox.glob("pool-*"):
        lost += _pool_losses(folder, [name.split()[1] for name in by_kind.get("bundle", []) if folder.name in name])
    for folder in place.inbox.glob("old-*"):
        if (folder / "faultodds.duckdb").exists() and folder.name not in by_kind.get("migrated", []):
            # a copy that was cut short is no store; one that opens must be whole
            lost += _migration_losses(folder) if _is_whole_copy(place, folder) else []
    return lost


def _store_losses(place: Place, by_kind: dict[str, list[str]], vocabulary: Vocabulary) -> list[str]:
    settings = Settings(place.data)
    there = _everything(settings.store_path)
    aside = Counter[str]()
    for store in (place.data / ASIDE).glob("*/faultodds.duckdb"):
        aside |= _everything(store)
    lost = []
    for kind in ("ticket", "session", "entry"):
        lost += [
            f"{kind} {name}: {there[f'{kind} {name}']} times"
            for name in by_kind.get(kind, [])
            if (there | aside)[f"{kind} {name}"] != 1
        ]
    fits = Counter(list_fits(settings)["fit_id"])
    lost += [f"fit {name}: {fits[name]} times" for name in by_kind.get("fit", []) if fits[name] != 1]
    if has_published_fit(settings):
        load_newest(settings)
    faults = check_store(settings.store_path, vocabulary)
    return lost + [f"{row.rule}: {row.what}: {row.reason}" for row in faults.itertuples()]


def _everything(store: Path) -> Counter[str]:
    with reading(store) as con:
        rows = con.execute(
            "select 'ticket ' || ticket_number from tickets union all select 'session ' || code from bench_sessions "
            "union all select 'entry ' || code from session_events"
        ).fetchall()
    return Counter(name for (name,) in rows)


def _migration_losses(folder: Path) -> list[str]:
    with reading(Settings(folder).store_path) as con:
        count = con.execute("select count(*) from tickets").fetchall()[0][0]
        version = con.execute("select max(version) from schema_version").fetchall()[0][0]
    wrong = (count, version) != (TICKETS_A_FILE, newest_version())
    return [f"{folder.name}: {count} tickets at version {version}"] if wrong else []


def _is_whole_copy(place: Place, folder: Path) -> bool:
    copy, whole = (Settings(each).store_path.stat().st_size for each in (folder, place.inbox / "old"))
    return copy >= whole


def _pool_losses(folder: Path, acknowledged: list[str]) -> list[str]:
    """Bundles of one pool: acknowledged ones are there once, and each that is there has the cells of its manifest."""
    path = Settings(folder).store_path
    if not path.exists():
        return [f"{folder.name}: no store"] if acknowledged else []
    with reading(path) as con:
        found: pd.DataFrame = con.execute(
            "select bundles.checksum, ticket_count, coalesce(sum(tickets), 0) as tickets from bundles "
            "left join bundle_cells using (checksum) group by all"
        ).df()
    lost = [f"{folder.name}: {len(found)} of {len(acknowledged)}"] if len(found) < len(acknowledged) else []
    torn = found[(found["tickets"] - found["ticket_count"]).abs() > 1e-6]
    extra = len(found) > len(CONTRIBUTORS) or found["checksum"].duplicated().any()
    return (
        lost
        + [f"{folder.name}: {row.tickets} of {row.ticket_count} tickets" for row in torn.itertuples()]
        + ([f"{folder.name}: a bundle twice"] if extra else [])
    )
