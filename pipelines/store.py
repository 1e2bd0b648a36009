"""The DuckDB file: short connections, transactions that surely commit or roll back, queries by name."""

import random
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import ExitStack, closing, contextmanager, suppress
from datetime import UTC, datetime
from functools import cache, partial
from pathlib import Path
from typing import Any

import duckdb
import pandas as pd

from analytics.errors import InputError
from pipelines.store_in_words import BUSY, BUSY_WORDS, FULL, FULL_WORDS, opening_refusal
from pipelines.store_turns import taking_turns

type Connection = duckdb.DuckDBPyConnection


class StoreInUseError(InputError):
    """Another process or thread kept the store for too long; the store itself is in order."""


SQL_FOLDER = Path(__file__).resolve().parent / "sql"
# DuckDB allows one writing process or many reading ones. Every holder closes quickly, so waiting helps.
PATIENCE_SECONDS = 10.0
SHORTEST_PAUSE_SECONDS, LONGEST_PAUSE_SECONDS = 0.005, 0.03
# A query needs no file but the store itself: nothing a ticket says can make DuckDB read or write another one.
LOCKED_DOWN = {"enable_external_access": "false", "lock_configuration": "true"}

# Threads of one process share DuckDB's file lock; without this, two of them could update the same row at once.
_one_writer = threading.Lock()


@contextmanager
def reading(path: Path, *, patience_seconds: float = PATIENCE_SECONDS) -> Iterator[Connection]:
    """A read-only connection for one with-block; a store that is missing or older is made or migrated first.

    Raises
    ------
    InputError
        When the file is no store, comes from a newer faultodds, cannot be opened, or stays locked too long.
    """
    if not path.exists():
        _bring_up_to_date(path, patience_seconds)
    with ExitStack() as stack:
        con = stack.enter_context(closing(_open_read_only(path, patience_seconds)))
        if _schema_version(con, path) < newest_version():
            con.close()
            _bring_up_to_date(path, patience_seconds)
            con = stack.enter_context(closing(_open_read_only(path, patience_seconds)))
        stack.enter_context(_full_disk_in_words())
        yield con


@contextmanager
def writing(path: Path, *, patience_seconds: float = PATIENCE_SECONDS) -> Iterator[Connection]:
    """A connection with one transaction: committed at the end of the with-block, rolled back on any exception.

    Raises
    ------
    InputError
        As for `reading`, and when the disk is full.
    RuntimeError
        When an SQL error inside the block was swallowed: DuckDB would otherwise "commit" and save nothing.
    """
    if not _one_writer.acquire(timeout=patience_seconds):
        raise StoreInUseError(BUSY)
    try:
        _make_folder(path.parent)
        connect = partial(duckdb.connect, str(path), config=LOCKED_DOWN)
        with closing(_connect(connect, path, patience_seconds)) as con, _full_disk_in_words():
            # before the transaction: a table that is missing would abort it
            version = _schema_version(con, path)
            with _transaction(con):
                _migrate(con, version)
                yield con
    finally:
        _one_writer.release()


def copy_store(path: Path, to: Path) -> None:
    """Writes a consistent copy to `to`, which must not exist; DuckDB makes it, under the same lock as any reader.

    A store is never copied as a file: closing the file would drop the lock this process holds on it.
    """
    with reading(path):
        pass  # an older store is migrated first
    connect = partial(duckdb.connect, str(path), read_only=True)
    with closing(_connect(connect, path, PATIENCE_SECONDS)) as con, _full_disk_in_words():
        con.execute("attach $to as backup (read_write)", {"to": str(to)})
        con.execute(read_sql("copy_store"))
        con.execute("detach backup")


def run_query(con: Connection, name: str, /, **params: Any) -> pd.DataFrame:
    """Result of `sql/<name>.sql`, its `$parameters` filled from `params`."""
    return con.execute(read_sql(name), params or None).df()


@cache
def read_sql(name: str) -> str:
    """Text of `sql/<name>.sql`."""
    return (SQL_FOLDER / f"{name}.sql").read_text(encoding="utf-8")


@contextmanager
def registered(con: Connection, **frames: pd.DataFrame) -> Iterator[None]:
    """Frames that queries inside the with-block can read as tables of these names."""
    for name, frame in frames.items():
        con.register(name, frame)
    try:
        yield
    finally:
        # In an aborted transaction this fails too, and must not hide the first error.
        with suppress(duckdb.Error):
            for name in frames:
                con.unregister(name)


def data_version(con: Connection) -> str:
    """Text that changes when, and only when, the tickets change; the same tickets give the same text anywhere."""
    return str(run_query(con, "data_version")["data_version"].iloc[0])


