"""The plan of one case with the minutes that a posterior expects, as the reviews of the shop use it."""

from collections.abc import Callable

from analytics.advice import SENDOUT_MINUTES, expected_minutes_of, mean_rates
from analytics.case import Case, validate_case
from analytics.plan_solution import Plan, solve_plan
from analytics.planning import BenchState, make_plan_problem
from analytics.posterior import Posterior
from analytics.suspects import belief
from analytics.vocabulary import Vocabulary

# Whoever asks for many plans may hand in one that remembers.
type PlanOf = Callable[[Posterior, Case, Vocabulary], Plan]


def plan_of_case(
    posterior: Posterior, case: Case, vocabulary: Vocabulary, *, excluded: frozenset[str] = frozenset()
) -> Plan:
    """The plan for a case as it came in.

    Parameters
    ----------
    excluded : codes of checks that cannot be made

    Raises
    ------
    InputError
        For a case that the vocabulary or the posterior does not know.
    """
    validate_case(case, vocabulary)
    bench = BenchState(sendout_minutes=SENDOUT_MINUTES, check_minutes=expected_minutes_of(posterior), excluded=excluded)
    mass = belief(posterior, case, vocabulary).mass
    return solve_plan(make_plan_problem(mass, vocabulary, case.symptom, bench=bench, rates=mean_rates(posterior)))
