"""A world with known odds, simulated, fitted and compared: intervals cover the truth, and forecasts beat raw counts."""

from dataclasses import dataclass
from datetime import date

import numpy as np
import pandas as pd
import pytest
from scipy.stats import binom

from analytics.backtest import places_of_truth, score_tickets, summarise_scores
from analytics.baselines import forecast_by_group, forecast_by_symptom, listed_suspects
from analytics.case import Case
from analytics.evidence import empty_evidence, make_evidence
from analytics.fit import Effort, fit_evidence
from analytics.posterior import Posterior
from analytics.priors import link_prior
from analytics.scenario import World, make_world, softmax
from analytics.scenario_arrivals import simulate_cells
from analytics.scenario_effects import Spreads
from analytics.suspects import Belief, belief
from analytics.terms import Priors
from analytics.vocabulary import Vocabulary
from pipelines.catalogue import read_vocabulary
from pipelines.settings import seed_folder

pytestmark = pytest.mark.slow

SHOPS = ("Saltmarsh Pier", "Gullwick Sands", "Cockle Row", "Lantern Quay")
TICKETS, LATER_TICKETS = 3_000, 1_500
EARLIER, LATER = (date(2014, 1, 1), date(2025, 12, 31)), (date(2026, 1, 1), date(2026, 12, 31))
# A test that holds of an honest fit 999 times in 1,000.
DOUBT = 0.001


@dataclass(frozen=True)
class Recovered:
    """A fit, and what came in the year after: tickets (one row each, as the baselines read them) and beliefs."""

    world: World
    posterior: Posterior
    learnt: pd.DataFrame
    asked: pd.DataFrame
    beliefs: dict[tuple[str, ...], Belief]


def context_of(row: pd.Series) -> tuple[str, ...]:
    return tuple(row[["symptom", "family", "shop", "age_band"]])


@pytest.fixture(scope="module")
def vocabulary() -> Vocabulary:
    return read_vocabulary(seed_folder() / "vocabulary")


@pytest.fixture(scope="module")
def recovered(vocabulary: Vocabulary) -> Recovered:
    rng = np.random.default_rng(2026)
    world = make_world(vocabulary, SHOPS, rng, spreads=Spreads(comeback=0.0))
    learnt, asked = (
        simulate_cells(world, rng, count=count, period=period).assign(
            weight=1.0, complaint="", ticket_id=[f"{period[0]}-{at}" for at in range(count)]
        )
        for count, period in ((TICKETS, EARLIER), (LATER_TICKETS, LATER))
    )
    nothing = empty_evidence()
    evidence = make_evidence(
        learnt.drop(columns=["ticket_id", "complaint"]).assign(
            confirmation="reproduced_and_cured", results="", others=""
        ),
        check_counts=nothing.check_counts,
        check_minutes=nothing.check_minutes,
        companions=nothing.companions,
        ticket_count=TICKETS,
    )
    posterior = fit_evidence(
        evidence,
        vocabulary,
        link_prior=lambda inputs: link_prior(vocabulary, inputs.links),
        priors=Priors(),
        seed=1,
        effort=Effort(tune=300, draws=1000, chains=4),
    )
    age_of = {band.code: band.from_age for band in vocabulary.age_bands}
    beliefs = {
        (symptom, family, shop, band): belief(posterior, Case(symptom, family, shop, age_of[band]), vocabulary)
        for symptom, family, shop, band in dict.fromkeys(map(context_of, asked.iloc))
    }
    return Recovered(world, posterior, learnt, asked, beliefs)


def true_odds(world: World, context: tuple[str, ...], shift: dict[str, float]) -> np.ndarray:
    """Odds of the world, the log odds of each failure mode in `shift` moved."""
    symptom, family, shop, band = context
    vocabulary = world.vocabulary
    bands = [one.code for one in vocabulary.age_bands]
    at = (list(vocabulary.families).index(family), world.shops.index(shop), bands.index(band))
    modes = [vocabulary.suspects[code].failure_mode for code in vocabulary.suspects_of(symptom)]
    return softmax(world.log_odds[symptom][at] + np.array([shift.get(mode, 0.0) for mode in modes]))


def assert_covered(recovered: Recovered, shift: dict[str, float]) -> None:
    """90 % intervals hold the truth in as many contexts as binomial chance allows, contexts counted as they occur.

    All contexts of a symptom share its links, so their intervals hit or miss together: the independent things are taken
    to be the links (symptom, suspect) met, about 200, and not the 1,500 tickets with a dozen suspects each.
    """
    hits: dict[tuple[str, str], list[bool]] = {}
    for context in map(context_of, recovered.asked.iloc):
        found = recovered.beliefs[context]
        low, high = found.interval(0.9)
        truth = true_odds(recovered.world, context, shift)
        for suspect, inside in zip(found.suspects, (low <= truth) & (truth <= high), strict=True):
            hits.setdefault((context[0], suspect), []).append(bool(inside))
    independent = len(hits)
    covered = np.mean([inside for of_link in hits.values() for inside in of_link])
    least, most = binom.ppf([DOUBT / 2, 1 - DOUBT / 2], independent, 0.9) / independent
    assert least <= covered <= most, f"{covered:.3f} of {independent} links are covered, {least:.3f} to {most:.3f} due"


def test_the_fit_can_be_published(recovered: Recovered) -> None:
    assert recovered.posterior.diagnostics.is_publishable, recovered.posterior.diagnostics.sentence()


def test_intervals_cover_the_true_odds(recovered: Recovered) -> None:
    assert_covered(recovered, {})


@pytest.mark.parametrize("mode", ["dirty", "worn"])
def test_intervals_do_not_cover_odds_that_are_not_true(recovered: Recovered, mode: str) -> None:
    with pytest.raises(AssertionError, match="links are covered"):
        assert_covered(recovered, {mode: 1.0})


def test_forecasts_of_the_next_year_beat_smoothed_counts(recovered: Recovered, vocabulary: Vocabulary) -> None:
    learnt, asked = recovered.learnt, recovered.asked
    listed = listed_suspects(vocabulary.suspects_by_symptom)
    width = listed.used.shape[1]
    means = [recovered.beliefs[context].mean for context in map(context_of, asked.iloc)]
    said = {
        "model": np.array([np.pad(mean, (0, width - len(mean))) for mean in means]),
        "symptom": forecast_by_symptom(learnt, asked, listed),
        "symptom and age": forecast_by_group(learnt, asked, listed, column="age_band"),
    }
    truth = places_of_truth(asked, listed.codes)
    scores = pd.concat([score_tickets(name, odds, asked, truth) for name, odds in said.items()])
    table = summarise_scores(scores, "model").set_index("method")
    for rival in ("symptom", "symptom and age"):
        # ahead by more than chance among the tickets of one year would give
        assert table.loc[rival, "behind"] > 3 * table.loc[rival, "behind_se"]
