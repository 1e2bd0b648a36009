"""Comebacks in a world whose truth is known: how long repairs hold, and what the last repair says about the suspect."""

from collections.abc import Hashable
from dataclasses import dataclass, replace
from datetime import date
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest
from scipy.stats import CensoredData, binom, ecdf

from analytics.case import Case, LastRepair
from analytics.comebacks import COMEBACK_DAYS, Pairs, chance_again, comeback_factor
from analytics.holds import HELD, SAME, UNKNOWN, BandCounts, count_bands, estimate_holds, raw_holds
from analytics.posterior import Posterior
from analytics.reasons import explain
from analytics.scenario import World, make_world, suspect_probabilities
from analytics.scenario_effects import Spreads
from analytics.scenario_tickets import History, simulate_tickets
from analytics.suspects import belief
from analytics.vocabulary import Vocabulary
from pipelines.catalogue import read_vocabulary
from pipelines.last_repairs import Visit, count_pairs, find_last_repair, mode_of
from pipelines.reasons_in_words import say_reasons
from pipelines.settings import seed_folder
from pipelines.store import Connection, reading, registered, run_query, writing

LONGEST = 730
HELD_OUT_FROM = date(2023, 1, 1)


@dataclass(frozen=True)
class Lived:
    """A world, its tickets, and the store that holds them."""

    world: World
    history: History
    store: Path


@pytest.fixture(scope="module")
def vocabulary() -> Vocabulary:
    return read_vocabulary(seed_folder() / "vocabulary")


@pytest.fixture(scope="module")
def lived(vocabulary: Vocabulary, tmp_path_factory: pytest.TempPathFactory) -> Lived:
    rng = np.random.default_rng(11)
    # nobody guesses and nobody gives up: what is estimated is then exactly what the world was made with
    # and with many machines an ordinary new fault seldom looks like a comeback
    shops = tuple("ABCDEFGHIJKLMNOPQRST")
    world = make_world(vocabulary, shops, rng, spreads=Spreads(misrecording=0.0, give_up=0.0, comeback=0.15))
    history = simulate_tickets(world, rng, count=6_000, phrases={})
    return Lived(world, history, keep(history, tmp_path_factory.mktemp("lived") / "faultodds.duckdb"))


def keep(history: History, path: Path) -> Path:
    """The history as a store; only what is read here."""
    tickets, checks = history.tickets, history.checks
    with writing(path) as con, registered(con, told=tickets, made=checks):
        con.execute(
            "insert into tickets (ticket_id, shop, ticket_number, machine, family, built_year, opened_on, closed_on, "
            "symptom, result, source) select ticket, shop, ticket, machine, family, built_year, opened_on, closed_on, "
            "symptom, result, 'file' from told order by ticket"
        )
        con.execute("insert into ticket_suspects select ticket, suspect from told where suspect <> ''")
        con.execute('insert into ticket_checks select ticket, position, "check", outcome, minutes from made')
    return path


def spells_of(store: Path) -> pd.DataFrame:
    with reading(store) as con:
        return run_query(con, "repair_spells", longest=LONGEST)


def estimated(lived: Lived, vocabulary: Vocabulary) -> pd.DataFrame:
    """Holds by remedy and suspect, with the true share that holds a year."""
    spells = spells_of(lived.store)
    spells = spells[spells["remedy"] != ""].reset_index(drop=True)
    grouped = spells.groupby(["remedy", "suspect"], sort=True)
    cells = pd.DataFrame(list(grouped.groups), columns=["remedy", "suspect"])
    holds = estimate_holds(
        count_bands(spells, grouped.ngroup().to_numpy()), [vocabulary.checks[code].kind for code in cells["remedy"]]
    )
    checks, suspects = list(vocabulary.checks), list(vocabulary.suspects)
    at = [(checks.index(c), suspects.index(s)) for c, s in zip(cells["remedy"], cells["suspect"], strict=True)]
    return pd.concat([cells, holds], axis=1).assign(truth=[1.0 - lived.world.fails_within_year[place] for place in at])


def coverage_is_in_doubt(frame: pd.DataFrame, truth: pd.Series) -> bool:
    inside = int(((frame["holds_365_low"] <= truth) & (truth <= frame["holds_365_high"])).sum())
    return bool(binom.cdf(inside, len(frame), 0.9) < 0.005)


