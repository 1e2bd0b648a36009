"""Complaints of the store become lessons and come back with the fit; like tickets are found. Counted by hand."""

import csv
from dataclasses import replace
from datetime import date
from pathlib import Path

import numpy as np
import pytest

from analytics.case import Case
from analytics.complaint import symptom_odds, text_log_likelihood, words_that_moved
from analytics.posterior import Posterior
from analytics.suspects import belief
from analytics.vocabulary import Vocabulary
from pipelines.column_maps import read_column_map
from pipelines.complaints import learn_complaints
from pipelines.history import read_complaints, read_like_tickets
from pipelines.intake import ingest_file
from pipelines.posteriors import read_posterior, write_posterior

TODAY = date(2026, 11, 25)
STUCK = ("plug_loose", "switch_dirty", "coil_open", "something_else")
TOLD = {"Plug loose": "Wackelt man am Stecker, geht es", "Coil open": "Ça sent le brûlé 🔥"}
FIELDS = ["ticket", "opened_on", "symptom", "family", "built_year", "complaint", "suspect", "confirmation", "result"]
OTHERS = [
    ["61", "2020-05-01", "stuck", "", "", "  ", "Plug loose", "cured", "fixed"],
    ["62", "2020-05-01", "stuck; not: dark", "", "1955", "No idea", "", "", "not_fixed"],
    ["63", "2020-05-01", "stuck", "piano", "", "", "Switch dirty", "symptom_went_away", "fixed"],
    ["64", "2020-04-30", "stuck", "piano", "", "", "Switch dirty", "reproduced_and_cured", "fixed"],
    ["65", "2020-05-01", "stuck", "crane", "", "", "Switch dirty; Coil open", "symptom_went_away", "fixed"],
]


@pytest.fixture(scope="module")
def store_path(tmp_path_factory: pytest.TempPathFactory, tiny_vocabulary: Vocabulary) -> Path:
    """Thirty tickets of each saying, one without words, one unresolved, three of another suspect."""
    folder = tmp_path_factory.mktemp("complaints")
    said = [(suspect, words) for suspect, words in TOLD.items() for _ in range(30)]
    plain = [
        [str(at), "2020-05-01", "stuck", "crane", "", words, suspect, "cured", "fixed"]
        for at, (suspect, words) in enumerate(said, start=1)
    ]
    with (folder / "tickets.csv").open("w", encoding="utf-8", newline="") as stream:
        csv.writer(stream).writerows([FIELDS, *plain, *OTHERS])
    report = ingest_file(
        folder / "tickets.csv",
        store_path=folder / "store.duckdb",
        vocabulary=tiny_vocabulary,
        shop="Pier",
        column_map=read_column_map(),
        today=TODAY,
    )
    assert report.stored == 65
    return folder / "store.duckdb"


def test_complaints_are_read_with_all_that_was_known_before_them(store_path: Path, tiny_vocabulary: Vocabulary) -> None:
    frame = read_complaints(store_path, tiny_vocabulary)
    assert frame["suspects"].value_counts().to_dict() == {"plug_loose": 30, "coil_open": 30, "": 1}
    unresolved = frame[frame["suspects"] == ""].iloc[0]
    # 65 years old in 2020: the band from 60 on.
    assert unresolved.to_dict() == {
        **{"symptom": "stuck", "family": "", "shop": "Pier", "from_age": 60.0, "others": "dark=absent"},
        **{"complaint": "No idea", "suspects": ""},
    }
    assert read_complaints(store_path, tiny_vocabulary, until=date(2020, 5, 1)).empty


def test_words_learnt_from_the_store_come_back_with_the_fit(
    store_path: Path, tmp_path: Path, tiny_posterior: Posterior, tiny_vocabulary: Vocabulary
) -> None:
    learnt = replace(tiny_posterior, text=learn_complaints(store_path, tiny_posterior, tiny_vocabulary))
    assert learnt.text is not None
    assert learnt.text.ticket_count == 60
    assert learnt.text.gain > 0
    told = dict(zip(STUCK, text_log_likelihood(learnt.text, "sent le BRULE", STUCK), strict=True))
    assert max(told, key=lambda code: told[code]) == "coil_open"
    write_posterior(learnt, tmp_path / "fit.nc")
    back = read_posterior(tmp_path / "fit.nc")
    assert back.text is not None
    case = Case("stuck", "crane", "Pier", complaint="Brûlé, sagt er, und wackelt")
    # Stored in single precision.
    expected, found = (belief(which, case, tiny_vocabulary) for which in (learnt, back))
    np.testing.assert_allclose(found.mean, expected.mean, rtol=1e-5)
    assert symptom_odds(back.text, "no lights")[1].probability == pytest.approx(
        symptom_odds(learnt.text, "no lights")[1].probability, rel=1e-5
    )
    words = words_that_moved(back.text, case.complaint, "coil_open", suspects=STUCK)
    assert {word for word, _ in words} == {"brule", "wackelt"}


def test_a_fit_without_words_comes_back_without(tmp_path: Path, tiny_posterior: Posterior) -> None:
    write_posterior(tiny_posterior, tmp_path / "fit.nc")
    assert read_posterior(tmp_path / "fit.nc").text is None


def test_an_empty_store_teaches_no_words(
    tmp_path: Path, tiny_posterior: Posterior, tiny_vocabulary: Vocabulary
) -> None:
    model = learn_complaints(tmp_path / "store.duckdb", tiny_posterior, tiny_vocabulary)
    assert model.ticket_count == 0
    assert not model.suspect_weight.any()


def test_like_tickets_are_of_the_family_first_and_surest_first(store_path: Path) -> None:
    rows = read_like_tickets(store_path, Case("stuck", "piano"), "switch_dirty")
    assert rows[["ticket_number", "same_family", "confirmation"]].to_numpy().tolist() == [
        ["64", True, "reproduced_and_cured"],
        ["63", True, "symptom_went_away"],
        ["65", False, "symptom_went_away"],
    ]
    assert len(read_like_tickets(store_path, Case("stuck"), "plug_loose", limit=3)) == 3
    assert read_like_tickets(store_path, Case("dark"), "switch_dirty").empty
