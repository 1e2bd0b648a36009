"""The model against closed forms and against itself."""

from collections.abc import Callable, Sequence
from dataclasses import replace

import numpy as np
import pandas as pd
import pymc as pm
import pytest
from scipy.stats import dirichlet

from analytics.effects import assemble, draw_in, zero_sum_basis
from analytics.evidence import Evidence, empty_evidence, make_evidence
from analytics.fit import Effort, sample_evidence
from analytics.log_likelihood import evaluate, pack_evidence
from analytics.model import build_model
from analytics.model_inputs import ModelInputs, model_inputs
from analytics.priors import LinkPrior, link_prior
from analytics.terms import Priors, model_terms, term_starts
from analytics.ticket_likelihood import score_alike, score_tickets
from analytics.vocabulary import SOMETHING_ELSE, Vocabulary

# So wide that the prior of a link says nothing beside five tickets, and the rest of the model nothing at all.
FLAT = Priors(link_scale=30.0, suspect_scale=1e-3, age_mode_scale=1e-3, age_suspect_scale=1e-3, age_symptom_scale=1e-3)


@pytest.fixture(scope="module")
def inputs(tiny_vocabulary: Vocabulary, some_evidence: Callable[[Vocabulary, int], Evidence]) -> ModelInputs:
    return model_inputs(some_evidence(tiny_vocabulary, 1), tiny_vocabulary)


@pytest.fixture(scope="module")
def prior(tiny_vocabulary: Vocabulary, inputs: ModelInputs) -> LinkPrior:
    symptom, suspect = next(iter(tiny_vocabulary.links))
    return link_prior(tiny_vocabulary, inputs.links, rules=[(symptom, suspect, 3.0, 2.0)])


def random_coefficients(inputs: ModelInputs, seed: int) -> np.ndarray:
    return np.random.default_rng(seed).normal(0, 0.5, term_starts(model_terms(inputs, Priors()))[-1])


def test_the_gradient_is_the_slope(inputs: ModelInputs, prior: LinkPrior) -> None:
    """Against central differences, in every coefficient."""
    packed = pack_evidence(inputs, prior, Priors())
    x = random_coefficients(inputs, 2)

    def value(at: np.ndarray, spread: float = 0.7) -> float:
        return evaluate(at, spread, *packed.data)[0]

    _, gradient, slope = evaluate(x, 0.7, *packed.data)
    steps = 1e-5 * np.eye(len(x))
    expected = np.array([(value(x + step) - value(x - step)) / 2e-5 for step in steps])
    assert gradient == pytest.approx(expected, rel=1e-5, abs=1e-5)
    assert slope == pytest.approx((value(x, 0.70001) - value(x, 0.69999)) / 2e-5, rel=1e-5)


def plain_log_likelihood(inputs: ModelInputs, arrays: Sequence[np.ndarray]) -> complex:
    """The formulas of `build_model` for tickets, written out cell by cell."""
    alpha, beta, gamma, age_effect, misread_logit = arrays[:5]
    links, tickets = inputs.links, inputs.tickets
    total: complex = 0.0
    for at, (symptom, family, shop) in enumerate(tickets.context):
        listed = links.slots_of(symptom)
        eta = alpha[listed] + beta[family, links.suspect[listed]] + gamma[shop, links.mode[listed]]
        odds = np.exp(eta[:, None] + age_effect[listed])
        share = odds / odds.sum(0)
        for row in range(tickets.written_start[at], tickets.written_start[at + 1]):
            age, slot, grade = tickets.written[row]
            rate = 1 / (1 + np.exp(-misread_logit[grade, shop]))
            total += tickets.written_weight[row] * np.log((1 - rate) * share[slot, age] + rate / len(listed))
        for row in range(tickets.pattern_start[at], tickets.pattern_start[at + 1]):
            age, grade, _ = tickets.pattern[row]
            rate = 1 / (1 + np.exp(-misread_logit[grade, shop])) if grade >= 0 else 0.0
            told = tickets.pattern_likelihood[row, : len(listed)] * (1 - rate) + rate / len(listed)
            by_age = told @ share
            whole = by_age[age] if age >= 0 else inputs.age_share[family] @ by_age
            total += tickets.pattern_weight[row] * np.log(whole)
    return total


