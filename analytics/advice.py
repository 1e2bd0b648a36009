"""From a case to what to do: suspects with their odds and the plan, from one posterior."""

from dataclasses import dataclass, replace

import numpy as np

from analytics.case import Case, validate_case
from analytics.cautions import SaferCheck, prefer_dead_machine
from analytics.check_rates import STRAY_CURE, CheckRates
from analytics.errors import InputError
from analytics.plan_answers import PlanAnswer, answer_plan
from analytics.plan_solution import Plan, solve_plan
from analytics.planning import BenchState, make_plan_problem
from analytics.posterior import Posterior
from analytics.suspects import REMEDY_OUTCOMES, Belief, SuspectOdds, belief, rank_suspects
from analytics.vocabulary import Vocabulary

# What handing a machine on costs the shop, where it has not said otherwise: half a day of writing, packing and waiting.
# Common practice, no source.
SENDOUT_MINUTES = 240.0


@dataclass(frozen=True)
class Advice:
    """What a bench needs to know about one case; `safer` is preferred to the planned check where there is one."""

    case: Case
    belief: Belief
    suspects: tuple[SuspectOdds, ...]
    plan: Plan
    answer: PlanAnswer
    safer: SaferCheck | None = None

    @property
    def next_check(self) -> str:
        """Code of the check to make next, the safer one where it is as good; "" = hand the machine on."""
        return self.safer.choice.check if self.safer else self.answer.check


def advise(
    posterior: Posterior,
    case: Case,
    vocabulary: Vocabulary,
    *,
    bench: BenchState | None = None,
    repaired: frozenset[str] = frozenset(),
) -> Advice:
    """Suspects by falling odds, and the plan with the next check.

    `bench` says what is open, at hand and not wanted; checks that have given their answer are left out by
    themselves, and a remedy that failed once may be tried once more. `repaired` suspects were found and put right while
    the complaint remained: it is another one.

    Raises
    ------
    InputError
        For a case that names what the vocabulary or the fit does not know.
    """
    validate_case(case, vocabulary)
    found = _without(belief(posterior, case, vocabulary), repaired)
    bench = bench or BenchState(sendout_minutes=SENDOUT_MINUTES)
    bench = replace(
        bench,
        excluded=bench.excluded | _spent_checks(case),
        check_minutes={**expected_minutes_of(posterior), **bench.check_minutes},
    )
    problem = make_plan_problem(
        found.mass, vocabulary, case.symptom, bench=bench, rates=case_rates(posterior, case, vocabulary)
    )
    plan = solve_plan(problem)
    answer = answer_plan(plan)
    safer = prefer_dead_machine(answer, vocabulary)
    return Advice(case, found, rank_suspects(found, vocabulary), plan, answer, safer)


def mean_rates(posterior: Posterior) -> CheckRates:
    """P(fault_found | suspect) and P(cured | suspect), (check, suspect), averaged over the draws."""
    arrays = posterior.arrays
    found = np.repeat(arrays["false_alarm"].mean(0)[:, None], posterior.draws.sizes["suspect"], axis=1)
    found[arrays["reveal_check"], arrays["reveal_suspect"]] = arrays["detection"].mean(0)
    cured = np.full_like(found, STRAY_CURE)
    cured[arrays["remedy_check"], arrays["remedy_suspect"]] = arrays["cure"].mean(0)
    return CheckRates(found=found, cured=cured)


def case_rates(posterior: Posterior, case: Case, vocabulary: Vocabulary) -> CheckRates:
    """`mean_rates`, with the cure of a remedy that failed on this machine lowered: what failed once fails more often.

    P(cured again | failed before) is averaged over the draws with the weight 1 - cure that the failure gives them.
    """
    rates = mean_rates(posterior)
    cured = rates.cured.copy()
    names, arrays = list(vocabulary.checks), posterior.arrays
    for result in case.results:
        if result.outcome == "not_cured":
            rows = np.flatnonzero(arrays["remedy_check"] == names.index(result.check))
            failed = (1.0 - arrays["cure"][:, rows]) ** sum(r == result for r in case.results)
            at = (names.index(result.check), arrays["remedy_suspect"][rows])
            cured[at] = (arrays["cure"][:, rows] * failed).sum(0) / failed.sum(0)
    return CheckRates(found=rates.found, cured=cured)


def expected_minutes_of(posterior: Posterior) -> dict[str, float]:
    """Check -> expected minutes: the mean of the log-normal, averaged over the draws."""
    arrays = posterior.arrays
    minutes = np.exp(arrays["log_minutes"] + arrays["minutes_spread"][:, None] ** 2 / 2.0).mean(0)
    return dict(zip((str(code) for code in posterior.draws["check"].values), minutes.tolist(), strict=True))


def _without(found: Belief, repaired: frozenset[str]) -> Belief:
    """The belief with these suspects ruled out."""
    mass = found.mass * ~np.isin(found.suspects, list(repaired))
    if not mass.sum() > 0:
        raise InputError("Every suspect of this symptom is recorded as repaired. Undo the last entry and look again.")
    return Belief(found.suspects, mass / mass.sum()) if repaired else found


def _spent_checks(case: Case) -> frozenset[str]:
    """Looks that gave their answer (repeating one repeats it), and remedies that failed twice."""
    looked = {result.check for result in case.results if result.outcome not in REMEDY_OUTCOMES}
    failed = [result.check for result in case.results if result.outcome == "not_cured"]
    return frozenset(looked | {check for check in failed if failed.count(check) > 1})
