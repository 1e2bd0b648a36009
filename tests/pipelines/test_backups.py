"""A backup is proved by restoring it; a damaged one is refused in words, and nothing that was there is lost."""

import json
import subprocess
import sys
from collections.abc import Iterator
from datetime import UTC, date, datetime
from pathlib import Path

import pytest

from analytics.errors import InputError
from analytics.session import BenchEvent, Session
from analytics.vocabulary import Vocabulary
from pipelines.backup_files import MANIFEST_NAME
from pipelines.backups import count_store, make_backup
from pipelines.bench_tickets import TicketRow
from pipelines.cli import main
from pipelines.history import read_tickets
from pipelines.intake import save_ticket
from pipelines.posteriors import load_newest
from pipelines.refit_status import refit_lock
from pipelines.restores import restore_backup
from pipelines.sessions import list_open_sessions, record_event, start_session
from pipelines.settings import Settings
from pipelines.shelf_files import PARTS_NAME
from pipelines.store import last_ticket_order, reading, writing
from pipelines.store_checks import check_store

pytestmark = pytest.mark.slow

NOW, TODAY = datetime(2026, 11, 25, 12, 0, tzinfo=UTC), date(2026, 11, 25)


def add_ticket(settings: Settings, vocabulary: Vocabulary, number: str) -> str:
    ticket = TicketRow("Pier", number, date(2026, 5, 1), symptom="stuck", suspects=("coil_open",))
    return save_ticket(ticket, store_path=settings.store_path, vocabulary=vocabulary, today=TODAY)


def numbers(settings: Settings) -> set[str]:
    return set(read_tickets(settings.store_path)["ticket_number"])


@pytest.fixture
def shop(bench_settings: Settings, tiny_vocabulary: Vocabulary) -> Settings:
    """Two tickets, an open session with one entry, a fit, a table of parts and a token."""
    for number in ("1", "2"):
        add_ticket(bench_settings, tiny_vocabulary, number)
    facts = Session(code="", opened_on=TODAY, shop="Pier", symptom="stuck")
    session = start_session(bench_settings.store_path, facts, tiny_vocabulary)
    record_event(bench_settings.store_path, session, BenchEvent("present", "dark"), tiny_vocabulary)
    (bench_settings.data_folder / PARTS_NAME).write_text("part,on_shelf\n", encoding="utf-8")
    (bench_settings.data_folder / "access").mkdir()
    (bench_settings.data_folder / "access" / "tokens.json").write_text("[]", encoding="utf-8")
    return bench_settings


def files(folder: Path) -> Iterator[tuple[str, bytes]]:
    for path in sorted(folder.rglob("*")):
        if path.is_file():
            yield path.relative_to(folder).as_posix(), path.read_bytes()


def test_restored_into_an_empty_folder_everything_is_back_but_the_secrets(
    shop: Settings, tiny_vocabulary: Vocabulary, tmp_path: Path
) -> None:
    backup, told = make_backup(shop, tmp_path / "disk", NOW)
    assert backup.name == "2026-11-25T120000Z"
    assert "Left out, because they hold secrets: access." in told[-1]
    elsewhere = Settings(tmp_path / "new")
    restore_backup(elsewhere, backup, NOW)
    assert count_store(elsewhere.store_path) == count_store(shop.store_path)
    assert check_store(elsewhere.store_path, tiny_vocabulary).empty
    assert load_newest(elsewhere).draws.equals(load_newest(shop).draws)
    assert len(list_open_sessions(elsewhere.store_path)) == 1
    kept = {name for name, _ in files(elsewhere.data_folder)}
    assert {PARTS_NAME, "vocabulary/suspects.csv"} <= kept
    assert not any(name.startswith(("access", "set_aside", ".")) for name in kept)


def test_tickets_stored_after_a_restore_come_after_those_restored(
    shop: Settings, tiny_vocabulary: Vocabulary, tmp_path: Path
) -> None:
    backup, _ = make_backup(shop, tmp_path / "disk", NOW)
    elsewhere = Settings(tmp_path / "new")
    restore_backup(elsewhere, backup, NOW)
    with reading(elsewhere.store_path) as con:
        before = last_ticket_order(con)
    add_ticket(elsewhere, tiny_vocabulary, "3")
    with reading(elsewhere.store_path) as con:
        assert last_ticket_order(con) > before


