"""The bench on the terminal: from the complaint to the closed ticket, answers piped in."""

import re
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from analytics.cautions import DEFER
from pipelines.cli import faultodds
from pipelines.settings import Settings
from pipelines.store import reading

BEGIN = ("Crane 3", "crane", "1962", "jaws do not move", "it just sits there")


def run(settings: Settings, *words: str, answers: tuple[str, ...] = ()) -> Result:
    return CliRunner().invoke(
        faultodds, ["--data", str(settings.data_folder), *words], input="".join(f"{line}\n" for line in answers)
    )


def code_of(result: Result) -> str:
    found = re.search(r"--resume (\w{6})", result.output)
    assert found
    return found[1]


def tickets(settings: Settings) -> list[tuple[object, ...]]:
    with reading(settings.store_path) as con:
        return con.execute(
            "select shop, machine, family, built_year, symptom, complaint, result, confirmation, minutes, suspect "
            "from tickets join ticket_suspects using (ticket_id)"
        ).fetchall()


def test_session_leads_from_complaint_to_closed_ticket(bench_settings: Settings) -> None:
    # the plan begins with reseating the plug (3 min, "often"), then cleaning the switch
    result = run(bench_settings, "bench", "--shop", "Pier", answers=(*BEGIN, "2", "3", "1", "6.5", "x", "", "", "", ""))
    assert result.exception is None, result.output
    assert "First check: Reseat the plug" in result.output
    assert "First check: Clean the switch" in result.output
    assert DEFER in result.output
    assert "Caution - Mains inside" in result.output
    assert tickets(bench_settings) == [
        ("Pier", "Crane 3", "crane", 1962, "stuck", "it just sits there", "fixed", "cured", 9.5, "switch_dirty")
    ]


def test_session_left_on_one_device_goes_on_at_another(bench_settings: Settings) -> None:
    first = run(bench_settings, "bench", "--shop", "Pier", answers=(*BEGIN, "2", "", "q"))
    code = code_of(first)
    assert code in run(bench_settings, "bench", "--open").output
    second = run(bench_settings, "bench", "--resume", code.lower(), answers=("u", "1", "3", "x", "", "", "", ""))
    assert second.exception is None, second.output
    assert tickets(bench_settings)[0][-1] == "plug_loose"
    third = run(bench_settings, "bench", "--resume", code)
    assert third.exit_code != 0
    score = run(bench_settings, "bench", "--score")
    assert code in score.output


def test_input_that_ends_early_keeps_what_was_recorded(bench_settings: Settings) -> None:
    cut_off = run(bench_settings, "bench", "--shop", "Pier", answers=(*BEGIN, "2", "3"))
    code = code_of(cut_off)
    assert "stays open" in cut_off.output
    resumed = run(bench_settings, "bench", "--resume", code, answers=("q",))
    assert "First check: Clean the switch" in resumed.output


def test_second_fault_is_asked_for_when_the_complaint_remains(bench_settings: Settings) -> None:
    answers = (*BEGIN, "1", "3", "r", "plug loose", "1", "6", "x", "", "", "", "")
    result = run(bench_settings, "bench", "--shop", "Pier", answers=answers)
    assert result.exception is None, result.output
    assert "repaired already: Plug loose" in result.output
    assert {row[-1] for row in tickets(bench_settings)} == {"plug_loose", "switch_dirty"}


def test_word_nobody_knows_is_asked_again_with_the_closest(bench_settings: Settings) -> None:
    answers = ("", "", "", "the moon is full", "1", "", "other", "q")
    result = run(bench_settings, "bench", "--shop", "Pier", answers=answers)
    assert "Nothing is called 'the moon is full'" in result.output
    assert "'other' is none of the choices" in result.output


@pytest.mark.parametrize("ending", ["html", "pdf"])
def test_card_of_a_session_is_written(bench_settings: Settings, tmp_path: Path, ending: str) -> None:
    code = code_of(run(bench_settings, "bench", "--shop", "Pier", answers=(*BEGIN, "q")))
    out = tmp_path / f"card.{ending}"
    result = run(bench_settings, "card", code, "--out", str(out))
    assert result.exception is None, result.output
    assert out.read_bytes()[:4] in (b"<!DO", b"%PDF")
    refused = run(bench_settings, "card", code, "--out", str(tmp_path / "card.txt"))
    assert "ends in .html or .pdf" in str(refused.exception)


def test_readiness_is_told_in_words_and_grows_with_what_passed(bench_settings: Settings) -> None:
    before = run(bench_settings, "ready", "--family", "crane")
    after = run(bench_settings, "ready", "--family", "crane", "--passed", "Reseat the plug", "--passed", "clean_switch")
    assert "Works when switched on: about 5 in 10" in before.output
    assert re.search(r"Works when switched on: about [678] in 10", after.output)
    assert DEFER in after.output


def test_discharge_says_seconds_and_published_limits() -> None:
    # RC rule: 170 V, 100 kilohm, 47 uF: 4.895 s to 60 V
    result = CliRunner().invoke(faultodds, ["discharge", "170", "100", "47"])
    assert "IEC 60204-1, 6.2.4 (machinery): 60 V after 4.9 s, within its 5 s" in result.output
    assert DEFER in result.output
