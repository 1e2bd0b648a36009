"""The command line as a newcomer meets it, nonsense included."""

import re
from collections.abc import Callable
from pathlib import Path

import pytest

from pipelines.cli import main
from pipelines.settings import seed_folder
from pipelines.store import data_version, reading

# A real JPEG begins so; the rest does not matter.
PHOTO = bytes.fromhex("ffd8ffe000104a46494600010100000100010000ffdb0043") + bytes(range(256)) * 8
HEADER = "ticket,opened_on,symptom,built_year,complaint\n"
NONSENSE: dict[str, tuple[bytes, str]] = {
    "empty.csv": (b"", "empty"),
    "photo.csv": (PHOTO, "not a table|not text|picture|binary"),
    "wide.csv": (",".join(f"c{at}" for at in range(1000)).encode() + b"\n", "1,000 columns"),
    "no_symptom.csv": (b"ticket,opened_on\n1,2020-01-01\n", "symptom"),
}
QUARANTINED: dict[str, tuple[bytes, str]] = {
    "year.csv": (f"{HEADER}1,2020-01-01,Will not park,19e9,\n".encode(), "'19e9' is not a year"),
    "formula.csv": (f"{HEADER}1,2020-01-01,=cmd|' /C calc'!A0,1950,\n".encode(), "=cmd"),
    "ghost.csv": (f"{HEADER}1,2020-01-01,haunted by the sea,1950,\n".encode(), "haunted by the sea"),
}


@pytest.fixture
def run(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> Callable[..., tuple[int, str]]:
    def call(*words: str) -> tuple[int, str]:
        try:
            main(["--data", str(tmp_path / "data"), *words])
            code = 0
        except SystemExit as stop:
            code = int(stop.code or 0)
        told = capsys.readouterr()
        return code, told.out + told.err

    return call


@pytest.fixture
def stored(run: Callable[..., tuple[int, str]], tmp_path: Path) -> Path:
    assert run("ingest", str(seed_folder() / "ticket_template.csv"), "--shop", "Harbour")[0] == 0
    return tmp_path / "data" / "faultodds.duckdb"


@pytest.mark.parametrize("name", NONSENSE)
def test_what_is_no_ticket_file_is_refused_in_a_sentence_and_nothing_changes(
    name: str, run: Callable[..., tuple[int, str]], stored: Path, tmp_path: Path
) -> None:
    content, expected = NONSENSE[name]
    (tmp_path / name).write_bytes(content)
    with reading(stored) as con:
        before = data_version(con)
    code, told = run("ingest", str(tmp_path / name), "--shop", "Harbour")
    assert code == 1
    assert re.search(expected, told)
    assert "Traceback" not in told
    with reading(stored) as con:
        assert data_version(con) == before


@pytest.mark.parametrize("name", QUARANTINED)
def test_a_row_that_makes_no_sense_waits_in_quarantine(
    name: str, run: Callable[..., tuple[int, str]], stored: Path, tmp_path: Path
) -> None:
    content, expected = QUARANTINED[name]
    (tmp_path / name).write_bytes(content)
    with reading(stored) as con:
        before = data_version(con)
    code, told = run("ingest", str(tmp_path / name), "--shop", "Harbour")
    assert (code, "in quarantine 1" in told) == (0, True)
    assert expected in run("quarantine")[1].replace("\n", " ") or expected in told
    assert run("check")[0] == 0
    with reading(stored) as con:
        assert data_version(con) == before


def test_invalid_utf8_is_read_as_what_it_is(run: Callable[..., tuple[int, str]], tmp_path: Path) -> None:
    (tmp_path / "old.csv").write_bytes(f"{HEADER}1,2020-01-01,Will not park,1950,Rückt nicht heim\n".encode("cp1252"))
    code, told = run("ingest", str(tmp_path / "old.csv"), "--shop", "Harbour")
    assert (code, "stored as tickets 1" in told) == (0, True)


def test_the_same_file_twice_changes_nothing(run: Callable[..., tuple[int, str]], stored: Path) -> None:
    with reading(stored) as con:
        before = data_version(con)
    run("ingest", str(seed_folder() / "ticket_template.csv"), "--shop", "Harbour")
    with reading(stored) as con:
        assert data_version(con) == before


def test_asking_before_the_first_fit_names_the_command_to_run(run: Callable[..., tuple[int, str]]) -> None:
    code, told = run("suspects", "will_not_park")
    assert (code, "faultodds fit" in told) == (1, True)


def test_fitting_without_tickets_names_the_command_to_run(run: Callable[..., tuple[int, str]]) -> None:
    code, told = run("fit")
    assert (code, "faultodds ingest" in told) == (1, True)


def test_the_seeded_vocabulary_holds_together(run: Callable[..., tuple[int, str]]) -> None:
    assert run("vocabulary", "check")[0] == 0