def test_intervals_of_the_year_cover_the_truth_as_often_as_they_say(lived: Lived, vocabulary: Vocabulary) -> None:
    frame = estimated(lived, vocabulary)
    # a remedy that cured by luck is written as if it had treated the suspect it is for: these pairs have no truth here
    treats = [s in vocabulary.checks[c].cures for c, s in zip(frame["remedy"], frame["suspect"], strict=True)]
    frame = frame[treats]
    assert len(frame) > 60
    assert not coverage_is_in_doubt(frame, frame["truth"])
    # the same intervals are refuted by a world in which twice as many repairs fail, or half as many
    assert coverage_is_in_doubt(frame, 1.0 - 2.0 * (1.0 - frame["truth"]))
    assert coverage_is_in_doubt(frame, 1.0 - 0.5 * (1.0 - frame["truth"]))


def test_a_comeback_counts_once_and_in_its_band() -> None:
    spells = pd.DataFrame(
        [(10, SAME, 2), (40, "other", 1), (50, UNKNOWN, 2), (400, HELD, 1)], columns=["days", "ending", "repairs"]
    )
    counts = count_bands(spells, np.zeros(4, dtype=int))
    # two of three confirmed comebacks had the same suspect, so the two unknown ones count two thirds each
    assert counts.failures[0] == pytest.approx([2.0, 4 / 3, 0.0, 0.0])
    assert counts.days[0] == pytest.approx([2 * 10 + 4 * 30, 10 + 2 * 20 + 60, 275, 35])


def test_raw_holds_are_those_of_a_table_by_hand() -> None:
    # Kaplan and Meier (1958) by hand: one of 4 fails at 20, one leaves at 50, one of 2 fails at 100
    spells = pd.DataFrame(
        [(20, SAME, 1), (50, "other", 1), (100, SAME, 1), (400, HELD, 1)], columns=["days", "ending", "repairs"]
    )
    assert raw_holds(spells).tolist() == [0.75, 0.75, 0.375]


def test_raw_holds_are_those_of_another_program() -> None:
    # scipy.stats.ecdf on the same repairs, one by one; horizons before, between and after all days
    rng = np.random.default_rng(5)
    spells = pd.DataFrame({"days": rng.integers(0, 500, 80), "ending": rng.choice([SAME, UNKNOWN, "other", HELD], 80)})
    spells = spells.assign(repairs=rng.integers(1, 4, 80))
    times = spells["days"].to_numpy().repeat(spells["repairs"])
    failed = spells["ending"].isin([SAME, UNKNOWN]).to_numpy().repeat(spells["repairs"])
    holds = ecdf(CensoredData(uncensored=times[failed], right=times[~failed])).sf
    horizons = (0, 30, 90, 365, 900)
    assert raw_holds(spells, horizons) == pytest.approx(holds.evaluate(np.array(horizons)))


def test_one_lucky_repair_tops_no_list() -> None:
    counts = BandCounts(np.array([[0.0, 0, 0, 0], [2, 2, 6, 0]]), np.array([[30.0, 60, 10, 0], [3e3, 5.4e3, 2.2e4, 0]]))
    once, often = estimate_holds(counts, ["cleaned", "cleaned"]).itertuples()
    assert once.holds_365 < 0.95
    assert once.holds_365_high - once.holds_365_low > often.holds_365_high - often.holds_365_low
    assert once.holds_30 > once.holds_90 > once.holds_365


@pytest.mark.slow
def test_the_last_repair_betters_the_odds_of_later_comebacks(vocabulary: Vocabulary, tmp_path: Path) -> None:
    rng = np.random.default_rng(3)
    world = make_world(vocabulary, ("A", "B", "C"), rng)
    history = simulate_tickets(world, rng, count=4_000, phrases={})
    store = keep(history, tmp_path / "faultodds.duckdb")
    later = history.tickets[history.tickets["opened_on"] >= str(HELD_OUT_FROM)]
    with reading(store) as con:
        pairs = count_pairs(con, vocabulary, until=HELD_OUT_FROM)
        told = [(row, *last) for row in later.to_dict("records") for last in last_suspects(con, row)]
    gains = np.array([gain(world, row, suspect, pairs) for row, suspect in told])
    assert len(gains) > 60
    # log loss per comeback, in nats, against the odds of a machine whose past nobody knows; the gain is no accident
    assert gains.mean() - 3 * gains.std() / np.sqrt(len(gains)) > 0.0
    assert gains.mean() > 0.3


