"""Where the priors come from: the vocabulary's strengths, the shop's rules of thumb, the handbook rows."""

from collections.abc import Callable

import numpy as np

from analytics.elicitation import rule_priors
from analytics.model_inputs import ModelInputs
from analytics.posterior import Posterior
from analytics.prior_draws import prior_posterior
from analytics.priors import LinkPrior, link_prior
from analytics.terms import Priors
from analytics.vocabulary import Vocabulary
from pipelines.rules import read_handbook, read_rules
from pipelines.settings import Settings

RULES_NAME = "rules.csv"
# The same question gets the same answer.
PRIOR_SEED = 20_121_985


def read_link_prior(settings: Settings, vocabulary: Vocabulary) -> Callable[[ModelInputs], LinkPrior]:
    """What a fit starts from: seeded strengths, rules of thumb where the shop has stated any, handbook ratios."""
    path = settings.vocabulary_folder / RULES_NAME
    rules = rule_priors(read_rules(path, vocabulary)) if path.exists() else ()
    ratios = read_handbook(vocabulary)
    return lambda inputs: link_prior(vocabulary, inputs.links, rules=rules, ratios=ratios)


def load_prior(settings: Settings, vocabulary: Vocabulary) -> Posterior:
    """The answer on day one: what is believed before any ticket."""
    rng = np.random.default_rng(PRIOR_SEED)
    return prior_posterior(vocabulary, link_prior=read_link_prior(settings, vocabulary), priors=Priors(), rng=rng)
