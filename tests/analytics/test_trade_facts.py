"""What every mechanic knows, asked of the seeded vocabulary before any ticket: common practice, no source, throughout.

The posterior is drawn from the priors - seeded strengths, handbook ratios, the vocabulary's own rates; nothing is
fitted, and no shop has a rule of thumb.
"""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import pytest

from analytics.advice import advise
from analytics.case import Case, CheckResult
from analytics.elicitation import rule_priors
from analytics.posterior import Posterior
from analytics.prior_draws import prior_posterior
from analytics.priors import link_prior
from analytics.suspects import belief
from analytics.terms import Priors
from analytics.vocabulary import SOMETHING_ELSE, Vocabulary
from pipelines.catalogue import read_vocabulary
from pipelines.rules import read_ratios
from pipelines.settings import seed_folder


@dataclass(frozen=True)
class Fresh:
    """The seeded vocabulary and odds that no ticket has touched."""

    vocabulary: Vocabulary
    posterior: Posterior

    def odds(self, case: Case) -> Mapping[str, float]:
        found = belief(self.posterior, case, self.vocabulary)
        return dict(zip(found.suspects, found.mean, strict=True))

    def odds_after(self, symptom: str, **outcomes: str) -> Mapping[str, float]:
        results = tuple(CheckResult(check, outcome) for check, outcome in outcomes.items())
        return self.odds(Case(symptom, results=results))


@pytest.fixture(scope="module")
def fresh() -> Fresh:
    vocabulary = read_vocabulary(seed_folder() / "vocabulary")
    ratios = read_ratios(seed_folder() / "handbook_ratios.csv", vocabulary)
    posterior = prior_posterior(
        vocabulary,
        link_prior=lambda inputs: link_prior(vocabulary, inputs.links, rules=rule_priors(()), ratios=ratios),
        priors=Priors(),
        rng=np.random.default_rng(17),
    )
    return Fresh(vocabulary, posterior)


ACTUATOR_COILS = ("actuator_coil_open", "actuator_coil_short")
SHARED_FEED = ("supply_fuse_blown", "fuse_holder_dirty", "common_return_open", "rectifier_open")


@pytest.mark.parametrize("symptom", ["place_found_no_action", "payout_missing", "grab_weak"])
def test_contacts_and_connectors_of_a_dead_actuator_outrank_its_coil(fresh: Fresh, symptom: str) -> None:
    odds = fresh.odds(Case(symptom))
    coil = max(odds.get(code, 0.0) for code in ACTUATOR_COILS)
    assert odds["actuator_contacts_dirty"] > 3 * coil
    assert odds["actuator_plug_loose"] > 3 * coil


def test_dead_twin_acquits_both_coils_and_accuses_the_shared_feed(fresh: Fresh) -> None:
    before = fresh.odds(Case("place_found_no_action"))
    after = fresh.odds(Case("place_found_no_action", also_present=("twin_dead_too",)))
    assert sum(after.get(code, 0.0) for code in ACTUATOR_COILS) < 0.01
    assert sum(after[code] for code in SHARED_FEED) > 2 * sum(before[code] for code in SHARED_FEED)
    assert max(after, key=after.__getitem__) in SHARED_FEED


def test_trying_the_twin_says_the_same_as_the_symptom(fresh: Fresh) -> None:
    after = fresh.odds_after("place_found_no_action", try_twin_actuator="fault_found")
    assert sum(after.get(code, 0.0) for code in ACTUATOR_COILS) < 0.01
    assert max(after, key=after.__getitem__) in SHARED_FEED


SWAPS = [
    ("swap_output_valves", "one_side_silent", "output_valve_low_emission"),
    ("swap_lamp", "scene_dark", "lamp_blown"),
    ("swap_cartridge", "one_side_silent", "cartridge_broken"),
]


@pytest.mark.parametrize(("swap", "symptom", "part"), SWAPS, ids=[swap for swap, _, _ in SWAPS])
def test_fault_that_follows_a_swapped_part_convicts_it_and_else_it_is_acquitted(
    fresh: Fresh, swap: str, symptom: str, part: str
) -> None:
    before = fresh.odds(Case(symptom))[part]
    follows = fresh.odds_after(symptom, **{swap: "fault_found"})
    stays = fresh.odds_after(symptom, **{swap: "clear"})
    assert max(follows, key=follows.__getitem__) == part
    assert stays[part] < before / 4


def test_actuator_that_stays_dead_on_the_plug_of_its_twin_is_itself_at_fault(fresh: Fresh) -> None:
    own = ("actuator_plunger_sticking", *ACTUATOR_COILS)
    before = fresh.odds(Case("place_found_no_action"))
    stays_dead = fresh.odds_after("place_found_no_action", swap_actuator_plugs="fault_found")
    moves = fresh.odds_after("place_found_no_action", swap_actuator_plugs="clear")
    assert max(stays_dead, key=stays_dead.__getitem__) in own
    assert sum(moves.get(code, 0.0) for code in own) < sum(before.get(code, 0.0) for code in own) / 4


def test_crossing_the_sound_path_sends_the_odds_before_or_behind_the_crossing(fresh: Fresh) -> None:
    before_it = ("pickup_plug_dirty", "pickup_lead_open", "cartridge_broken")
    behind_it = [
        code for code in fresh.vocabulary.suspects_of("one_side_silent") if code not in (*before_it, SOMETHING_ELSE)
    ]
    moves = fresh.odds_after("one_side_silent", cross_pickup_plugs="fault_found")
    stays = fresh.odds_after("one_side_silent", cross_pickup_plugs="clear")
    assert sum(moves[code] for code in before_it) > 0.8
    assert sum(stays[code] for code in behind_it) > 0.8


def test_one_channel_that_cures_the_dead_side_accuses_what_lies_before_the_switch(fresh: Fresh) -> None:
    before_it = ("pickup_plug_dirty", "pickup_lead_open", "cartridge_broken")
    comes_back = fresh.odds_after("one_side_silent", switch_to_one_channel="fault_found")
    stays_dead = fresh.odds_after("one_side_silent", switch_to_one_channel="clear")
    assert sum(comes_back[code] for code in before_it) > 0.8
    assert sum(stays_dead[code] for code in before_it) < 0.1


CONNECTORS = [
    ("place_found_no_action", "reseat_actuator_plug", "actuator_plug_loose"),
    ("request_no_search", "reseat_mechanism_plug", "mechanism_plug_loose"),
    ("one_side_silent", "reseat_speaker_plug", "speaker_plug_loose"),
    ("dark_after_first_key", "reseat_key_plug", "key_plug_loose"),
]


@pytest.mark.parametrize(("symptom", "reseat", "connector"), CONNECTORS, ids=[reseat for _, reseat, _ in CONNECTORS])
def test_connector_reseated_once_without_cure_is_not_cleared(
    fresh: Fresh, symptom: str, reseat: str, connector: str
) -> None:
    before = fresh.odds(Case(symptom))[connector]
    case = Case(symptom, results=(CheckResult(reseat, "not_cured"),))
    assert fresh.odds(case)[connector] > before / 8
    answer = advise(fresh.posterior, case, fresh.vocabulary).answer
    assert reseat in [choice.check for choice in answer.choices]


@pytest.mark.parametrize("symptom", ["one_side_silent", "sound_crackles"])
@pytest.mark.parametrize("family", ["tune_carousel", "player_piano", ""])
def test_output_transformer_stays_last_in_missing_sound(fresh: Fresh, symptom: str, family: str) -> None:
    odds = fresh.odds(Case(symptom, family=family))
    assert min(odds, key=odds.__getitem__) == "output_transformer_open"