def plain_sure_log_likelihood(inputs: ModelInputs, arrays: Sequence[np.ndarray]) -> complex:
    """The same for tickets whose suspect is certain, from their margins."""
    links, tickets = inputs.links, inputs.tickets
    totals = (tickets.link_total, tickets.family_total, tickets.shop_total, tickets.age_total)
    sure = sum((total * effect).sum() for total, effect in zip(totals, arrays, strict=False))
    for at, (symptom, family, shop) in enumerate(tickets.context):
        listed = links.slots_of(symptom)
        eta = arrays[0][listed] + arrays[1][family, links.suspect[listed]] + arrays[2][shop, links.mode[listed]]
        sure = sure - tickets.sure[at] @ np.log(np.exp(eta[:, None] + arrays[3][listed]).sum(0))
    return sure


@pytest.mark.slow
def test_the_compiled_likelihood_is_the_written_one(inputs: ModelInputs, prior: LinkPrior) -> None:
    """Its value, and its gradient against complex steps through the plain formulas, exact to the last digits: Squire
    and Trapp, SIAM Review 40 (1998).
    """
    packed = pack_evidence(inputs, prior, Priors())
    arrays = assemble(random_coefficients(inputs, 3), packed.data)[:5]
    misread = 1 / (1 + np.exp(-arrays[4]))
    got, *gradients = score_tickets((*arrays[:4], misread), packed.data)
    assert got == pytest.approx(
        plain_sure_log_likelihood(inputs, arrays) + plain_log_likelihood(inputs, arrays), rel=1e-12
    )
    gradients[4] = gradients[4] * misread * (1 - misread)
    for which, gradient in enumerate(gradients):
        expected = np.empty(gradient.shape)
        for at in np.ndindex(gradient.shape):
            moved = [values.astype(complex) for values in arrays]
            moved[which][at] += 1e-30j
            value = plain_sure_log_likelihood(inputs, moved) + plain_log_likelihood(inputs, moved)
            expected[at] = value.imag / 1e-30
        assert gradient == pytest.approx(expected, rel=1e-10, abs=1e-12)


def test_products_of_tickets_neither_vanish_nor_count_weights_wrongly() -> None:
    """Six hundred tickets of probability 1e-90 and less, of weight 1 and of others, against the sum of logarithms."""
    rng = np.random.default_rng(8)
    weight = np.where(rng.random(600) < 0.7, 1.0, rng.uniform(0.3, 4.0, 600))
    likelihood = 10.0 ** rng.uniform(-140, -60, (600, 1)) * rng.random((600, 5))
    chance = rng.dirichlet(np.ones(5))
    value, slope = score_alike((weight, likelihood), chance, (0.0, 0.2), np.empty(5))
    inside = likelihood @ chance
    assert value == pytest.approx(weight @ np.log(inside), rel=1e-12)
    assert slope == pytest.approx(weight @ ((0.2 - inside) / inside), rel=1e-10)


def test_rows_of_one_age_and_grade_stand_together_and_none_is_lost(
    tiny_vocabulary: Vocabulary, some_evidence: Callable[[Vocabulary, int], Evidence]
) -> None:
    """The likelihood works out the odds once for each such group; how often an age and grade begin counts them."""
    evidence = some_evidence(tiny_vocabulary, 6)
    tickets = model_inputs(evidence, tiny_vocabulary).tickets
    context = np.repeat(np.arange(len(tickets.context)), np.diff(tickets.pattern_start))
    groups = np.column_stack([context, tickets.pattern[:, :2]])
    begins = 1 + np.count_nonzero((groups[1:] != groups[:-1]).any(axis=1))
    assert begins == len(np.unique(groups, axis=0))
    assert len(groups) > begins
    every = tickets.sure.sum() + tickets.written_weight.sum() + tickets.pattern_weight.sum()
    assert every == pytest.approx(evidence.cells["weight"].sum())


@pytest.mark.parametrize("count", [2, 3, 11])
def test_contrasts_are_an_isometry_onto_what_sums_to_zero(count: int) -> None:
    basis = zero_sum_basis(count).T
    assert basis @ basis.T == pytest.approx(np.eye(count - 1), abs=1e-12)
    assert basis.sum(1) == pytest.approx(0, abs=1e-12)
    inverse = np.empty(count - 1)
    draw_in(basis.T @ np.arange(count - 1.0), inverse)
    assert inverse == pytest.approx(np.arange(count - 1.0))


