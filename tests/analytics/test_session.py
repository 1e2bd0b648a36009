"""A session is the sum of its events: its case, the bench as it stands, and the end they speak for."""

from dataclasses import replace
from datetime import date

import pytest

from analytics.advice import advise
from analytics.case import Case, CheckResult
from analytics.errors import InputError
from analytics.posterior import Posterior
from analytics.session import BenchEvent, Session, apply_event, undo
from analytics.session_case import advise_session, find_open_groups, to_bench_state, to_case
from analytics.session_closing import Closing, suggest_closing, total_minutes, validate_closing
from analytics.vocabulary import AccessGroup, Vocabulary

OPENED = date(2024, 3, 31)
START = Session(code="CODE", shop="Pier", symptom="stuck", opened_on=OPENED, family="crane", built_year=1962)


def after(vocabulary: Vocabulary, *events: tuple[str, str], start: Session = START) -> Session:
    session = start
    for kind, about in events:
        session = apply_event(session, BenchEvent(kind, about, 2.0), vocabulary)
    return session


def test_case_holds_facts_outcomes_and_other_symptoms(tiny_vocabulary: Vocabulary) -> None:
    session = after(tiny_vocabulary, ("clear", "look_at_plug"), ("absent", "dark"), ("skipped", "meter_coil"))
    results = (CheckResult("look_at_plug", "clear", 2.0),)
    assert to_case(session, tiny_vocabulary) == Case(
        "stuck", family="crane", shop="Pier", age_years=62, results=results, also_absent=("dark",)
    )


def test_undo_is_the_inverse_of_an_event(tiny_vocabulary: Vocabulary) -> None:
    session = after(tiny_vocabulary, ("clear", "look_at_plug"))
    assert undo(after(tiny_vocabulary, ("not_cured", "reseat_plug"), start=session)) == session
    with pytest.raises(InputError, match="nothing to undo"):
        undo(START)


IMPOSSIBLE = {
    "an outcome of the wrong sort": (("cured", "look_at_plug"), "no outcome of"),
    "an unknown check": (("clear", "look_at_moon"), "vocabulary list checks"),
    "an unknown kind": (("exploded", "look_at_plug"), "nothing that can be recorded"),
    "a look that says the same twice": (("clear", "meter_coil"), "tells nothing new"),
    "a symptom it came in with": (("absent", "stuck"), "recorded already"),
}


@pytest.mark.parametrize(("event", "sentence"), IMPOSSIBLE.values(), ids=IMPOSSIBLE)
def test_impossible_event_is_refused_in_words(
    tiny_vocabulary: Vocabulary, event: tuple[str, str], sentence: str
) -> None:
    session = after(tiny_vocabulary, ("clear", "meter_coil"))
    with pytest.raises(InputError, match=sentence):
        after(tiny_vocabulary, event, start=session)


def test_nothing_is_checked_on_a_machine_that_works_until_the_cure_is_taken_back(tiny_vocabulary: Vocabulary) -> None:
    session = after(tiny_vocabulary, ("cured", "reseat_plug"))
    with pytest.raises(InputError, match="Close the session"):
        after(tiny_vocabulary, ("clear", "meter_coil"), start=session)
    after(tiny_vocabulary, ("clear", "meter_coil"), start=undo(session))


def test_skipped_and_impossible_checks_are_not_planned_again(
    tiny_vocabulary: Vocabulary, tiny_posterior: Posterior
) -> None:
    session = after(tiny_vocabulary, ("skipped", "reseat_plug"), ("cannot_do", "meter_coil"))
    choices = advise_session(tiny_posterior, session, tiny_vocabulary).answer.choices
    assert not {"reseat_plug", "meter_coil"} & {choice.check for choice in choices}


def with_groups(vocabulary: Vocabulary) -> Vocabulary:
    """A cabinet that stays open, with a glass inside it that a retest needs closed; the coil lies behind the glass."""
    groups = {
        "outside": AccessGroup("outside", "Nothing opened", 0, 0),
        "cabinet": AccessGroup("cabinet", "Cabinet", 4, 3),
        "glass": AccessGroup("glass", "Glass", 6, 5, inside="cabinet", must_close_for_retest=1),
    }
    behind = {"meter_coil": "glass", "replace_coil": "glass", "look_at_plug": "cabinet", "reseat_plug": "cabinet"}
    checks = {
        code: replace(check, access_group=behind.get(code, "outside")) for code, check in vocabulary.checks.items()
    }
    return replace(vocabulary, access_groups=groups, checks=checks)


