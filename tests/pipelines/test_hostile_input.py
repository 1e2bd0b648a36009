"""Input made to do harm: formulas, markup, names that climb out of a folder, text that would be SQL or a log line."""

import ast
import csv
import io
import re
from collections.abc import Callable
from dataclasses import replace
from datetime import date
from pathlib import Path

import pandas as pd
import pytest
from streamlit.testing.v1 import AppTest

from analytics.errors import InputError
from analytics.vocabulary import Term, Vocabulary
from dashboards.sentences import plain
from pipelines.batches import Answers
from pipelines.bench_tickets import TicketRow
from pipelines.bundle_words import Proposal, read_mapping, write_mapping
from pipelines.catalogue import read_vocabulary, write_vocabulary
from pipelines.cli_review import write_tables
from pipelines.column_maps import ColumnMap, read_column_map, write_column_map
from pipelines.exports import export_open_repair
from pipelines.history import read_tickets
from pipelines.intake import save_ticket
from pipelines.review_parts import Part
from pipelines.settings import DATA_VARIABLE
from pipelines.spreadsheet_cells import FORMULA_MARKS, defuse, restore
from pipelines.ticket_search import Wanted, tickets_as_csv

pytestmark = pytest.mark.slow

ROOT = Path(__file__).resolve().parents[2]
TODAY = date(2026, 11, 25)
FORMULA = "=cmd|'/C calc'!A0"
MARKUP = "<img src=x onerror=alert(1)> ![x](//host/p.png) [go](javascript:alert(1)) :red[x] $a$"
SQL = "'); drop table tickets; --"
PATHS = "../../etc/passwd"
HOSTILE = {"formula": FORMULA, "markup": MARKUP, "sql": SQL, "path": PATHS, "log": "x\\n2026 ERROR root: let in"}


@pytest.fixture
def store_path(tmp_path: Path, tiny_vocabulary: Vocabulary) -> Path:
    """A store in which every free text of every ticket is hostile."""
    path = tmp_path / "store" / "faultodds.duckdb"
    for text in HOSTILE.values():
        ticket = TicketRow(
            shop=text, ticket_number=text, opened_on=date(2020, 5, 1), symptom="stuck", machine=text, complaint=text
        )
        save_ticket(ticket, store_path=path, vocabulary=tiny_vocabulary, today=TODAY)
    return path


def cells(text: str) -> list[str]:
    return [cell for row in csv.reader(io.StringIO(text)) for cell in row]


def export_open(store_path: Path, vocabulary: Vocabulary) -> str:
    path = store_path.with_name("open.csv")
    export_open_repair(path, store_path=store_path, vocabulary=vocabulary, country="")
    return path.read_text(encoding="utf-8")


def export_found(store_path: Path, _: Vocabulary) -> str:
    return tickets_as_csv(store_path, Wanted()).decode("utf-8")


def export_review(store_path: Path, _: Vocabulary) -> str:
    table = read_tickets(store_path)[["shop", "machine", "complaint"]].assign(**{FORMULA: 1.5})
    write_tables(iter([("checks", (Part("Which?", "None.", table),))]), store_path.parent / "review")
    return next((store_path.parent / "review").iterdir()).read_text(encoding="utf-8")


def export_answers(store_path: Path, _: Vocabulary) -> str:
    rows = pd.DataFrame({"case": list(HOSTILE.values()), "suspect": "plug_loose", "probability": 0.5})
    Answers(rows).write(store_path.with_name("answers.csv"))
    return store_path.with_name("answers.csv").read_text(encoding="utf-8")


def export_column_map(store_path: Path, _: Vocabulary) -> str:
    write_column_map(
        store_path.with_name("map.csv"), ColumnMap({"ticket": (FORMULA,)}, {"symptom": {FORMULA: "stuck"}})
    )
    return store_path.with_name("map.csv").read_text(encoding="utf-8")


def export_vocabulary(store_path: Path, vocabulary: Vocabulary) -> str:
    families = {**vocabulary.families, "crane": Term("crane", FORMULA, ("+1",), "-2")}
    folder = store_path.with_name("words")
    write_vocabulary(replace(vocabulary, families=families), folder)
    return "\n".join(path.read_text(encoding="utf-8") for path in folder.glob("*.csv"))


def export_mapping(store_path: Path, _: Vocabulary) -> str:
    proposals = tuple(Proposal("family", text, text, "", 12.5) for text in HOSTILE.values())
    write_mapping(store_path.with_name("mapping.csv"), proposals)
    return store_path.with_name("mapping.csv").read_text(encoding="utf-8")


EXPORTS = (
    export_mapping,
    export_open,
    export_found,
    export_review,
    export_answers,
    export_column_map,
    export_vocabulary,
)


@pytest.mark.parametrize("export", EXPORTS)
def test_no_export_holds_a_cell_that_a_spreadsheet_would_run(
    export: Callable[[Path, Vocabulary], str], store_path: Path, tiny_vocabulary: Vocabulary
) -> None:
    written = cells(export(store_path, tiny_vocabulary))
    assert any(cell == f"'{FORMULA}" for cell in written), "the formula is there, as text"
    assert [cell for cell in written if cell.lstrip(" ").startswith(FORMULA_MARKS)] == []


