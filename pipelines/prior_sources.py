"""Where the priors come from: the vocabulary's strengths, the shop's rules of thumb, the handbook rows."""

from dataclasses import dataclass

import numpy as np

from analytics.elicitation import Rule, rule_priors
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


@dataclass(frozen=True, eq=False)
class Wishes:
    """What a fit starts from beside the seeded strengths: rules of thumb and handbook ratios."""

    vocabulary: Vocabulary
    rules: tuple[Rule, ...]
    ratios: tuple[tuple[str, str, float], ...]

    def link_prior(self, inputs: ModelInputs) -> LinkPrior:
        """Prior of every link."""
        return link_prior(self.vocabulary, inputs.links, rules=rule_priors(self.rules), ratios=self.ratios)


def read_wishes(settings: Settings, vocabulary: Vocabulary) -> Wishes:
    """The shop's rules of thumb, if it has stated any, and the handbook rows."""
    path = settings.vocabulary_folder / RULES_NAME
    rules = read_rules(path, vocabulary) if path.exists() else ()
    return Wishes(vocabulary, rules, read_handbook(vocabulary))


def load_prior(settings: Settings, vocabulary: Vocabulary) -> Posterior:
    """The answer on day one: what is believed before any ticket."""
    rng = np.random.default_rng(PRIOR_SEED)
    return prior_posterior(
        vocabulary, link_prior=read_wishes(settings, vocabulary).link_prior, priors=Priors(), rng=rng
    )
