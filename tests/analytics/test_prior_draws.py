"""What is drawn from the priors against closed forms, another way of sampling, and the compiled likelihood."""

from dataclasses import replace

import numpy as np
import pytest
from scipy.stats import gamma

from analytics.advice import advise
from analytics.case import Case
from analytics.evidence import empty_evidence
from analytics.log_likelihood import pack_evidence
from analytics.model_inputs import ModelInputs, model_inputs
from analytics.prior_draws import draw_priors, prior_posterior
from analytics.prior_odds import draw_alpha, log_wishes
from analytics.priors import LinkPrior, link_prior
from analytics.terms import UNSHARED_SPREAD, Priors, Term, model_terms, parent_terms
from analytics.vocabulary import SOMETHING_ELSE, Vocabulary
from analytics.wish_likelihood import score_wishes

pytestmark = pytest.mark.slow

RULES = (("stuck", "coil_open", 4.0, 7.0), ("dark", "plug_loose", 6.0, 3.0))
COUNT = 4000


@pytest.fixture(scope="module")
def inputs(tiny_vocabulary: Vocabulary) -> ModelInputs:
    return replace(model_inputs(empty_evidence(), tiny_vocabulary), shops=("Harbour", "Pier", "Quay"))


@pytest.fixture(scope="module")
def wishes(tiny_vocabulary: Vocabulary, inputs: ModelInputs) -> LinkPrior:
    """Two rules, and a handbook row that says of the first two suspects of `stuck` what a row says."""
    plain = link_prior(tiny_vocabulary, inputs.links, rules=RULES)
    weight, group = np.zeros(len(inputs.links.symptom)), np.zeros((1, len(inputs.links.symptom)))
    weight[:2], group[0, :2] = (2.1, 0.9), 1.0
    return replace(plain, ratio_weight=weight, ratio_group=group)


def alpha_terms(inputs: ModelInputs) -> tuple[Term, Term]:
    named = {term.name: term for term in (*parent_terms(inputs, Priors()), *model_terms(inputs, Priors()))}
    return named["suspect"], named["link"]


def test_rules_and_ratios_weigh_as_in_the_fit(inputs: ModelInputs, wishes: LinkPrior) -> None:
    alpha = np.random.default_rng(1).normal(0.0, 1.5, (5, len(inputs.links.symptom)))
    data = pack_evidence(inputs, wishes, Priors()).data
    expected = [score_wishes(row, np.zeros_like(row), data) for row in alpha]
    assert log_wishes(alpha, inputs.links, wishes) == pytest.approx(expected, rel=1e-12)


def test_effects_have_the_variance_of_their_prior(tiny_vocabulary: Vocabulary, inputs: ModelInputs) -> None:
    """A gamma spread of shape 2 and mean m has E spread^2 = 1.5 m^2; of n normals less their mean each keeps 1 - 1/n.
    Random walks: a step from band 1 to 2 is one step of each of the three age terms (hand arithmetic).
    """
    plain = link_prior(tiny_vocabulary, inputs.links)
    draws = draw_priors(inputs, plain, Priors(), rng=np.random.default_rng(2), count=COUNT)
    links, prior = inputs.links, Priors()
    families, suspects, modes = len(inputs.families), len(links.suspects), len(links.modes)
    centred = {name: 1 - 1 / n for name, n in (("f", families), ("k", suspects), ("h", 3), ("m", modes))}
    # fourth moments of a gamma times a normal are large: 4,000 draws of many entries give about 4 %
    assert draws["beta"].var().item() == pytest.approx(
        1.5 * prior.family_scale**2 * centred["f"] * centred["k"], rel=0.12
    )
    assert draws["gamma"].var().item() == pytest.approx(
        1.5 * prior.shop_scale**2 * centred["h"] * centred["m"], rel=0.12
    )
    step = draws["age_effect"].diff("age").var(("draw", "age")).mean().item()
    by_term = (prior.age_mode_scale**2 * centred["m"], prior.age_suspect_scale**2 * centred["k"], 0.1**2)
    assert step == pytest.approx(1.5 * sum(by_term), rel=0.12)
    for name, group in (("beta", "family"), ("gamma", "shop")):
        assert np.abs(draws[name].sum(group)).max().item() < 1e-9
    assert np.abs(draws["age_effect"].sum("age")).max().item() < 1e-9


