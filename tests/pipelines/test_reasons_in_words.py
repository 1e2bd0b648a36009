"""Reasons as sentences: each kind said once, by hand."""

import pytest

from analytics.case import Case, CheckResult
from analytics.posterior import Posterior
from analytics.reasons import SOURCES, Contribution, explain
from analytics.vocabulary import OUTCOMES, Vocabulary
from pipelines.reasons_in_words import say_reasons

UP, DOWN = (0.4, 0.2, 0.31), (-0.4, 0.31, 0.2)


@pytest.mark.parametrize(
    ("told", "suspect", "said"),
    [
        (
            Contribution("list", "", "", -1.1, 0.5, 0.25),
            "plug_loose",
            "The list of 'Grab is stuck' has 4 suspects: with nothing else known, each would be about 3 in 10.",
        ),
        (
            Contribution("seeded", "", "", *UP),
            "plug_loose",
            "The list says that this symptom often points to it: from about 2 in 10 to about 3 in 10.",
        ),
        (
            Contribution("tickets", "", "", *DOWN),
            "plug_loose",
            "All tickets so far made it less likely than the list says: from about 3 in 10 to about 2 in 10.",
        ),
        (
            Contribution("shop", "Pier", "", *UP),
            "switch_dirty",
            "This shop meets 'Dirty' more often than others: from about 2 in 10 to about 3 in 10.",
        ),
        (
            Contribution("shop", "Pier", "", *DOWN),
            "something_else",
            "This shop meets something else less often than others: from about 3 in 10 to about 2 in 10.",
        ),
        (
            Contribution("family", "crane", "", *UP),
            "plug_loose",
            "Machines of the kind 'Crane grab' have this more often: from about 2 in 10 to about 3 in 10.",
        ),
        (
            Contribution("age", "old", "", *UP),
            "plug_loose",
            "Machines of 60 years and more have this more often: from about 2 in 10 to about 3 in 10.",
        ),
        (
            Contribution("age", "middle", "", 0.01, 0.2, 0.21),
            "plug_loose",
            "Machines of 30 to 59 years have this more often: a little up, still about 2 in 10.",
        ),
        (
            Contribution("present", "dark", "", *UP),
            "plug_loose",
            "'Cabinet is dark' as well speaks for it: from about 2 in 10 to about 3 in 10.",
        ),
        (
            Contribution("absent", "dark", "", *DOWN),
            "plug_loose",
            "No 'Cabinet is dark' speaks against it: from about 3 in 10 to about 2 in 10.",
        ),
        (
            Contribution(
                "complaint", "", "", *UP, words=(("burning", 0.7), ("wiggle", -0.4), ("of burning", 0.3), ("hot", 0.1))
            ),
            "coil_open",
            "In the owner's words, 'burning' and 'hot' for it and 'wiggle' against it: "
            "from about 2 in 10 to about 3 in 10.",
        ),
        (
            Contribution("complaint", "", "", *DOWN, words=(("wiggle", -0.4), ("hot", 0.1))),
            "coil_open",
            "In the owner's words, 'wiggle' against it and 'hot' for it: from about 3 in 10 to about 2 in 10.",
        ),
        (
            Contribution("check", "reseat_plug", "not_cured", *UP),
            "coil_open",
            "'Reseat the plug' did not cure it: from about 2 in 10 to about 3 in 10.",
        ),
    ],
)
def test_each_reason_is_one_sentence(tiny_vocabulary: Vocabulary, told: Contribution, suspect: str, said: str) -> None:
    assert say_reasons([told], tiny_vocabulary, symptom="stuck", suspect=suspect) == (said,)


def test_every_source_and_outcome_has_its_words(tiny_vocabulary: Vocabulary) -> None:
    codes = {"shop": "Pier", "family": "calliope", "age": "young", "present": "dark", "absent": "dark"}
    reasons = [Contribution(s, codes.get(s, ""), "", *UP, words=(("hum", 1.0),)) for s in SOURCES if s != "check"]
    reasons += [Contribution("check", "meter_coil", outcome, *UP) for outcome in OUTCOMES]
    said = say_reasons(reasons, tiny_vocabulary, symptom="stuck", suspect="coil_open")
    assert len(set(said)) == len(SOURCES) - 1 + len(OUTCOMES)


def test_reasons_of_a_case_are_said_in_order(tiny_posterior: Posterior, tiny_vocabulary: Vocabulary) -> None:
    case = Case("stuck", "crane", "Pier", 71, results=(CheckResult("reseat_plug", "not_cured"),))
    told = explain(tiny_posterior, case, tiny_vocabulary, "plug_loose")
    said = say_reasons(told, tiny_vocabulary, symptom="stuck", suspect="plug_loose")
    assert said[0].startswith("The list of 'Grab is stuck'")
    assert said[-1].startswith("'Reseat the plug' did not cure it: from ")