def test_store_with_tickets_is_replaced_only_when_told_and_is_kept_aside(
    shop: Settings, tiny_vocabulary: Vocabulary, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    backup, _ = make_backup(shop, tmp_path / "disk", NOW)
    add_ticket(shop, tiny_vocabulary, "later")
    (shop.data_folder / "machines_kept.csv").write_text("shop,family,machines\n", encoding="utf-8")
    command = ["--data", str(shop.data_folder), "restore", str(backup)]
    with pytest.raises(SystemExit, match="1"):
        main(command)
    assert "holds 3 tickets and 1 bench session. Nothing was changed. Say --replace" in capsys.readouterr().err
    assert numbers(shop) == {"1", "2", "later"}
    main([*command, "--replace"])
    assert "nothing was deleted" in capsys.readouterr().out
    assert numbers(shop) == {"1", "2"}
    assert not (shop.data_folder / "machines_kept.csv").exists()
    (aside,) = (shop.data_folder / "set_aside").iterdir()
    assert numbers(Settings(aside)) == {"1", "2", "later"}
    assert load_newest(Settings(aside)).fit_id == "first"
    assert (aside / "machines_kept.csv").exists()


def flip(path: Path) -> None:
    content = bytearray(path.read_bytes())
    content[len(content) // 2] ^= 1
    path.write_bytes(content)


def claim_newer(path: Path) -> None:
    told = json.loads(path.read_text(encoding="utf-8"))
    path.write_text(json.dumps({**told, "store_version": 999}), encoding="utf-8")


def point_outside(path: Path) -> None:
    told = json.loads(path.read_text(encoding="utf-8"))
    told["files"] = {"../data/parts.csv": told["files"][PARTS_NAME], **told["files"]}
    path.write_text(json.dumps(told), encoding="utf-8")


DAMAGE = {
    "one bit of the store": ("faultodds.duckdb", flip, "'faultodds.duckdb' is not as it was written"),
    "one bit of a fit": ("posteriors/first.nc", flip, "'posteriors/first.nc' is not as it was written"),
    "a table is gone": (PARTS_NAME, Path.unlink, "is not whole: 'parts.csv' is missing"),
    "the list is gone": (MANIFEST_NAME, Path.unlink, "is no backup of faultodds"),
    "the list is cut": (MANIFEST_NAME, lambda path: path.write_bytes(b'{"layout"'), "is unreadable"),
    "a newer program": (MANIFEST_NAME, claim_newer, "written by a newer faultodds. Update it"),
    "a file outside": (MANIFEST_NAME, point_outside, "'../data/parts.csv' is missing"),
}


@pytest.mark.parametrize("kind", DAMAGE)
def test_damaged_backup_is_refused_and_nothing_is_changed(kind: str, shop: Settings, tmp_path: Path) -> None:
    backup, _ = make_backup(shop, tmp_path / "disk", NOW)
    name, damage, sentence = DAMAGE[kind]
    damage(backup / name)  # type: ignore[operator]
    before = dict(files(shop.data_folder))
    with pytest.raises(InputError, match=sentence):
        restore_backup(shop, backup, NOW)
    assert dict(files(shop.data_folder)) == before


def test_damaged_store_is_kept_aside_and_the_backup_takes_its_place(
    shop: Settings, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    backup, _ = make_backup(shop, tmp_path / "disk", NOW)
    shop.store_path.write_bytes(b"\0" * 100_000)
    command = ["--data", str(shop.data_folder), "restore", str(backup)]
    with pytest.raises(SystemExit, match="1"):
        main(command)
    assert "Say --replace" in capsys.readouterr().err
    main([*command, "--replace"])
    assert numbers(shop) == {"1", "2"}
    assert next((shop.data_folder / "set_aside").iterdir()).joinpath("faultodds.duckdb").stat().st_size == 100_000


def test_nothing_is_restored_over_a_running_fit(shop: Settings, tmp_path: Path) -> None:
    backup, _ = make_backup(shop, tmp_path / "disk", NOW)
    with refit_lock(shop), pytest.raises(InputError, match="A fit runs on the present store"):
        restore_backup(shop, backup, NOW)


def test_backup_of_nothing_or_into_itself_is_refused(bench_settings: Settings, tmp_path: Path) -> None:
    with pytest.raises(InputError, match="nothing to back up"):
        make_backup(Settings(tmp_path / "empty"), tmp_path / "disk", NOW)
    with pytest.raises(InputError, match="is itself part of the backup"):
        make_backup(bench_settings, bench_settings.posteriors_folder / "backups", NOW)
    with pytest.raises(InputError, match="could not be written"):
        make_backup(bench_settings, bench_settings.store_path, NOW)


def test_two_backups_of_one_second_are_two(shop: Settings, tiny_vocabulary: Vocabulary, tmp_path: Path) -> None:
    first, _ = make_backup(shop, tmp_path / "disk", NOW)
    with writing(shop.store_path):
        pass
    add_ticket(shop, tiny_vocabulary, "3")
    second, _ = make_backup(shop, tmp_path / "disk", NOW)
    assert (first.name, second.name) == ("2026-11-25T120000Z", "2026-11-25T120000Z-2")
    assert count_store(first / "faultodds.duckdb")[0]["tickets"] == 2
    assert count_store(second / "faultodds.duckdb")[0]["tickets"] == 3


FULL_DISK = """
import resource, sys
from pipelines.cli import main
resource.setrlimit(resource.RLIMIT_FSIZE, (300_000, 300_000))
main(sys.argv[1:])
"""


def on_a_full_disk(*words: str) -> "subprocess.CompletedProcess[str]":
    """The command in a process that may write no file above 300 kB, which stands for a disk that fills up."""
    command = [sys.executable, "-W", "error", "-c", FULL_DISK, *words]
    return subprocess.run(command, capture_output=True, text=True, check=False, timeout=60)


def test_full_disk_is_told_and_leaves_neither_half_a_backup_nor_half_a_restore(
    shop: Settings, tiny_vocabulary: Vocabulary, tmp_path: Path
) -> None:
    data = str(shop.data_folder)
    backup, _ = make_backup(shop, tmp_path / "disk", NOW)
    add_ticket(shop, tiny_vocabulary, "later")
    done = on_a_full_disk("--data", data, "backup", str(tmp_path / "full"))
    assert (done.returncode, "disk is full" in done.stderr or "could not be written" in done.stderr) == (1, True)
    assert list((tmp_path / "full").iterdir()) == []
    done = on_a_full_disk("--data", data, "restore", "--replace", str(backup))
    assert (done.returncode, "Nothing that was there is lost" in done.stderr) == (1, True)
    assert numbers(shop) == {"1", "2", "later"}
    assert not (shop.data_folder / ".restoring").exists()
