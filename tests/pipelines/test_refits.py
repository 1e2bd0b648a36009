"""A fit of very many tickets, from the store to the answer: short runs take the place of the sampler's long ones."""

from collections.abc import Mapping
from dataclasses import replace
from datetime import date
from pathlib import Path

import numpy as np
import pytest

from analytics.case import Case
from analytics.settled_fit import MANY_TICKETS
from analytics.suspects import belief
from analytics.vocabulary import AccessGroup, Vocabulary
from benchmarks.fit import FAMILIES, FIRST_AGES, SHOPS, draw_odds, invent_vocabulary, simulate_evidence
from pipelines.catalogue import write_vocabulary
from pipelines.column_maps import read_column_map
from pipelines.intake import ingest_file
from pipelines.refits import refit
from pipelines.settings import Settings

OPENED = 2020


def _with_access(vocabulary: Vocabulary) -> Vocabulary:
    """A stored check says what must be opened for it."""
    checks = {code: replace(check, access_group="cover") for code, check in vocabulary.checks.items()}
    return replace(vocabulary, access_groups={"cover": AccessGroup("cover", "cover", 1.0, 1.0)}, checks=checks)


def _write_tickets(path: Path, vocabulary: Vocabulary, odds: Mapping[str, np.ndarray]) -> None:
    """Confirmed tickets of an invented world; a few more than asked for, because shares of a count are cut off."""
    cells = simulate_evidence(vocabulary, odds, MANY_TICKETS + 100, np.random.default_rng(6)).cells
    rows = cells.loc[cells.index.repeat(cells["weight"].astype(int))].reset_index(drop=True)
    first_age = {band.code: band.from_age for band in vocabulary.age_bands}
    rows = rows.assign(
        ticket=rows.index, opened_on=f"{OPENED}-05-01", built_year=OPENED - rows["age_band"].map(first_age)
    )
    named = ["ticket", "shop", "family", "built_year", "opened_on", "symptom", "suspect", "confirmation"]
    rows[named].to_csv(path, index=False)


@pytest.mark.slow
def test_fifty_thousand_tickets_are_fitted_and_answer_as_the_world_does(tmp_path: Path) -> None:
    settings, rng = Settings(tmp_path / "data"), np.random.default_rng(5)
    vocabulary = _with_access(invent_vocabulary(rng))
    odds = draw_odds(vocabulary, rng)
    write_vocabulary(vocabulary, settings.data_folder / "vocabulary")
    _write_tickets(tmp_path / "tickets.csv", vocabulary, odds)
    ingest_file(
        tmp_path / "tickets.csv",
        store_path=settings.store_path,
        vocabulary=vocabulary,
        shop="",
        column_map=read_column_map(None),
        today=date(2026, 1, 1),
    )
    report = refit(settings)
    assert report.is_published, report.sentences()
    assert report.posterior.ticket_count >= MANY_TICKETS
    misses = []
    for symptom, true in odds.items():
        f, h, a = rng.integers(FAMILIES), rng.integers(SHOPS), rng.integers(len(FIRST_AGES))
        case = Case(symptom, family=f"family_{f}", shop=f"shop_{h:02d}", age_years=FIRST_AGES[a])
        low, high = belief(report.posterior, case, vocabulary).interval(0.9)
        misses += list((true[f, h, a] < low) | (true[f, h, a] > high))
    # 90 % intervals of 180 suspects, which hang together: a tenth misses, a fifth would be far from that
    assert np.mean(misses) < 0.2