def test_groups_open_with_checks_and_close_for_a_retest(tiny_vocabulary: Vocabulary) -> None:
    vocabulary = with_groups(tiny_vocabulary)
    looked = after(vocabulary, ("clear", "meter_coil"))
    assert find_open_groups(looked, vocabulary) == {"glass", "cabinet"}
    assert find_open_groups(after(vocabulary, ("not_cured", "reseat_plug"), start=looked), vocabulary) == {"cabinet"}
    assert not find_open_groups(after(vocabulary, ("closed", "cabinet"), start=looked), vocabulary)
    assert find_open_groups(after(vocabulary, ("opened", "glass")), vocabulary) == {"glass", "cabinet"}


def test_what_is_open_costs_no_opening_minutes(tiny_vocabulary: Vocabulary, tiny_posterior: Posterior) -> None:
    vocabulary = with_groups(tiny_vocabulary)

    def minutes(session: Session) -> float:
        choices = advise_session(tiny_posterior, session, vocabulary).answer.choices
        return next(choice.minutes for choice in choices if choice.check == "meter_coil")

    # 4 min for the cabinet and 6 min for the glass, as stated in `with_groups`
    assert minutes(START) - minutes(after(vocabulary, ("opened", "glass"))) == pytest.approx(10.0)


def test_retest_of_a_fault_that_comes_and_goes_is_planned_to_deceive(tiny_vocabulary: Vocabulary) -> None:
    session = apply_event(START, BenchEvent("comes_and_goes"), tiny_vocabulary)
    assert to_bench_state(START, tiny_vocabulary).deceive == 0.0
    assert to_bench_state(session, tiny_vocabulary).deceive > 0.0


TWO_FAULTS = (
    ("fault_found", "look_at_plug"),
    ("clear", "meter_coil"),
    ("cured", "reseat_plug"),
    ("repaired", "plug_loose"),
)


def test_second_fault_is_sought_without_what_the_first_explains(
    tiny_vocabulary: Vocabulary, tiny_posterior: Posterior
) -> None:
    session = after(tiny_vocabulary, *TWO_FAULTS)
    assert to_case(session, tiny_vocabulary).results == (CheckResult("meter_coil", "clear", 2.0),)
    odds = {one.suspect: one.probability for one in advise_session(tiny_posterior, session, tiny_vocabulary).suspects}
    first = advise(tiny_posterior, to_case(session, tiny_vocabulary), tiny_vocabulary)
    share = {one.suspect: one.probability for one in first.suspects}
    assert odds["plug_loose"] == 0.0
    # Bayes' rule without the first suspect: the others keep their ratios
    left = 1.0 - share["plug_loose"]
    assert odds["switch_dirty"] == pytest.approx(share["switch_dirty"] / left)


def test_closing_names_both_faults_in_order(tiny_vocabulary: Vocabulary, tiny_posterior: Posterior) -> None:
    session = after(tiny_vocabulary, *TWO_FAULTS, ("cured", "clean_switch"))
    odds = advise_session(tiny_posterior, session, tiny_vocabulary).suspects
    closing = suggest_closing(session, odds, tiny_vocabulary)
    assert closing == Closing("fixed", ("plug_loose", "switch_dirty"), confirmation="cured")
    validate_closing(session, closing, tiny_vocabulary)
    assert total_minutes(session, closing) == 10.0  # five entries of 2 min, the repaired one among them


REFUSED = {
    "no fault, yet a suspect": (Closing("no_fault_found", ("plug_loose",), "cured"), "No fault was found"),
    "fixed without a suspect": (Closing("fixed"), "had a suspect"),
    "a suspect of another symptom": (Closing("fixed", ("fuse_blown",), "cured"), "no suspect of"),
    "no word on how sure": (Closing("fixed", ("plug_loose",)), "how sure"),
    "an unknown result": (Closing("mended"), "no result"),
}


@pytest.mark.parametrize(("closing", "sentence"), REFUSED.values(), ids=REFUSED)
def test_closing_that_contradicts_itself_is_refused(
    tiny_vocabulary: Vocabulary, closing: Closing, sentence: str
) -> None:
    with pytest.raises(InputError, match=sentence):
        validate_closing(START, closing, tiny_vocabulary)


def test_repaired_suspect_cannot_be_left_out(tiny_vocabulary: Vocabulary) -> None:
    session = after(tiny_vocabulary, *TWO_FAULTS)
    with pytest.raises(InputError, match="recorded as repaired"):
        validate_closing(session, Closing("fixed", ("coil_open",), "cured"), tiny_vocabulary)


def test_cure_of_a_fault_that_comes_and_goes_only_went_away(
    tiny_vocabulary: Vocabulary, tiny_posterior: Posterior
) -> None:
    session = apply_event(START, BenchEvent("comes_and_goes"), tiny_vocabulary)
    session = after(tiny_vocabulary, ("cured", "reseat_plug"), start=session)
    odds = advise_session(tiny_posterior, session, tiny_vocabulary).suspects
    assert suggest_closing(session, odds, tiny_vocabulary).confirmation == "symptom_went_away"
