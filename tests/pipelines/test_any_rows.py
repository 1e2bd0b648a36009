"""Any rows, valid or not, in any order, split over files in any way and repeated, end in the same store.

The rule where two rows claim one ticket number with different words: the first one stored is the ticket, every other
waits in quarantine as a conflict. So the order decides which claim is the ticket, and nothing else. Dates are written
as ISO dates here: one written with slashes is read as its whole file says (see test_intake.py).
"""

import csv
import json
import shutil
from collections.abc import Iterable
from datetime import date
from itertools import pairwise
from pathlib import Path
from tempfile import TemporaryDirectory

import pandas as pd
import pytest
from hypothesis import HealthCheck, event, given, settings
from hypothesis import strategies as st

from analytics.vocabulary import Vocabulary
from pipelines.column_maps import FIELDS, read_column_map
from pipelines.intake import IngestReport, ingest_file
from pipelines.store import reading
from pipelines.store_checks import check_store
from pipelines.ticket_rows import dates_in, read_ticket_rows

pytestmark = pytest.mark.slow

TODAY = date(2026, 11, 25)
type Row = tuple[str, ...]

# Several spellings of the same thing, and things that cannot be.
CELLS = {
    "ticket": st.sampled_from(["2", " 2 ", "3", ""]),
    "shop": st.sampled_from(["Pier", "Harbour", "Pier "]),
    "machine": st.sampled_from(["", "M1"]),
    "family": st.sampled_from(["", "crane", "Crane grab", "submarine"]),
    "built_year": st.sampled_from(["", "1985", "3000"]),
    "opened_on": st.sampled_from(["2026-05-01", "2026-05-02", "2026-13-01", "2031-01-01", ""]),
    "closed_on": st.sampled_from(["", "2026-05-02", "2026-04-01"]),
    "symptom": st.sampled_from(["stuck", "Grab is stuck", "stuck; dark", "dark", "stuck; not: dark", "sings", ""]),
    "complaint": st.sampled_from(["", "won't grab", 'said "no", twice', "=1+1"]),
    "suspect": st.sampled_from(
        ["", "plug_loose", "Plug loose", "plug_loose; coil_open", "coil_open; plug_loose", "elf"]
    ),
    "confirmation": st.sampled_from(["", "cured", "symptom_went_away", "guessed"]),
    "result": st.sampled_from(["", "fixed", "not_fixed", "no_fault_found", "exploded"]),
    "checks": st.sampled_from(
        [
            "",
            "look_at_plug = clear",
            "look_at_plug = clear / 2; meter_coil = clear",
            "look_at_plug: perhaps",
            "look at plug = clear / 2.0; meter_coil = clear",
        ]
    ),
    "minutes": st.sampled_from(["", "12", "12.0", "-3", "soon"]),
}
# Most rows are good ones: with so many ways to be wrong, chance alone would hardly make a ticket.
GOOD = {**dict.fromkeys(FIELDS, ""), "ticket": "1", "shop": "Pier", "opened_on": "2026-05-01", "symptom": "stuck"}


@st.composite
def rows(draw: st.DrawFn) -> Row:
    """A good row with one to three cells drawn anew."""
    changed = draw(st.sets(st.sampled_from(FIELDS), min_size=1, max_size=3))
    return tuple(draw(CELLS[name]) if name in changed else GOOD[name] for name in FIELDS)


@st.composite
def arrangements(draw: st.DrawFn) -> tuple[list[list[Row]], list[list[Row]]]:
    """The same rows, with repeats, twice: each time in another order and split over other files."""
    some = draw(st.lists(rows(), min_size=3, max_size=7))
    repeated = some + draw(st.lists(st.sampled_from(some), max_size=4))
    return split(draw, draw(st.permutations(repeated))), split(draw, draw(st.permutations(repeated)))


def split(draw: st.DrawFn, some: list[Row]) -> list[list[Row]]:
    cuts = sorted({0, len(some), *draw(st.sets(st.integers(0, len(some)), max_size=2))})
    return [some[start:end] for start, end in pairwise(cuts)]


