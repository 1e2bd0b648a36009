"""The review as a shop meets it: figures of small stores counted by hand, refusals, files to print."""

import json
from collections.abc import Callable, Sequence
from datetime import date
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from analytics.case import CheckResult
from analytics.errors import InputError
from analytics.vocabulary import Vocabulary
from pipelines.bench_tickets import TicketRow
from pipelines.catalogue import write_vocabulary
from pipelines.cli import main
from pipelines.intake import save_ticket
from pipelines.machines_kept import NAME, machines_kept_path, read_machines_kept
from pipelines.review_arrivals import QUESTION_LOAD, read_history, review_arrivals
from pipelines.review_checks import HITS, MADE, QUESTION_FIX, SETTLED, review_checks
from pipelines.review_figures import TABLE_ROWS
from pipelines.review_machines import QUESTION as QUESTION_MACHINES
from pipelines.review_parts import Part
from pipelines.review_pdf import report_pdf
from pipelines.review_quarters import NO_CHANGE, QUARTER, QUESTION_FIRST, fill_quarters, first_check_part
from pipelines.review_replays import QUESTION as QUESTION_PLAN
from pipelines.review_report import report_html
from pipelines.settings import Settings

TODAY = date(2026, 11, 25)
CLEAR, FOUND = CheckResult("look_at_plug", "clear", 2.0), CheckResult("look_at_plug", "fault_found", 2.0)


@pytest.fixture
def settings(tmp_path: Path, tiny_vocabulary: Vocabulary) -> Settings:
    settings = Settings(tmp_path / "data")
    write_vocabulary(tiny_vocabulary, settings.data_folder / "vocabulary")
    return settings


def store(settings: Settings, vocabulary: Vocabulary, repairs: Sequence[tuple[date, tuple[CheckResult, ...]]]) -> None:
    """Tickets; those whose last check cured are fixed."""
    for number, (day, checks) in enumerate(repairs):
        is_fixed = checks[-1].outcome == "cured"
        ticket = TicketRow(
            shop="Pier",
            ticket_number=str(number),
            opened_on=day,
            symptom="stuck",
            family="crane",
            suspects=("plug_loose",) if is_fixed else (),
            result="" if is_fixed else "not_fixed",
            checks=checks,
            minutes=30.0,
        )
        save_ticket(ticket, store_path=settings.store_path, vocabulary=vocabulary, today=TODAY)


def figure(parts: Sequence[Part], question: str) -> Part:
    return next(part for part in parts if part.question == question)


def cure(vocabulary: Vocabulary, outcome: str) -> CheckResult:
    remedy = next(check.code for check in vocabulary.checks_for("stuck") if "plug_loose" in check.cures)
    return CheckResult(remedy, outcome, 4.0)


def test_settling_hits_and_minutes_are_those_counted_by_hand(settings: Settings, tiny_vocabulary: Vocabulary) -> None:
    cured, failed = cure(tiny_vocabulary, "cured"), cure(tiny_vocabulary, "not_cured")
    days = [date(2026, month, 3) for month in range(1, 7)]
    repairs = [(FOUND, cured), (CLEAR, failed, cured), (FOUND, failed), (FOUND, cured), (CLEAR,), (CLEAR, failed)]
    store(settings, tiny_vocabulary, list(zip(days, repairs, strict=True)))
    table = figure(review_checks(settings, today=TODAY), QUESTION_FIX).table.set_index("check")
    remedy, look = (tiny_vocabulary.checks[code].name for code in (cured.check, "look_at_plug"))
    # the remedy: six tries on five tickets, three cures, each the end of its ticket; the look found on three of six
    assert tuple(table.loc[remedy, [MADE, "tickets", HITS, SETTLED]]) == (6, 5, 3, 3)
    assert tuple(table.loc[look, [MADE, "tickets", HITS, SETTLED]]) == (6, 6, 3, 0)
    # 3 fixes in 6 x 4 minutes are 7.5 an hour
    assert table.loc[remedy, "plain count"] == pytest.approx(7.5)
    assert table.loc[remedy, "from"] < table.loc[remedy, "fixes per hour"] < table.loc[remedy, "to"]


def test_without_a_fit_the_plan_is_not_compared_and_the_review_says_so(
    settings: Settings, tiny_vocabulary: Vocabulary
) -> None:
    store(settings, tiny_vocabulary, [(date(2026, 3, 3), (CLEAR, cure(tiny_vocabulary, "cured")))])
    assert "no fit" in figure(review_checks(settings, today=TODAY), QUESTION_PLAN).finding


def test_a_change_is_told_with_its_quarter_and_none_is_said_to_be_none() -> None:
    days = pd.date_range("2020-01-01", periods=20, freq="QS")
    steady = pd.DataFrame({"quarter": days, "first_made": 100, "first_hits": 30, "raw_median": np.nan})
    assert NO_CHANGE in first_check_part(fill_quarters(steady)).finding
    moved = steady.assign(first_hits=np.where(np.arange(20) < 12, 30, 60))
    told = first_check_part(fill_quarters(moved)).finding
    assert "From 2023 Q1 on" in told
    assert "from about 3 in 10 to about 6 in 10" in told


def test_a_quarter_without_tickets_keeps_its_place() -> None:
    days = pd.to_datetime(["2025-01-01", "2025-07-01"])
    rows = pd.DataFrame({"quarter": days, "first_made": [5, 6], "first_hits": [1, 2], "raw_median": [3.0, 4.0]})
    assert list(fill_quarters(rows)[QUARTER]) == ["2025 Q1", "2025 Q2", "2025 Q3"]
    assert list(fill_quarters(rows)["first_made"]) == [5, 0, 6]