def last_suspects(con: Connection, row: dict[Hashable, Any]) -> list[tuple[str]]:
    """The suspect repaired last, for a comeback; nothing for other tickets."""
    facts = {name: row[name] for name in ("shop", "machine", "symptom")}
    found = run_query(
        con,
        "last_repair",
        **facts,
        day=row["opened_on"].date(),
        ticket_number=str(row["ticket"]),
        longest=COMEBACK_DAYS,
    )
    return [(suspect,) for suspect in found["suspect"]]


def gain(world: World, row: dict[Hashable, Any], last: str, pairs: dict[str, Pairs]) -> float:
    """What knowing the last repair betters the log score of the true suspect by."""
    vocabulary, facts = world.vocabulary, {name: row[name] for name in ("family", "shop")}
    band = vocabulary.age_band_of(int(row["opened_on"].year - row["built_year"]))
    chance = suspect_probabilities(world, row["symptom"], **facts, age_band=band)
    listed = vocabulary.suspects_of(row["symptom"])
    factor = comeback_factor(chance, listed.index(last), chance_again(pairs, mode_of(last, vocabulary)))
    return float(np.log(factor[listed.index(row["true_suspect"])]))


def test_a_comeback_moves_the_belief_and_has_its_reason(tiny_posterior: Posterior, tiny_vocabulary: Vocabulary) -> None:
    fresh = Case("stuck", "crane", "Pier", age_years=40)
    back = replace(fresh, last_repair=LastRepair("coil_open", days=20, again=0.6))
    before, after = (belief(tiny_posterior, case, tiny_vocabulary).mean for case in (fresh, back))
    names = belief(tiny_posterior, fresh, tiny_vocabulary).suspects
    at = names.index("coil_open")
    # the last suspect gets its share of the comebacks, the others keep theirs among themselves
    assert after[at] == pytest.approx(0.6)
    rest = [place for place in range(len(names)) if place != at]
    assert after[rest] / after[rest].sum() == pytest.approx(before[rest] / before[rest].sum())
    told = explain(tiny_posterior, back, tiny_vocabulary, "coil_open")
    assert [one.source for one in told][-1] == "last_repair"
    assert sum(one.log_odds for one in told) == pytest.approx(np.log(after[at] / (1 - after[at])))
    line = say_reasons(told, tiny_vocabulary, symptom="stuck", suspect="coil_open")[-1]
    assert line.startswith("The same complaint came back after it was repaired")


def test_only_a_repair_of_the_last_year_that_was_the_last_visit_counts(vocabulary: Vocabulary, tmp_path: Path) -> None:
    path, symptom = tmp_path / "faultodds.duckdb", next(iter(vocabulary.symptoms))
    suspect = vocabulary.suspects_of(symptom)[0]
    with writing(path) as con:
        con.execute(
            "insert into tickets (ticket_id, shop, ticket_number, machine, opened_on, closed_on, symptom, result, "
            "source) values ('a', 'A', '1', 'No. 3', '2024-01-01', '2024-01-11', ?, 'fixed', 'file')",
            [symptom],
        )
        con.execute("insert into ticket_suspects values ('a', ?)", [suspect])

    def days(day: date, number: str = "") -> int | None:
        last = find_last_repair(path, Visit("A", "No. 3", symptom, day, number), vocabulary)
        return None if last is None else last.days

    assert days(date(2024, 2, 10)) == 30
    assert days(date(2024, 1, 11)) == 0
    assert days(date(2024, 1, 5)) is None  # still here
    assert days(date(2025, 1, 12)) is None  # a year and a day
    assert days(date(2024, 2, 10), "1") is None  # its own ticket


def test_chance_again_is_pooled_as_stated() -> None:
    # by hand: all (6 + 1) / (10 + 2); "dirty" (6 + 10 * 7/12) / (8 + 10)
    pairs = {"dirty": Pairs(6, 2), "open": Pairs(0, 2)}
    assert chance_again(pairs, "dirty") == pytest.approx((6 + 70 / 12) / 18)
    assert chance_again(pairs, "unheard") == pytest.approx(7 / 12)
    assert chance_again({}, "dirty") == 0.5
