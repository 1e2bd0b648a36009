"""The last fit carried on is as good as a fit from nothing, and not better than it has reason to be."""

import numpy as np
import pandas as pd
import pytest

from analytics.carried_fit import carry_fit
from analytics.evidence import Evidence, empty_evidence, make_evidence
from analytics.fit import Effort, fit_evidence
from analytics.model_inputs import ModelInputs
from analytics.posterior import Posterior
from analytics.priors import LinkPrior, link_prior
from analytics.scenario import World, make_world
from analytics.scenario_arrivals import simulate_cells
from analytics.scenario_effects import Spreads
from analytics.terms import Priors
from analytics.vocabulary import Vocabulary
from pipelines.catalogue import read_vocabulary
from pipelines.settings import seed_folder

pytestmark = pytest.mark.slow

SHOPS = ("Saltmarsh Pier", "Gullwick Sands", "Cockle Row")
BEFORE, AFTER = 1_000, 1_250
# Means of 500 runs and of 600 draws differ by chance by sqrt(1 / 500 + 1 / 600) = 0.06 of a spread, and draws that hang
# together a little count for less.
CHANCE = 0.09


@pytest.fixture(scope="module")
def vocabulary() -> Vocabulary:
    return read_vocabulary(seed_folder() / "vocabulary")


def evidence_of(cells: pd.DataFrame) -> Evidence:
    nothing = empty_evidence()
    return make_evidence(
        cells.assign(weight=1.0, confirmation="cured", results="", others=""),
        check_counts=nothing.check_counts,
        check_minutes=nothing.check_minutes,
        companions=nothing.companions,
        ticket_count=len(cells),
    )


def distance(one: Posterior, other: Posterior) -> float:
    """Root mean square difference of the means of all coefficients, in spreads of `other`."""
    ours, theirs = one.arrays["coefficient_value"], other.arrays["coefficient_value"]
    return float(np.sqrt((((ours.mean(0) - theirs.mean(0)) / theirs.std(0)) ** 2).mean()))


def test_a_carried_fit_arrives_where_a_full_one_does(vocabulary: Vocabulary) -> None:
    rng = np.random.default_rng(7)
    world: World = make_world(vocabulary, SHOPS, rng, spreads=Spreads(comeback=0.0))
    cells = simulate_cells(world, rng, count=AFTER)

    def wishes(inputs: ModelInputs) -> LinkPrior:
        return link_prior(vocabulary, inputs.links)

    def fit(count: int) -> Posterior:
        return fit_evidence(
            evidence_of(cells[:count]),
            vocabulary,
            link_prior=wishes,
            priors=Priors(),
            seed=count,
            effort=Effort(tune=300, draws=700, chains=4),
        )

    def carry(last: Posterior, rows: pd.DataFrame) -> Posterior | None:
        return carry_fit(last, evidence_of(rows), vocabulary, link_prior=wishes, priors=Priors(), seed=3)

    before, after = fit(BEFORE), fit(AFTER)
    carried = carry(before, cells)
    assert carried is not None
    assert carried.diagnostics.max_rhat < 1.02
    assert carried.diagnostics.min_ess > 400
    assert carried.diagnostics.divergence_count == 0
    assert distance(carried, after) < CHANCE < distance(before, after)
    spread = carried.arrays["coefficient_value"].std(0) / after.arrays["coefficient_value"].std(0)
    # by chance two full fits twice as long differ by 0.014: a term's spread is known to a few per cent, and moves all
    assert np.median(spread) == pytest.approx(1.0, abs=0.05)
    # tickets whose suspects were exchanged lead elsewhere
    wrong = cells.assign(suspect=cells["suspect"].where(cells.index < BEFORE, "something_else"))
    elsewhere = carry(before, wrong)
    assert elsewhere is not None
    assert distance(elsewhere, after) > 2 * CHANCE
    # a workshop more has coefficients that no stored draw knows
    assert carry(before, cells.assign(shop=cells["shop"].where(cells.index > 0, "Tidewell Spit"))) is None