@pytest.fixture(scope="session")
def empty_store(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("empty") / "faultodds.duckdb"
    with reading(path):
        pass
    return path


@settings(max_examples=15, deadline=None, derandomize=True, suppress_health_check=[HealthCheck.too_slow])
@given(both=arrangements())
def test_any_rows_in_any_order_and_split_end_in_the_same_store(
    both: tuple[list[list[Row]], list[list[Row]]], empty_store: Path, tiny_vocabulary: Vocabulary
) -> None:
    said = {row: alone(row, tiny_vocabulary) for files in both for file in files for row in file}
    claims: dict[str, set[str]] = {}
    for ticket, words in said.values():
        if ticket:
            claims.setdefault(ticket, set()).add(words)
    event(f"contested numbers: {sum(len(words) > 1 for words in claims.values())}")
    event(f"refused rows: {sum(not key for key, _ in said.values())}")
    ends = []
    for files in both:
        with TemporaryDirectory() as folder:
            store = Path(folder) / "faultodds.duckdb"
            shutil.copy(empty_store, store)
            reports = [ingest(file, Path(folder), store, tiny_vocabulary) for file in files]
            assert all(r.rows_in == r.stored + r.quarantined + r.duplicates for r in reports)
            assert sum(r.rows_in for r in reports) == sum(map(len, files))
            assert check_store(store, tiny_vocabulary).empty
            tickets, waiting = tickets_in(store), quarantine_in(store)
        assert sum(r.stored for r in reports) == len(tickets)
        # the first claim is the ticket, every different one waits
        assert tickets == first_claims(files, said)
        assert {ticket: words | {tickets[ticket]} for ticket, words in conflicts(waiting, said).items()} == {
            ticket: words for ticket, words in claims.items() if len(words) > 1
        }
        ends.append((tickets, waiting))
    (one, one_waits), (other, other_waits) = ends
    assert one.keys() == other.keys() == claims.keys()
    assert {t: w for t, w in one.items() if len(claims[t]) == 1} == {
        t: w for t, w in other.items() if len(claims[t]) == 1
    }
    assert refused(one_waits) == refused(other_waits) == {(row, words) for row, (key, words) in said.items() if not key}


def ingest(file: list[Row], folder: Path, store: Path, vocabulary: Vocabulary) -> IngestReport:
    path = folder / "tickets.csv"
    with path.open("w", encoding="utf-8", newline="") as text:
        csv.writer(text).writerows([FIELDS, *file])
    return ingest_file(
        path, store_path=store, vocabulary=vocabulary, shop="", column_map=read_column_map(None), today=TODAY
    )


def alone(row: Row, vocabulary: Vocabulary) -> tuple[str, str]:
    """What a row says by itself: (ticket id, its words), or ("", reason code)."""
    texts = pd.DataFrame([row], columns=list(FIELDS), index=[2], dtype="str")
    read = read_ticket_rows(texts, vocabulary, today=TODAY, reading=dates_in(texts))
    if len(read.problems):
        return "", str(read.problems["reason_code"].iloc[0])
    key = str(read.tickets["ticket_id"].iloc[0])
    parts = (read.tickets, read.symptoms, read.suspects, read.checks)
    return key, words_of([part.drop(columns=["line", "ticket_id"]) for part in parts])


def words_of(parts: Iterable[pd.DataFrame]) -> str:
    """One text for all that a ticket says, its parts sorted."""
    told = []
    for part in parts:
        cells = part[sorted(part.columns)].astype("object")
        told.append(sorted(str([plain(cell) for cell in row]) for row in cells.itertuples(index=False)))
    return str(told)


def plain(cell: object) -> str:
    if cell is None or pd.isna(cell):
        return ""
    return str(cell.date()) if isinstance(cell, pd.Timestamp) else str(cell)


def tickets_in(store: Path) -> dict[str, str]:
    """ticket id -> its words."""
    with reading(store) as con:
        tickets = con.execute("select * exclude (source, file_hash, line, ticket_order) from tickets").df()
        parts = [con.execute(f"from {name}").df() for name in ("ticket_symptoms", "ticket_suspects", "ticket_checks")]
    return {
        key: words_of(part[part["ticket_id"] == key].drop(columns="ticket_id") for part in (tickets, *parts))
        for key in tickets["ticket_id"]
    }


def quarantine_in(store: Path) -> set[tuple[Row, str]]:
    """(raw cells, reason code) of each row that waits."""
    with reading(store) as con:
        found = con.execute("select cells, reason_code from quarantine join raw_rows using (file_hash, line)").df()
    return {
        (tuple(json.loads(cells).get(name, "") for name in FIELDS), code)
        for cells, code in zip(found["cells"], found["reason_code"], strict=True)
    }


def first_claims(files: list[list[Row]], said: dict[Row, tuple[str, str]]) -> dict[str, str]:
    first: dict[str, str] = {}
    for row in (row for file in files for row in file):
        key, words = said[row]
        if key:
            first.setdefault(key, words)
    return first


def conflicts(waiting: set[tuple[Row, str]], said: dict[Row, tuple[str, str]]) -> dict[str, set[str]]:
    found: dict[str, set[str]] = {}
    for row, code in waiting:
        if code == "conflict":
            key, words = said[row]
            found.setdefault(key, set()).add(words)
    return found


def refused(waiting: set[tuple[Row, str]]) -> set[tuple[Row, str]]:
    return {(row, code) for row, code in waiting if code != "conflict"}
