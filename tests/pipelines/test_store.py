"""Transactions commit or roll back, other processes are waited for, foreign and newer files are refused in words."""

import os
import re
import subprocess
import sys
import textwrap
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from threading import Thread

import duckdb
import pandas as pd
import pytest

from analytics.errors import InputError
from pipelines.store import data_version, newest_version, reading, registered, run_query, writing

ADD_DUPLICATE = "insert into duplicates values ($file, $line, 'ticket')"


def count_duplicates(path: Path) -> int:
    with reading(path) as con:
        return int(con.execute("select count(*) from duplicates").fetchall()[0][0])


@contextmanager
def python_that(tmp_path: Path, script: str, *words: str) -> Iterator[subprocess.Popen[str]]:
    """Another process running the script with the words as arguments."""
    place = tmp_path / "script.py"
    place.write_text(textwrap.dedent(script))
    command = [sys.executable, "-W", "error", str(place), *words]
    with subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True) as process:
        yield process


def test_missing_store_is_made_with_all_migrations(tmp_path: Path) -> None:
    path = tmp_path / "new" / "store.duckdb"
    with reading(path) as con:
        assert run_query(con, "data_version")["data_version"].iloc[0] == "0-" + "0" * 16
        versions = con.execute("select version from schema_version order by version").fetchall()
    assert [version for (version,) in versions] == list(range(1, newest_version() + 1))


def add_then_fail(path: Path) -> None:
    with writing(path) as con:
        con.execute(ADD_DUPLICATE, {"file": "a", "line": 1})
        raise KeyError


def add_then_swallow_an_error(path: Path) -> None:
    with writing(path) as con:
        con.execute(ADD_DUPLICATE, {"file": "a", "line": 1})
        with suppress(duckdb.Error):
            con.execute("select * from no_such_table")


def test_exception_inside_the_block_leaves_nothing(tmp_path: Path) -> None:
    with pytest.raises(KeyError):
        add_then_fail(tmp_path / "store.duckdb")
    assert count_duplicates(tmp_path / "store.duckdb") == 0


def test_swallowed_sql_error_does_not_pass_for_a_commit(tmp_path: Path) -> None:
    with pytest.raises(RuntimeError, match="swallowed"):
        add_then_swallow_an_error(tmp_path / "store.duckdb")
    assert count_duplicates(tmp_path / "store.duckdb") == 0


def test_queries_reach_no_other_file_and_cannot_unlock_them(tmp_path: Path) -> None:
    (tmp_path / "secret.csv").write_text("a,b\n1,2\n")
    with reading(tmp_path / "store.duckdb") as con:
        with pytest.raises(duckdb.PermissionException):
            con.execute("select * from read_csv($path)", {"path": str(tmp_path / "secret.csv")})
        with pytest.raises(duckdb.Error, match="locked"):
            con.execute("set enable_external_access = true")


FOREIGN = {
    "csv": b"ticket,symptom\n1,stuck\n",
    "photo": b"\xff\xd8\xff\xe0\x00\x10JFIF" + bytes(range(256)) * 40,
}


@pytest.mark.parametrize("suffix", [".duckdb", ".csv"])
@pytest.mark.parametrize("kind", FOREIGN)
def test_file_that_is_no_store_is_refused_and_stays_as_it_was(kind: str, suffix: str, tmp_path: Path) -> None:
    path = tmp_path / f"store{suffix}"
    path.write_bytes(FOREIGN[kind])
    for opened in (reading, writing):
        with pytest.raises(InputError, match=f"'store{suffix}' is not a faultodds store"), opened(path):
            pass
    assert path.read_bytes() == FOREIGN[kind]


def test_database_of_another_program_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "store.duckdb"
    with duckdb.connect(str(path)) as con:
        con.execute("create table songs (name varchar)")
    with pytest.raises(InputError, match="a database of another program"), writing(path):
        pass


def test_store_of_a_newer_program_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "store.duckdb"
    with writing(path) as con:
        con.execute("insert into schema_version values (999, now()::timestamp)")
    with pytest.raises(InputError, match=r"newer faultodds \(store version 999"), reading(path):
        pass


def test_folder_that_is_a_file_is_refused_in_words(tmp_path: Path) -> None:
    (tmp_path / "data").write_text("a file")
    with pytest.raises(InputError, match="data folder 'data' cannot be made"), reading(tmp_path / "data" / "s.duckdb"):
        pass


@pytest.mark.skipif(os.geteuid() == 0, reason="an administrator may write anywhere")
def test_read_only_folder_is_refused_in_words(tmp_path: Path) -> None:
    (tmp_path / "data").mkdir(mode=0o555)
    with pytest.raises(InputError, match="read-only for you"), reading(tmp_path / "data" / "store.duckdb"):
        pass


