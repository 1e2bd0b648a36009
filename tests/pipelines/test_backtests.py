"""A backtest through the command line: what is scored, what is kept, what is said."""

import csv
import json
from datetime import date, timedelta
from pathlib import Path

import pytest
from click.testing import CliRunner

from analytics.errors import InputError
from analytics.vocabulary import Vocabulary
from pipelines.backtest_files import read_backtest
from pipelines.catalogue import write_vocabulary
from pipelines.cli import faultodds
from pipelines.column_maps import read_column_map
from pipelines.history import read_closed_cases
from pipelines.intake import ingest_file
from pipelines.settings import Settings

FIELDS = ["ticket", "opened_on", "symptom", "family", "built_year", "complaint", "suspect", "confirmation", "checks"]
SAYINGS = {"Plug loose": "rattles when tilted", "Switch dirty": "sparks and smells", "Coil open": "completely dead"}
FIRST_DAY, TICKETS = date(2020, 1, 1), 120


@pytest.fixture(scope="module")
def place(tmp_path_factory: pytest.TempPathFactory, tiny_vocabulary: Vocabulary) -> Settings:
    """A ticket a day; every tenth one merely went away, every seventh is unresolved."""
    settings = Settings(tmp_path_factory.mktemp("backtest"))
    settings.data_folder.joinpath("vocabulary").mkdir()
    write_vocabulary(tiny_vocabulary, settings.data_folder / "vocabulary")
    rows = []
    for at in range(TICKETS):
        suspect, words = list(SAYINGS.items())[(at * at) % 3]
        named = [suspect, "symptom_went_away" if at % 10 == 0 else "cured"] if at % 7 else ["", ""]
        day = (FIRST_DAY + timedelta(days=at)).isoformat()
        rows.append([at, day, "stuck", "crane", 1960, words, *named, "look at plug = clear / 2; meter coil = clear"])
    with (settings.data_folder / "tickets.csv").open("w", encoding="utf-8", newline="") as stream:
        csv.writer(stream).writerows([FIELDS, *rows])
    report = ingest_file(
        settings.data_folder / "tickets.csv",
        store_path=settings.store_path,
        vocabulary=tiny_vocabulary,
        shop="Pier",
        column_map=read_column_map(),
        today=date(2026, 11, 25),
    )
    assert report.stored == TICKETS
    return settings


def test_closed_cases_hold_what_was_known_in_its_order(place: Settings, tiny_vocabulary: Vocabulary) -> None:
    since, until = date(2020, 1, 10), date(2020, 1, 20)
    frame = read_closed_cases(place.store_path, tiny_vocabulary, since=since, until=until)
    # Days 9 to 18 (from 0) without day 14, which is unresolved.
    assert [(day.date() - FIRST_DAY).days for day in frame["opened_on"]] == [9, 10, 11, 12, 13, 15, 16, 17, 18]
    assert frame.iloc[0][["age", "age_band", "results", "confirmation", "weight"]].to_list() == [
        *(60.0, "old", "look_at_plug=clear;meter_coil=clear", "cured", 1.0)
    ]


def test_an_empty_store_has_nothing_to_score(tmp_path: Path) -> None:
    answer = CliRunner().invoke(faultodds, ["--data", str(tmp_path), "backtest"])
    assert isinstance(answer.exception, InputError)
    assert str(answer.exception).startswith("No ticket with a confirmed suspect is stored yet")


@pytest.mark.slow
def test_backtest_scores_later_cured_tickets_and_is_kept(place: Settings) -> None:
    answer = CliRunner().invoke(faultodds, ["--data", str(place.data_folder), "backtest", "--folds", "1"])
    assert answer.exception is None
    assert "Scored are tickets confirmed as reproduced and cured, or cured" in answer.output
    found = read_backtest(place)
    assert found is not None
    # The second half of the days 1 (the first with a suspect) to 118: from day 1 + 59 on; named, not of a tenth day.
    scored = [at for at in range(60, 119) if at % 7 and at % 10]
    table = found.table.set_index("method")
    assert table.loc["this model", "tickets"] == len(scored)
    assert found.folds.loc[0, "start"] == (FIRST_DAY + timedelta(days=60)).isoformat()
    assert found.folds.loc[0, "scored"] == len(scored)
    # The words say which suspect it was, nothing else does.
    assert table.loc["this model, + owner's words", "log_loss"] < table.loc["this model", "log_loss"] / 2
    assert table.loc["this model, + those and the first check", "tickets"] == len(scored)
    assert "this model, + those and the first two checks" not in table.index
    assert json.loads((place.data_folder / "backtest.json").read_text(encoding="utf-8"))["folds"]