def test_every_place_that_writes_a_table_is_among_the_exports_tested() -> None:
    writers = re.compile(r"\.to_csv\(|csv\.writer\(|csv\.DictWriter\(|\.to_excel\(|Workbook\(")
    found = {path.stem for path in (ROOT / "pipelines").glob("*.py") if writers.search(path.read_text("utf-8"))}
    tested = {"exports", "ticket_search", "cli_review", "batches", "column_maps", "catalogue_tables"}
    defused = {stem for stem in found if "defuse" in (ROOT / "pipelines" / f"{stem}.py").read_text("utf-8")}
    assert found - defused == set(), "these write tables and defuse nothing"
    assert tested <= found


# OWASP, "CSV Injection": = + - @, tab, carriage return, line feed, and their wide forms.
@pytest.mark.parametrize("mark", ["=", "+", "-", "@", "\t", "\r", "\n", "＝", "＋", "－", "＠", " ="])
def test_a_defused_cell_is_text_and_comes_back(mark: str) -> None:
    cell = f"{mark}1+1"
    assert defuse(cell) == f"'{cell}"
    assert restore(f"'{cell}") == cell


def test_other_cells_and_numbers_are_left_alone() -> None:
    assert [defuse(cell) for cell in ("it's", "'tis", "5 - 3", -5, None, 2.5)] == [
        "it's",
        "'tis",
        "5 - 3",
        -5,
        None,
        2.5,
    ]
    assert restore("'tis") == "'tis"


def test_files_of_our_own_read_back_what_was_written(store_path: Path, tiny_vocabulary: Vocabulary) -> None:
    export_vocabulary(store_path, tiny_vocabulary)
    crane = read_vocabulary(store_path.with_name("words")).families["crane"]
    assert (crane.name, crane.aliases, crane.note) == (FORMULA, ("+1",), "-2")
    export_column_map(store_path, tiny_vocabulary)
    assert read_column_map(store_path.with_name("map.csv")).headers["ticket"] == (FORMULA,)
    export_mapping(store_path, tiny_vocabulary)
    read = read_mapping(store_path.with_name("mapping.csv"), tiny_vocabulary)
    assert {code for _, code in read} == set(HOSTILE.values())


def test_hostile_text_is_stored_as_it_came(store_path: Path) -> None:
    found = read_tickets(store_path)
    for column in ("shop", "ticket_number", "machine", "complaint"):
        assert set(found[column]) == set(HOSTILE.values()), column


@pytest.mark.parametrize("words", [*HOSTILE.values(), "%", "_", "\\", "'", '"', "*", "(", "[a-"])
def test_a_search_takes_any_text_literally(store_path: Path, words: str) -> None:
    found = cells(tickets_as_csv(store_path, Wanted(text=words)).decode("utf-8"))
    expected = [text for text in HOSTILE.values() if all(word in text.lower() for word in words.lower().split())]
    shops = {str(restore(cell)) for cell in found} & set(HOSTILE.values())
    assert shops == set(expected)


def test_markup_in_tickets_is_inert_on_the_page(
    store_path: Path, tiny_vocabulary: Vocabulary, monkeypatch: pytest.MonkeyPatch
) -> None:
    write_vocabulary(tiny_vocabulary, store_path.parent / "vocabulary")
    monkeypatch.setenv(DATA_VARIABLE, str(store_path.parent))
    page = AppTest.from_file(str(ROOT / "dashboards" / "sheets" / "tickets.py"), default_timeout=60).run()
    assert not page.exception
    told = [element.value for kind in (page.markdown, page.caption, page.error, page.info) for element in kind]
    assert not any(MARKUP in text or "<img" in text or "](javascript" in text for text in told)


# CommonMark 0.31, section 2.4: a backslash before ASCII punctuation makes it literal.
@pytest.mark.parametrize("text", [MARKUP, "[a](b)", "`x`", "# h", "|a|b|", ":material/home:", "$$x$$", "&lt;b&gt;"])
def test_what_goes_into_markdown_has_no_mark_left_bare(text: str) -> None:
    assert re.sub(r"\\[^\w\s]", "", plain(text)).strip(" ") == re.sub(r"[\\`*_{}\[\]()#+!|<>~$:&]", "", text).strip(" ")


@pytest.mark.parametrize("name", ["../up", "/etc/passwd", "..\\up", "a\x00b", "con/../../x"])
def test_a_name_that_climbs_opens_no_file(name: str, tmp_path: Path) -> None:
    from pipelines.column_maps import find_column_map

    with pytest.raises((InputError, ValueError)) as refused:
        read_column_map(find_column_map(name))
    assert isinstance(refused.value, InputError)
    assert list(tmp_path.iterdir()) == []


def test_no_sql_is_put_together_from_text() -> None:
    """Queries are files or constants: nothing is formatted, added or joined into what the store executes."""
    built = []
    for path in sorted((ROOT / "pipelines").glob("*.py")):
        for node in ast.walk(ast.parse(path.read_text("utf-8"))):
            if isinstance(node, ast.Call) and isinstance(node.func, ast.Attribute):
                is_query = node.func.attr in {"execute", "executemany", "sql"}
                if is_query and node.args and isinstance(node.args[0], ast.JoinedStr | ast.BinOp):
                    built.append(f"{path.name}:{node.lineno}")
    assert built == []


def test_nothing_that_is_typed_is_unpickled_or_evaluated() -> None:
    dangerous = re.compile(r"\b(pickle\.loads?|eval|exec|os\.system|yaml\.load|shell=True)\b")
    files = [*ROOT.glob("pipelines/*.py"), *ROOT.glob("dashboards/**/*.py"), *ROOT.glob("analytics/*.py")]
    assert [path.name for path in files if dangerous.search(path.read_text("utf-8"))] == []
