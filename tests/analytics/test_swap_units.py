"""What a swap spares is what the advice with it and without it differ by, once for each machine that comes in."""

from collections.abc import Callable
from dataclasses import replace

import pandas as pd
import pytest

from analytics.advice import SENDOUT_MINUTES, advise
from analytics.case import Case
from analytics.planning import BenchState
from analytics.posterior import Posterior
from analytics.swap_units import value_swaps
from analytics.vocabulary import Check, Vocabulary

ARRIVALS = pd.DataFrame({"symptom": ["stuck", "dark"], "per_year": [40.0, 10.0]})


def with_swap(vocabulary: Vocabulary, minutes: float, found: float) -> Vocabulary:
    """The list with a swap of the coil for one that is good."""
    swap = Check(
        code="swap_coil",
        name="Swap in a coil that works",
        kind="swap",
        minutes=minutes,
        access_group="outside",
        hazards=(),
        false_alarm=0.02,
        reveals={"coil_open": found},
        cures={},
    )
    return replace(vocabulary, checks={**vocabulary.checks, "swap_coil": swap})


def test_a_swap_spares_what_the_advice_without_it_takes_longer(
    tiny_vocabulary: Vocabulary, make_posterior: Callable[..., Posterior]
) -> None:
    vocabulary = with_swap(tiny_vocabulary, minutes=1.0, found=0.97)
    posterior = make_posterior(vocabulary, draw_count=60)
    (worth,) = value_swaps(posterior, ARRIVALS, vocabulary)
    without = BenchState(sendout_minutes=SENDOUT_MINUTES, excluded=frozenset({"swap_coil"}))
    longer = advise(posterior, Case("stuck"), vocabulary, bench=without).answer.expected_minutes
    spared = longer - advise(posterior, Case("stuck"), vocabulary).answer.expected_minutes
    assert spared > 0
    assert worth.minutes == pytest.approx(40.0 * spared, rel=1e-3)
    assert worth.low <= worth.minutes <= worth.high
    # it bears on the one symptom that lists the coil, and is made there at most once a machine
    assert (worth.symptoms, worth.machines) == (("stuck",), 40.0)
    assert 0 < worth.uses <= 40.0


def test_a_dear_swap_is_never_made_and_one_for_nobody_is_not_listed(
    tiny_vocabulary: Vocabulary, make_posterior: Callable[..., Posterior]
) -> None:
    vocabulary = with_swap(tiny_vocabulary, minutes=500.0, found=0.97)
    posterior = make_posterior(vocabulary, draw_count=60)
    (worth,) = value_swaps(posterior, ARRIVALS, vocabulary)
    assert (worth.minutes, worth.uses) == (pytest.approx(0.0, abs=1e-9), pytest.approx(0.0, abs=1e-9))
    assert value_swaps(posterior, ARRIVALS[ARRIVALS["symptom"] == "dark"], vocabulary) == ()
    assert value_swaps(posterior, ARRIVALS, tiny_vocabulary) == ()