def test_full_disk_is_told_and_nothing_is_stored(tmp_path: Path) -> None:
    path = tmp_path / "store.duckdb"
    with writing(path) as con:
        con.execute(ADD_DUPLICATE, {"file": "before", "line": 1})
    # A limit on file size, set in a process of its own, stands for the disk that is full.
    script = """
        import resource, sys, pathlib
        import pandas as pd
        from analytics.errors import InputError
        from pipelines.store import registered, run_query, writing
        path = pathlib.Path(sys.argv[1])
        lines = range(400_000)
        frame = pd.DataFrame({"line": lines, "duplicate_of": [f"{line * 7919 % 1000003:032}" for line in lines]})
        resource.setrlimit(resource.RLIMIT_FSIZE, (900_000, 900_000))
        try:
            with writing(path) as con, registered(con, new_duplicates=frame):
                run_query(con, "insert_duplicates", file_hash="big")
        except InputError as error:
            print(error)
    """
    with python_that(tmp_path, script, str(path)) as process:
        told, _ = process.communicate(timeout=60)
    assert told.startswith("The disk is full: nothing of this step was stored.")
    assert count_duplicates(path) == 1


def test_held_lock_is_told_without_path_or_process_number(tmp_path: Path) -> None:
    path = tmp_path / "store.duckdb"
    script = """
        import sys, pathlib
        from pipelines.store import writing
        with writing(pathlib.Path(sys.argv[1])):
            print("held", flush=True)
            sys.stdin.readline()
    """
    with python_that(tmp_path, script, str(path)) as process:
        assert process.stdout is not None
        assert process.stdout.readline() == "held\n"
        with pytest.raises(InputError) as refusal, writing(path, patience_seconds=0.2):
            pass
        process.communicate("\n", timeout=30)
    assert str(refusal.value).startswith("The store is in use by another faultodds command or page.")
    assert not re.search(rf"{re.escape(str(tmp_path))}|{process.pid}", str(refusal.value))
    assert count_duplicates(path) == 0


@pytest.mark.slow
def test_two_processes_and_two_threads_lose_no_row(tmp_path: Path) -> None:
    path = tmp_path / "store.duckdb"
    script = f"""
        import sys, pathlib
        from pipelines.store import writing
        for line in range(20):
            with writing(pathlib.Path(sys.argv[1]), patience_seconds=60) as con:
                con.execute({ADD_DUPLICATE!r}, {{"file": "other process", "line": line}})
    """

    def write(name: str) -> None:
        for line in range(20):
            with writing(path, patience_seconds=60) as con:
                con.execute(ADD_DUPLICATE, {"file": name, "line": line})
            with reading(path, patience_seconds=60) as con:
                con.execute("select count(*) from duplicates").fetchall()

    with python_that(tmp_path, script, str(path)) as process:
        threads = [Thread(target=write, args=(name,)) for name in ("one", "two")]
        for thread in threads:
            thread.start()
        for thread in threads:
            thread.join()
        process.communicate(timeout=120)
    assert process.returncode == 0
    assert count_duplicates(path) == 60


def test_data_version_follows_the_tickets_and_not_their_order(tmp_path: Path) -> None:
    rows = pd.DataFrame({"ticket_id": ["a", "b"], "suspect": ["plug_loose", "coil_open"]})
    versions = {}
    for name, frame in {"as is": rows, "turned": rows.iloc[::-1], "fewer": rows.iloc[:1]}.items():
        with writing(tmp_path / f"{name}.duckdb") as con, registered(con, new_suspects=frame):
            run_query(con, "insert_ticket_suspects")
            con.execute(ADD_DUPLICATE, {"file": name, "line": 1})
            versions[name] = data_version(con)
    assert versions["as is"] == versions["turned"]
    assert versions["as is"] != versions["fewer"]


def test_store_of_a_newer_program_is_refused_for_writing_too_and_keeps_every_row(tmp_path: Path) -> None:
    path = tmp_path / "store.duckdb"
    with writing(path) as con:
        con.execute(ADD_DUPLICATE, {"file": "kept", "line": 1})
        con.execute("insert into schema_version values (999, now()::timestamp)")
    with pytest.raises(InputError, match="Update faultodds, then open it again"), writing(path):
        pass
    with duckdb.connect(str(path), read_only=True) as con:
        assert con.execute("select * from duplicates").fetchall() == [("kept", 1, "ticket")]


@pytest.mark.slow
def test_a_writer_is_not_overtaken_for_ever_by_readers(tmp_path: Path) -> None:
    path = tmp_path / "store.duckdb"
    script = """
        import sys, pathlib, time
        from pipelines.store import reading
        path, end = pathlib.Path(sys.argv[1]), time.monotonic() + 60
        print("reads", flush=True)
        while time.monotonic() < end:
            with reading(path, patience_seconds=60):
                time.sleep(0.05)
    """
    with writing(path):
        pass
    with python_that(tmp_path, script, str(path)) as one, python_that(tmp_path, script, str(path)) as other:
        for process in (one, other):
            assert process.stdout is not None
            assert process.stdout.readline() == "reads\n"
        try:
            for line in range(10):
                with writing(path, patience_seconds=5) as con:
                    con.execute(ADD_DUPLICATE, {"file": "writer", "line": line})
        finally:
            one.kill()
            other.kill()
    assert count_duplicates(path) == 10


def test_who_gave_up_waiting_keeps_no_turn(tmp_path: Path) -> None:
    path = tmp_path / "store.duckdb"
    with writing(path), pytest.raises(InputError, match="in use"), reading(path, patience_seconds=0.1):
        pass
    assert count_duplicates(path) == 0
