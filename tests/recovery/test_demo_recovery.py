"""A world with known odds, simulated, fitted and compared: intervals cover the truth, and forecasts beat raw counts."""

from collections.abc import Callable
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
from analytics.scenario import World, make_world, softmax, suspect_probabilities
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

# Symptom, family, shop, age band.
type Context = tuple[str, str, str, str]


@dataclass(frozen=True)
class Recovered:
    """A fit, and what came in the year after: tickets (one row each, as the baselines read them) and beliefs."""

    world: World
    posterior: Posterior
    learnt: pd.DataFrame
    asked: pd.DataFrame
    beliefs: dict[Context, Belief]


def context_of(row: pd.Series) -> Context:
    return row["symptom"], row["family"], row["shop"], row["age_band"]


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
        effort=Effort(),
    )
    age_of = {band.code: band.from_age for band in vocabulary.age_bands}
    beliefs = {
        (symptom, family, shop, band): belief(posterior, Case(symptom, family, shop, age_of[band]), vocabulary)
        for symptom, family, shop, band in dict.fromkeys(map(context_of, asked.iloc))
    }
    return Recovered(world, posterior, learnt, asked, beliefs)


def true_odds(world: World, context: Context) -> np.ndarray:
    """Odds of the world over the symptom's list."""
    symptom, family, shop, band = context
    return suspect_probabilities(world, symptom, family=family, shop=shop, age_band=band)


def with_dirt(world: World, context: Context) -> np.ndarray:
    """Log odds of whatever is dirty moved up by 1."""
    suspects = [world.vocabulary.suspects[code] for code in world.vocabulary.suspects_of(context[0])]
    return softmax(
        np.log(true_odds(world, context)) + np.array([suspect.failure_mode == "dirty" for suspect in suspects])
    )


def of_next_family(world: World, context: Context) -> np.ndarray:
    """The odds of another family."""
    families = list(world.vocabulary.families)
    after = families[(families.index(context[1]) + 1) % len(families)]
    return true_odds(world, (context[0], after, *context[2:]))


def of_other_age(world: World, context: Context) -> np.ndarray:
    """The odds of old machines for new ones, and the other way round."""
    bands = [band.code for band in world.vocabulary.age_bands]
    return true_odds(world, (*context[:3], bands[::-1][bands.index(context[3])]))


def assert_covered(recovered: Recovered, odds: Callable[[World, Context], np.ndarray]) -> None:
    """90 % intervals hold the truth in as many contexts as binomial chance allows, contexts counted as they occur.

    All contexts of a symptom share its links, so their intervals hit or miss together: the independent things are taken
    to be the links (symptom, suspect) met, about 200, and not the 1,500 tickets with a dozen suspects each.
    """
    hits: dict[tuple[str, str], list[bool]] = {}
    for context in map(context_of, recovered.asked.iloc):
        found = recovered.beliefs[context]
        low, high = found.interval(0.9)
        truth = odds(recovered.world, context)
        for suspect, inside in zip(found.suspects, (low <= truth) & (truth <= high), strict=True):
            hits.setdefault((context[0], suspect), []).append(bool(inside))
    independent = len(hits)
    covered = np.mean([inside for of_link in hits.values() for inside in of_link])
    least, most = binom.ppf([DOUBT / 2, 1 - DOUBT / 2], independent, 0.9) / independent
    assert least <= covered <= most, f"{covered:.3f} of {independent} links are covered, {least:.3f} to {most:.3f} due"


def test_the_fit_can_be_published(recovered: Recovered) -> None:
    assert recovered.posterior.diagnostics.is_publishable, recovered.posterior.diagnostics.sentence()


def test_intervals_cover_the_true_odds(recovered: Recovered) -> None:
    assert_covered(recovered, true_odds)


@pytest.mark.parametrize("odds", [with_dirt, of_next_family, of_other_age])
def test_intervals_do_not_cover_odds_that_are_not_true(
    recovered: Recovered, odds: Callable[[World, Context], np.ndarray]
) -> None:
    with pytest.raises(AssertionError, match="links are covered"):
        assert_covered(recovered, odds)


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
    table = summarise_scores(scores, dict.fromkeys(said, "model")).set_index("method")
    for rival in ("symptom", "symptom and age"):
        # ahead by more than chance among the tickets of one year would give
        assert table.loc[rival, "behind"] > 3 * table.loc[rival, "behind_se"]