def relay_case(vocabulary: Vocabulary) -> tuple[ModelInputs, LinkPrior]:
    """Tickets (2, 1, 5) of three suspects of one symptom, and a handbook row worth ten tickets.

    Relay row of MIL-HDBK-338B table 7.8-1 from memory (.55, .26, .19); prior strength 10.
    """
    symptom = next(iter(vocabulary.symptoms))
    suspects = [code for code in vocabulary.suspects_of(symptom) if code != SOMETHING_ELSE][:3]
    rows = [(symptom, "", "", vocabulary.age_bands[0].code, suspect, "reproduced_and_cured", "", "", count)
            for suspect, count in zip(suspects, (2.0, 1.0, 5.0), strict=True)]  # fmt: skip
    columns = ["symptom", "family", "shop", "age_band", "suspect", "confirmation", "results", "others", "weight"]
    nothing = empty_evidence()
    evidence = make_evidence(
        pd.DataFrame(rows, columns=columns),
        check_counts=nothing.check_counts,
        check_minutes=nothing.check_minutes,
        companions=nothing.companions,
        ticket_count=8,
    )
    inputs = model_inputs(evidence, vocabulary)
    plain = link_prior(vocabulary, inputs.links)
    weight, group = np.zeros(len(inputs.links.symptom)), np.zeros((1, len(inputs.links.symptom)))
    first = [inputs.links.suspects[at] for at in inputs.links.suspect[inputs.links.slots_of(0)]]
    for suspect, ratio in zip(suspects, (0.55, 0.26, 0.19), strict=True):
        weight[first.index(suspect)], group[0, first.index(suspect)] = 10 * ratio, 1.0
    return inputs, replace(plain, ratio_weight=weight, ratio_group=group)


def test_a_handbook_row_beside_tickets_is_a_dirichlet(tiny_vocabulary: Vocabulary) -> None:
    """Log density of the shares among the three, against the closed form; in log odds the Jacobian is the product of
    the shares, so that prior counts 10 r and tickets n give Dirichlet(10 r + n).
    """
    inputs, prior = relay_case(tiny_vocabulary)
    packed = pack_evidence(inputs, prior, FLAT)
    concentration = 10 * np.array([0.55, 0.26, 0.19]) + np.array([2, 1, 5])
    rng = np.random.default_rng(4)
    differences = []
    for _ in range(5):
        x = np.zeros(term_starts(model_terms(inputs, FLAT))[-1])
        count = len(inputs.links.slots_of(0)) - 1
        x[:count] = rng.normal(0, 1, count)
        value = evaluate(x, 1.0, *packed.data)[0]
        odds = np.exp(prior.log_weight[: count + 1] + zero_sum_basis(count + 1) @ x[:count])
        share = odds[:3] / odds[:3].sum()
        outside = 8 * np.log(odds[:3].sum() / odds.sum())
        differences.append(value - outside - dirichlet(concentration).logpdf(share) - np.log(share).sum())
    assert np.ptp(differences) < 1e-9


@pytest.mark.slow
def test_sampling_finds_the_conjugate_posterior(tiny_vocabulary: Vocabulary) -> None:
    """Posterior means (.41667, .20000, .38333), sd (.11310, .09177, .11154): computed, Dirichlet(7.5, 3.6, 6.9)."""
    inputs, prior = relay_case(tiny_vocabulary)
    flat = replace(prior, log_weight=np.zeros_like(prior.log_weight))
    samples = sample_evidence(inputs, flat, FLAT, seed=5, progress=None, effort=Effort(500, 1500, 4))
    count = len(inputs.links.slots_of(0)) - 1
    free = samples["coefficient_value"].stack(sample=("chain", "draw")).values[:count].T
    odds = np.exp((free @ zero_sum_basis(free.shape[1] + 1).T)[:, :3])
    share = odds / odds.sum(1, keepdims=True)
    assert share.mean(0) == pytest.approx([0.41667, 0.2, 0.38333], abs=0.012)
    assert share.std(0) == pytest.approx([0.1131, 0.09177, 0.11154], abs=0.012)


@pytest.mark.slow
def test_every_prior_is_finite_where_sampling_starts(inputs: ModelInputs, prior: LinkPrior) -> None:
    model: pm.Model = build_model(inputs, prior, Priors())
    assert np.isfinite(list(model.point_logps().values())).all()