def last_ticket_order(con: Connection) -> int:
    """Number of the newest ticket in the order of storing; 0 for none."""
    return int(run_query(con, "last_ticket_order")["last_order"].iloc[0])


def newest_version() -> int:
    """Number of the last migration this program knows."""
    return _migrations()[-1][0]


def utc_now() -> datetime:
    """The present instant as the store writes it: UTC, no zone attached."""
    return datetime.now(UTC).replace(tzinfo=None)


@cache
def _migrations() -> tuple[tuple[int, Path], ...]:
    return tuple(
        (int(path.name[:3]), path) for path in sorted((SQL_FOLDER / "migrations").glob("[0-9][0-9][0-9]_*.sql"))
    )


def _migrate(con: Connection, version: int) -> None:
    """Apply the numbered files of `sql/migrations` after a version; runs inside a transaction."""
    if version == 0:
        con.execute("create table schema_version (version integer primary key, applied_at timestamp not null)")
    for number, sql_path in _migrations():
        if number > version:
            con.execute(sql_path.read_text(encoding="utf-8"))
            con.execute("insert into schema_version values (?, ?)", [number, utc_now()])


def _bring_up_to_date(path: Path, patience_seconds: float) -> None:
    with writing(path, patience_seconds=patience_seconds):
        pass


def _make_folder(folder: Path) -> None:
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise InputError(
            f"The data folder '{folder.name}' cannot be made ({error.strerror}). Choose a folder you may write to."
        ) from error


def _open_read_only(path: Path, patience_seconds: float) -> Connection:
    return _connect(partial(duckdb.connect, str(path), read_only=True, config=LOCKED_DOWN), path, patience_seconds)


def _connect(connect: Callable[[], Connection], path: Path, patience_seconds: float) -> Connection:
    """The connection, once no other process is in the way."""
    deadline = time.monotonic() + patience_seconds
    with taking_turns(path, deadline):
        while True:
            try:
                return _refuse_foreign_file(connect(), path)
            except duckdb.Error as error:
                if not _is_busy(error, path):
                    raise InputError(opening_refusal(str(error), path.name)) from error
                if time.monotonic() > deadline:
                    raise StoreInUseError(BUSY) from None
            # Random pauses, so that two who have no turns and collided do not collide again.
            time.sleep(random.uniform(SHORTEST_PAUSE_SECONDS, LONGEST_PAUSE_SECONDS))


def _is_busy(error: duckdb.Error, path: Path) -> bool:
    # A file of no length is one that another process is making right now.
    return any(words in str(error) for words in BUSY_WORDS) or (path.is_file() and path.stat().st_size == 0)


def _refuse_foreign_file(con: Connection, path: Path) -> Connection:
    """The connection again. DuckDB opens "tickets.csv" without an error, as a passing database that is nowhere."""
    places = con.execute("select path from duckdb_databases() where not internal").fetchall()
    if places[0][0] is None:
        con.close()
        raise InputError(opening_refusal("not a valid DuckDB database file", path.name))
    return con


@contextmanager
def _transaction(con: Connection) -> Iterator[None]:
    con.begin()
    try:
        yield
        # In a transaction that an error has aborted COMMIT saves nothing and says nothing; any query tells.
        con.execute("select 1").fetchall()
        con.commit()
    except BaseException as error:
        with suppress(duckdb.Error):
            con.rollback()
        if isinstance(error, duckdb.TransactionException) and "aborted" in str(error):
            raise RuntimeError("An SQL error inside the transaction was swallowed; nothing was stored.") from error
        raise


@contextmanager
def _full_disk_in_words() -> Iterator[None]:
    try:
        yield
    except duckdb.Error as error:
        if any(words in str(error) for words in FULL_WORDS):
            raise InputError(FULL) from error
        raise


def _schema_version(con: Connection, path: Path) -> int:
    """Number of the last migration applied; 0 for an empty database. InputError for a foreign or newer one."""
    try:
        version = int(con.execute("select coalesce(max(version), 0) from schema_version").fetchall()[0][0])
    except duckdb.CatalogException:
        return _refuse_foreign_tables(con, path)
    if version > newest_version():
        raise InputError(
            f"'{path.name}' was written by a newer faultodds (store version {version}, this program knows "
            f"{newest_version()}). Update faultodds, then open it again."
        )
    return version


def _refuse_foreign_tables(con: Connection, path: Path) -> int:
    """0 for a database without any table. Listing the tables takes half as long as opening the store: not each time."""
    if con.execute("select table_name from duckdb_tables()").fetchall():
        raise InputError(f"'{path.name}' is a database of another program. Give the data folder that faultodds made.")
    return 0
