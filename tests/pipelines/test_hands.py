"""Several processes on one store lose nothing, and neither does a kill at any moment; and a loss would be noticed."""

from pathlib import Path

import pytest

from benchmarks.hands import KILLED_KINDS, try_crowd, try_kills
from benchmarks.hands_checks import find_losses
from benchmarks.hands_work import Place, prepare
from pipelines.catalogue import read_vocabulary
from pipelines.settings import Settings, seed_folder
from pipelines.store import writing

pytestmark = pytest.mark.slow


def test_four_writers_and_a_refit_lose_nothing_and_nobody_is_refused(tmp_path: Path) -> None:
    crowd = try_crowd(tmp_path, ("ingest", "ingest", "save", "session close"), 6)
    assert crowd.losses == ()
    assert crowd.refused == 0
    assert crowd.acknowledged == 4 * 6 + 4
    assert crowd.longest_wait_seconds < 10.0


def test_a_kill_at_any_moment_loses_nothing_that_was_acknowledged(tmp_path: Path) -> None:
    rows = try_kills(tmp_path, KILLED_KINDS, 12)
    assert [loss for row in rows for loss in row.losses] == []
    assert sum(row.kills for row in rows) == 12
    assert sum(row.inside_a_step for row in rows) > 0


def test_a_lost_ticket_a_doubled_one_and_a_broken_store_are_noticed(tmp_path: Path) -> None:
    place = Place(tmp_path / "data", tmp_path / "inbox", tmp_path / "notes")
    prepare(place)
    vocabulary = read_vocabulary(seed_folder() / "vocabulary")
    assert find_losses(place, [], vocabulary) == []
    assert find_losses(place, ["ticket never-stored"], vocabulary) == ["ticket never-stored: 0 times"]
    assert find_losses(place, ["fit never-stored"], vocabulary) == ["fit never-stored: 0 times"]
    path = Settings(place.data).store_path
    with writing(path) as con:
        number = con.execute("select min(ticket_number) from tickets").fetchall()[0][0]
        con.execute("insert into tickets by name select * replace ('twin' as ticket_id) from tickets "
                    "where ticket_number = $number", {"number": number})  # fmt: skip
    found = find_losses(place, [f"ticket {number}"], vocabulary)
    assert found[0] == f"ticket {number}: 2 times"
    assert any("rows_conserved" in line for line in found)
    path.write_bytes(b"\0" * 1000)
    assert find_losses(place, [], vocabulary)[0].startswith("not readable:")