def months(first: str, periods: int) -> pd.DataFrame:
    starts = pd.date_range(first, periods=periods, freq="MS")
    row = {"family": "crane", "symptom": "stuck", "tickets": 4}
    return pd.DataFrame({"month": starts, **row, "first_day": starts + pd.Timedelta(days=9), "last_day": starts})


def test_the_month_that_runs_is_not_counted_and_the_first_one_from_its_first_ticket() -> None:
    history = read_history(months("2026-01-01", 11), TODAY)
    assert len(history.tickets) == 10
    assert history.months.days[0] == 31 - 9
    assert list(history.ahead.number % 12) == [10, 11, 0]


def test_quiet_months_count_as_none_and_a_long_silence_is_said() -> None:
    quiet = read_history(months("2025-01-01", 20), TODAY)
    assert (quiet.gap, list(quiet.tickets[-2:])) == (0, [0.0, 0.0])
    silent = read_history(months("2024-01-01", 20), TODAY)
    assert (silent.gap, len(silent.tickets)) == (14, 20)


def test_too_few_months_are_said(settings: Settings, tiny_vocabulary: Vocabulary) -> None:
    store(settings, tiny_vocabulary, [(date(2026, 9, 3), (CLEAR,))])
    (only,) = review_arrivals(settings, today=TODAY)
    assert "from 6 on" in only.finding


def test_machines_kept_give_a_rate_and_those_not_told_are_named(
    settings: Settings, tiny_vocabulary: Vocabulary
) -> None:
    store(settings, tiny_vocabulary, [(date(2026, month, 3), (CLEAR,)) for month in range(1, 11)])
    missing = figure(review_arrivals(settings, today=TODAY), QUESTION_MACHINES)
    assert NAME in missing.finding
    machines_kept_path(settings).write_text("shop,family,machines\nPier,crane,5\n", encoding="utf-8")
    row = figure(review_arrivals(settings, today=TODAY), QUESTION_MACHINES).table.iloc[0]
    # ten tickets in 5 x 3 machine-years
    assert row["from"] < 10 / 15 < row["to"]


def test_a_bad_line_of_machines_is_refused_by_its_number(settings: Settings, tiny_vocabulary: Vocabulary) -> None:
    text = "shop,family,machines\nPier,crane,5\nPier,whale,2\n,crane,1\nPier,crane,9\nQuay,crane,many\n"
    machines_kept_path(settings).write_text(text, encoding="utf-8")
    with pytest.raises(InputError) as refused:
        read_machines_kept(settings, tiny_vocabulary)
    told = str(refused.value)
    assert [f"line {line}" in told for line in (2, 3, 4, 5, 6)] == [False, True, True, True, True]
    assert "whole number" in told


@pytest.fixture
def run(settings: Settings, capsys: pytest.CaptureFixture[str]) -> Callable[..., tuple[int, str]]:
    def call(*words: str) -> tuple[int, str]:
        try:
            main(["--data", str(settings.data_folder), *words])
            code = 0
        except SystemExit as stop:
            code = int(stop.code or 0)
        told = capsys.readouterr()
        return code, told.out + told.err

    return call


def test_an_empty_shop_is_told_what_to_do(run: Callable[..., tuple[int, str]], settings: Settings) -> None:
    code, told = run("review")
    assert (code, "faultodds ingest" in told) == (1, True)
    assert not settings.store_path.exists()


def test_the_review_comes_as_text_json_tables_and_pages(
    run: Callable[..., tuple[int, str]], settings: Settings, tiny_vocabulary: Vocabulary, tmp_path: Path
) -> None:
    cured = cure(tiny_vocabulary, "cured")
    store(settings, tiny_vocabulary, [(date(2026, month, 3), (CLEAR, cured)) for month in range(1, 11)])
    assert QUESTION_FIX in run("review", "checks")[1]
    assert json.loads(run("review", "arrivals", "--json")[1])["arrivals"][0]["question"] == QUESTION_LOAD
    run("review", "checks", "--csv", str(tmp_path / "tables"))
    assert len(list((tmp_path / "tables").glob("checks_*.csv"))) >= 4
    for name in ("month.html", "month.pdf"):
        code, _ = run("review", "--report", str(tmp_path / name))
        assert code == 0
    assert QUESTION_FIRST in (tmp_path / "month.html").read_text(encoding="utf-8")
    assert (tmp_path / "month.pdf").read_bytes().startswith(b"%PDF")
    code, told = run("review", "--report", str(tmp_path / "month.doc"))
    assert (code, ".html or .pdf" in told) == (1, True)
    assert run("review", "--json", "--csv", str(tmp_path))[0] == 1


def test_what_a_vocabulary_says_stays_text_on_the_printed_page() -> None:
    table = pd.DataFrame({"check": ["<script>x</script>", *"abcdef"], "fixes per hour": [1234.5, *range(6)]})
    parts = {"checks": (Part("Which & why?", "<b>this</b> ☃", table, ("A note.", "A note.")),)}
    page = report_html(parts, made_on=TODAY)
    assert "<script>" not in page
    assert "&lt;script&gt;" in page
    assert "Which &amp; why?" in page
    assert page.count("A note.") == 1
    assert page.count("<tr>") == TABLE_ROWS + 1
    assert "http" not in page.replace("http-equiv", "")
    assert report_pdf(parts, made_on=TODAY).startswith(b"%PDF")
