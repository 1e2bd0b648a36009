"""Contributions are exact: together they are the odds that are served."""

from dataclasses import replace

import numpy as np
import pytest

from analytics.case import Case, CheckResult
from analytics.complaint import text_log_likelihood
from analytics.complaint_training import Complaints, train_text_model
from analytics.errors import InputError
from analytics.posterior import Posterior
from analytics.reasons import explain
from analytics.suspects import belief
from analytics.vocabulary import STRENGTH_WEIGHTS, Vocabulary

STUCK = ("plug_loose", "switch_dirty", "coil_open", "something_else")
TOLD = {"plug_loose": "works when I wiggle it", "switch_dirty": "after pressing hard", "coil_open": "smelt of burning"}
BARE = Case("stuck")
FULL = Case(
    "stuck",
    "crane",
    "Pier",
    age_years=71,
    results=(
        CheckResult("look_at_plug", "fault_found"),
        CheckResult("reseat_plug", "not_cured"),
        CheckResult("meter_coil", "inconclusive"),
        CheckResult("look_at_plug", "clear"),
        CheckResult("reseat_plug", "not_cured"),
    ),
    also_present=("dark",),
    complaint="smelt of burning, then worked when I wiggled it",
)
CASES = {
    "nothing known": BARE,
    "a stranger": Case("stuck", "calliope", "Lighthouse", age_years=5),
    "absent symptom": replace(FULL, also_present=(), also_absent=("dark",)),
    "all known": FULL,
    "cured": FULL.with_result(CheckResult("replace_coil", "cured")),
}


@pytest.fixture(scope="module")
def posterior(tiny_posterior: Posterior, tiny_vocabulary: Vocabulary) -> Posterior:
    """The tiny posterior, with words learnt from 120 tickets that say plainly what it was."""
    suspects = [code for code in TOLD for _ in range(40)]
    order = np.random.default_rng(1).permutation(120)
    lessons = Complaints(
        [TOLD[suspects[at]] for at in order],
        ["stuck"] * 120,
        [(suspects[at],) for at in order],
        [np.log(np.full(4, 0.25))] * 120,
    )
    return replace(tiny_posterior, text=train_text_model(lessons, tiny_vocabulary))


@pytest.mark.parametrize("suspect", STUCK)
@pytest.mark.parametrize("case", CASES.values(), ids=CASES.keys())
def test_contributions_sum_to_the_log_odds_of_the_belief(
    posterior: Posterior, tiny_vocabulary: Vocabulary, case: Case, suspect: str
) -> None:
    told = explain(posterior, case, tiny_vocabulary, suspect)
    found = belief(posterior, case, tiny_vocabulary)
    p = found.mean[found.suspects.index(suspect)]
    assert sum(each.log_odds for each in told) == pytest.approx(np.log(p / (1 - p)), abs=1e-9)
    # Each begins where the one before it ended, and ends at the probability that is served.
    assert [each.before for each in told] == pytest.approx([0.5, *(each.after for each in told[:-1])])
    assert told[-1].after == pytest.approx(p)


def test_only_what_is_known_contributes_in_a_fixed_order(posterior: Posterior, tiny_vocabulary: Vocabulary) -> None:
    told = explain(posterior, FULL, tiny_vocabulary, "plug_loose")
    assert [(each.source, each.code, each.outcome) for each in told] == [
        *(("list", "", ""), ("seeded", "", ""), ("tickets", "", ""), ("shop", "Pier", ""), ("family", "crane", "")),
        *(("age", "old", ""), ("present", "dark", ""), ("complaint", "", "")),
        # the inconclusive check tells nothing; the second look takes back what the first one told
        *(("check", "look_at_plug", "fault_found"), ("check", "reseat_plug", "not_cured")),
        *(("check", "look_at_plug", "clear"), ("check", "reseat_plug", "not_cured")),
    ]
    sources = [each.source for each in explain(posterior, CASES["a stranger"], tiny_vocabulary, "plug_loose")]
    assert sources == ["list", "seeded", "tickets", "age"]


def test_seeded_strengths_are_told_apart_from_what_tickets_taught(
    posterior: Posterior, tiny_vocabulary: Vocabulary
) -> None:
    """By hand: the list of `stuck` is often, often, rarely, rarely, so 8 / (8 + 8 + 1 + 1)."""
    even, seeded, tickets = explain(posterior, BARE, tiny_vocabulary, "plug_loose")
    assert (even.after, seeded.after) == (pytest.approx(1 / 4), pytest.approx(8 / 18))
    assert seeded.log_odds == pytest.approx(np.log(STRENGTH_WEIGHTS["often"] / 10) - np.log(1 / 3))
    assert tickets.after == pytest.approx(belief(posterior, BARE, tiny_vocabulary).mean[0])


def test_the_complaint_names_the_words_that_did_it(posterior: Posterior, tiny_vocabulary: Vocabulary) -> None:
    (told,) = (e for e in explain(posterior, FULL, tiny_vocabulary, "coil_open") if e.source == "complaint")
    assert posterior.text is not None
    moved = text_log_likelihood(posterior.text, FULL.complaint, STUCK)[2]
    assert told.log_odds > 0
    assert sum(log_odds for _, log_odds in told.words) == pytest.approx(moved)
    assert {word for word, log_odds in told.words if log_odds > 0} >= {"burning", "smelt of"}


def test_a_suspect_of_another_list_is_refused_in_words(posterior: Posterior, tiny_vocabulary: Vocabulary) -> None:
    with pytest.raises(InputError, match="'fuse_blown' is not in the list of 'stuck'"):
        explain(posterior, BARE, tiny_vocabulary, "fuse_blown")
