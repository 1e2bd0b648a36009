"""The plans that several figures of the review ask for, each solved once."""

from functools import lru_cache

from analytics.case import Case
from analytics.plan_of_case import PlanOf, plan_of_case
from analytics.plan_solution import Plan
from analytics.posterior import Posterior
from analytics.vocabulary import Vocabulary
from pipelines.posteriors import load_posterior, newest_fit
from pipelines.settings import Settings


def newest_planner(settings: Settings) -> tuple[Posterior, PlanOf]:
    """The newest published posterior, and its plans; InputError with the command to run when there is none."""
    return _remembering(settings, newest_fit(settings).fit_id)


@lru_cache(maxsize=1)
def _remembering(settings: Settings, fit_id: str) -> tuple[Posterior, PlanOf]:
    known: dict[Case, tuple[Vocabulary, Plan]] = {}

    def plan_of(posterior: Posterior, case: Case, vocabulary: Vocabulary) -> Plan:
        # the vocabulary may have been edited since
        if case not in known or known[case][0] != vocabulary:
            known[case] = vocabulary, plan_of_case(posterior, case, vocabulary)
        return known[case][1]

    return load_posterior(settings, fit_id), plan_of
