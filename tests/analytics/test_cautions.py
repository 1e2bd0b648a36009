"""Waiting times against published limits, and when a safer check is preferred."""

from dataclasses import replace

import pytest

from analytics.advice import Advice, advise
from analytics.case import Case
from analytics.cautions import RESIDUAL_LIMITS, cautions_for, discharge_seconds, prefer_dead_machine
from analytics.errors import InputError
from analytics.plan_answers import CheckChoice
from analytics.posterior import Posterior
from analytics.vocabulary import Vocabulary

# RC rule, V(t) = V0 exp(-t / RC), worked out with a pocket calculator: volts, ohms, farads, s to 60 V, s to 50 V.
DISCHARGES = {
    "rectified 120 V mains": (170.0, 100e3, 47e-6, 4.895, 5.752),
    "valve amplifier": (450.0, 220e3, 47e-6, 20.83, 22.72),
    "through a discharge resistor": (400.0, 1e3, 100e-6, 0.190, 0.208),
}


@pytest.mark.parametrize(("volts", "ohms", "farads", "to_60", "to_50"), DISCHARGES.values(), ids=DISCHARGES)
def test_waiting_time_follows_the_rc_rule(volts: float, ohms: float, farads: float, to_60: float, to_50: float) -> None:
    assert discharge_seconds(volts, ohms, farads, 60.0) == pytest.approx(to_60, rel=2e-3)
    assert discharge_seconds(volts, ohms, farads, 50.0) == pytest.approx(to_50, rel=2e-3)


def test_one_time_constant_leaves_37_percent() -> None:
    # fractions left after 1 and 2 time constants: 0.36788, 0.13534
    assert discharge_seconds(100.0, 1e6, 1e-6, 36.788) == pytest.approx(1.0, abs=1e-4)
    assert discharge_seconds(100.0, 1e6, 1e-6, 13.534) == pytest.approx(2.0, abs=1e-4)


def test_limits_are_those_published() -> None:
    # IEC 60204-1, 6.2.4: 60 V within 5 s; NEC 460.6: 50 V within 1 min; 8 CCR 2893: 50 V within 5 min
    assert [(limit.volts, limit.seconds) for limit in RESIDUAL_LIMITS] == [(60.0, 5.0), (50.0, 60.0), (50.0, 300.0)]


def test_charge_below_the_limit_needs_no_wait_and_nonsense_is_refused() -> None:
    assert discharge_seconds(40.0, 1e5, 1e-6, 60.0) == 0.0
    with pytest.raises(InputError, match="above 0"):
        discharge_seconds(400.0, 0.0, 1e-6, 60.0)


def hazardous(vocabulary: Vocabulary, **hazards: tuple[str, ...]) -> Vocabulary:
    checks = {
        code: replace(check, hazards=hazards.get(code, ("mains_present", "stored_charge")))
        for code, check in vocabulary.checks.items()
    }
    return replace(vocabulary, checks=checks)


@pytest.fixture
def advice(tiny_posterior: Posterior, tiny_vocabulary: Vocabulary) -> Advice:
    return advise(tiny_posterior, Case("stuck"), tiny_vocabulary)


def choose(advice: Advice, *choices: tuple[str, float]) -> Advice:
    """The advice with these (check, minutes lost) to choose from, of 6 minutes each; the first one is planned."""
    made = tuple(CheckChoice(code, 50.0 + lost, lost, 6.0, 0.0) for code, lost in choices)
    return replace(advice, answer=replace(advice.answer, check=choices[0][0], choices=made))


def test_check_with_fewer_hazards_is_preferred_when_it_is_as_good(advice: Advice, tiny_vocabulary: Vocabulary) -> None:
    vocabulary = hazardous(tiny_vocabulary, look_at_plug=(), clean_switch=("mains_present",))
    answer = choose(advice, ("reseat_plug", 0.0), ("clean_switch", 0.5), ("look_at_plug", 1.4)).answer
    safer = prefer_dead_machine(answer, vocabulary, 2.0)
    assert safer is not None
    assert safer.choice.check == "look_at_plug"
    assert safer.avoided == ("mains_present", "stored_charge")


TOO_DEAR = {"beyond the tolerance": (1.6, 1.0), "hardly worth its own minutes": (1.6, 5.0)}


@pytest.mark.parametrize(("lost", "tolerance"), TOO_DEAR.values(), ids=TOO_DEAR)
def test_safer_check_that_is_not_as_good_is_left_alone(
    advice: Advice, tiny_vocabulary: Vocabulary, lost: float, tolerance: float
) -> None:
    vocabulary = hazardous(tiny_vocabulary, look_at_plug=())
    answer = choose(advice, ("reseat_plug", 0.0), ("look_at_plug", lost)).answer
    assert prefer_dead_machine(answer, vocabulary, tolerance) is None


def test_check_with_another_hazard_is_not_safer(advice: Advice, tiny_vocabulary: Vocabulary) -> None:
    vocabulary = hazardous(tiny_vocabulary, look_at_plug=("moving_mechanism",))
    answer = choose(advice, ("reseat_plug", 0.0), ("look_at_plug", 0.0)).answer
    assert prefer_dead_machine(answer, vocabulary, 2.0) is None


def test_every_hazard_of_the_seeded_checks_has_its_caution() -> None:
    from pipelines.catalogue import read_vocabulary
    from pipelines.settings import seed_folder

    vocabulary = read_vocabulary(seed_folder() / "vocabulary")
    for check in vocabulary.checks.values():
        assert len(cautions_for(check, vocabulary)) == len(check.hazards)
        if "mains_present" in check.hazards:
            assert check.instruction.startswith("Unplug the machine"), check.code