def test_spreads_follow_their_gamma(tiny_vocabulary: Vocabulary, inputs: ModelInputs) -> None:
    """Quartiles of a gamma of shape 2 and mean `reach`: scipy.stats.gamma."""
    plain = link_prior(tiny_vocabulary, inputs.links)
    draws = draw_priors(inputs, plain, Priors(), rng=np.random.default_rng(3), count=COUNT)
    learned = [t for t in (*parent_terms(inputs, Priors()), *model_terms(inputs, Priors())) if t.learned]
    assert draws["term"].values.tolist() == [term.name for term in learned]
    for term in learned:
        below = (draws["spread"].sel(term=term.name) < gamma.ppf(0.25, 2.0, scale=term.reach / 2.0)).mean().item()
        assert below == pytest.approx(0.25, abs=4 * np.sqrt(0.25 * 0.75 / COUNT))


def test_rules_move_alpha_as_importance_weights_say(
    tiny_vocabulary: Vocabulary, inputs: ModelInputs, wishes: LinkPrior
) -> None:
    """Slices against plain prior draws weighted by what the rules say of them."""
    terms, links = alpha_terms(inputs), inputs.links
    plain = link_prior(tiny_vocabulary, links)
    alpha, _ = draw_alpha(links, plain, terms, rng=np.random.default_rng(4), count=200_000)
    weight = np.exp(log_wishes(alpha, links, wishes))
    assert weight.sum() ** 2 / (weight**2).sum() > 5_000
    expected = np.average(_share(alpha, links.symptom), axis=0, weights=weight)
    drawn = _share(draw_alpha(links, wishes, terms, rng=np.random.default_rng(5), count=COUNT)[0], links.symptom)
    error = drawn.std(0) / np.sqrt(COUNT)
    assert (np.abs(drawn.mean(0) - expected) < 5 * error).all()
    # and the rules matter: without them the means are elsewhere
    assert np.abs(_share(alpha, links.symptom).mean(0) - expected).max() > 0.05


def test_suspects_that_no_two_lists_share_depart_by_their_links_alone(tiny_vocabulary: Vocabulary) -> None:
    """Nothing can tell the two departures apart then, so the fit holds one of them still; so must the priors."""
    links = {pair: strength for pair, strength in tiny_vocabulary.links.items() if pair[1] != "plug_loose"}
    apart = replace(tiny_vocabulary, links=links)
    inputs = model_inputs(empty_evidence(), apart)
    draws = draw_priors(inputs, link_prior(apart, inputs.links), Priors(), rng=np.random.default_rng(6), count=50)
    assert "suspect" not in draws["term"]
    suspect, link = alpha_terms(inputs)
    _, spreads = draw_alpha(
        inputs.links, link_prior(apart, inputs.links), (suspect, link), rng=np.random.default_rng(6), count=50
    )
    assert set(spreads["suspect"]) == {UNSHARED_SPREAD}


def test_the_first_day_has_an_answer_with_a_first_check(tiny_vocabulary: Vocabulary) -> None:
    posterior = prior_posterior(
        tiny_vocabulary,
        link_prior=lambda inputs: link_prior(tiny_vocabulary, inputs.links),
        priors=Priors(),
        rng=np.random.default_rng(7),
    )
    found = advise(posterior, Case("stuck", family="crane", shop="Nobody's", age_years=40), tiny_vocabulary)
    ranked = [odds.suspect for odds in found.suspects]
    # two "often", two "rarely": eight to one in the seeded weights
    assert set(ranked[:2]) == {"plug_loose", "switch_dirty"}
    assert set(ranked[2:]) == {"coil_open", SOMETHING_ELSE}
    assert found.suspects[0].high - found.suspects[0].low > 0.3
    assert found.answer.check in tiny_vocabulary.checks
    assert posterior.ticket_count == 0


def _share(alpha: np.ndarray, symptom: np.ndarray) -> np.ndarray:
    odds = np.exp(alpha)
    return odds / np.stack([odds[:, symptom == s].sum(1) for s in symptom], axis=1)
