"""The planning problem of one machine on the bench: what each check costs, what it can tell, what it can cure."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np

from analytics.check_rates import CheckRates
from analytics.errors import InputError
from analytics.plan_access import Access, build_access
from analytics.vocabulary import Check, Vocabulary

FOUND, CLEAR, CURED, NOT_CURED = "fault_found", "clear", "cured", "not_cured"
MAX_DECEIVE = 0.95


@dataclass(frozen=True)
class BenchState:
    """What is true at this bench now.

    Parameters
    ----------
    sendout_minutes : what handing the machine on costs, in minutes of the shop
    open_groups : access groups that are open (what they lie inside of counts as open too)
    shelf : parts at hand; None = every part
    waiting_minutes : part -> minutes until it is here; a missing part without a wait rules its check out
    tools : tools at hand; None = every tool
    excluded : checks not to plan with: made already, gave no reading, not wanted
    repeated : remedies that may be tried twice
    check_minutes : check -> minutes, where this shop differs from the vocabulary
    closed_for_retest : groups that must be closed before a retest; None = as the vocabulary says
    deceive : P(a machine that is not cured works in the retest), for faults that come and go
    comeback_minutes : what such a machine costs when it comes back, on top of handing it on then
    """

    sendout_minutes: float
    open_groups: frozenset[str] = frozenset()
    shelf: frozenset[str] | None = None
    waiting_minutes: Mapping[str, float] = field(default_factory=dict)
    tools: frozenset[str] | None = None
    excluded: frozenset[str] = frozenset()
    repeated: frozenset[str] = frozenset()
    check_minutes: Mapping[str, float] = field(default_factory=dict)
    closed_for_retest: frozenset[str] | None = None
    deceive: float = 0.0
    comeback_minutes: float = 0.0


@dataclass(frozen=True)
class PlanProblem:
    """One fault, checks with minutes, a price for handing on; everything the planner needs.

    Parameters
    ----------
    checks : labels, (check,); a remedy listed twice is an independent second try
    outcomes : names of the outcomes of each check that do not end the work, e.g. ("clear", "fault_found")
    likelihood : (check, outcome, column) P(outcome | column); outcome 0 = works again, then `outcomes`, padded by 0
    mass : (column,) belief, sums to 1. A column is a suspect, or a (draw, suspect) pair where rates differ by draw
    draws : (draw, suspect) belief by draw, each row times the weight of its draw; sums to 1
    access : what opening, closing and the checks themselves cost, by what is open
    open_mask : groups open now, as bits
    sendout_minutes, deceive, comeback_minutes : as in `BenchState`; `likelihood` already contains `deceive`
    """

    checks: tuple[str, ...]
    outcomes: tuple[tuple[str, ...], ...]
    likelihood: np.ndarray
    mass: np.ndarray
    draws: np.ndarray
    access: Access
    sendout_minutes: float
    open_mask: int = 0
    deceive: float = 0.0
    comeback_minutes: float = 0.0

    @property
    def comeback_price(self) -> float:
        """Minutes charged per unit of mass that a failed remedy leaves: deceived mass = left mass x d / (1 - d).

        Handing on is part of it. Were a comeback cheaper than handing on, useless remedies would pay: any retest of a
        faulty machine would be a chance to be rid of it.
        """
        return (self.sendout_minutes + self.comeback_minutes) * self.deceive / (1.0 - self.deceive)


def make_plan_problem(
    belief: np.ndarray, vocabulary: Vocabulary, symptom: str, *, bench: BenchState, rates: CheckRates | None = None
) -> PlanProblem:
    """Planning problem of one symptom with the vocabulary's checks.

    An inspection, measurement, split test or swap ends `clear` or `fault_found`; the remedy is still to do. A remedy or
    substitution cures or does not; one that also reveals ends `not_cured` or `fault_found` when it does not cure.

    Parameters
    ----------
    belief : (suspect,) or (draw, suspect), in the order of `vocabulary.suspects_of(symptom)`; masses, any scale
    bench : the bench as it is; sendout_minutes must be above 0
    rates : learned rates, (check, suspect) of the whole vocabulary or (draw, check, suspect) with the draws of
        `belief`; None = as the vocabulary says. Only cures that the vocabulary lists are planned for.

    Raises
    ------
    InputError
        When belief, bench and vocabulary do not fit each other.

    Notes
    -----
    Rates without a draw axis need only the mean belief (expected minutes are linear in it); with one, every (draw,
    suspect) pair becomes a column, so that a second try of a remedy knows that the first one failed.
    """
    suspects = vocabulary.suspects_of(symptom)
    _refuse_bad_bench(bench, vocabulary)
    draws = _belief_draws(belief, len(suspects))
    checks = [check for check in vocabulary.checks_for(symptom) if _is_possible(check, bench)]
    listed = [check for check in checks for _ in range(2 if check.code in bench.repeated and check.is_remedy else 1)]
    found, cured = _listed_rates(listed, vocabulary, suspects, rates)
    if found.shape[0] not in (1, len(draws)):
        raise InputError(f"The rates have {found.shape[0]} draws, the belief {len(draws)}. Give both the same number.")
    outcomes = tuple(_outcomes(check, suspects) for check in listed)
    likelihood = np.zeros((len(listed), 3, found.shape[0] * len(suspects)))
    for at, names in enumerate(outcomes):
        likelihood[at] = _likelihood(found[:, at], cured[:, at], names, bench.deceive)
    access, open_mask = build_access(
        listed,
        vocabulary.access_groups,
        minutes=[_minutes(check, bench) for check in listed],
        open_groups=bench.open_groups,
        closed_for_retest=bench.closed_for_retest,
    )
    return PlanProblem(
        checks=tuple(check.code for check in listed),
        outcomes=outcomes,
        likelihood=likelihood,
        mass=draws.sum(0) if found.shape[0] == 1 else draws.ravel(),
        draws=draws,
        access=access,
        sendout_minutes=float(bench.sendout_minutes),
        open_mask=open_mask,
        deceive=bench.deceive,
        comeback_minutes=bench.comeback_minutes,
    )


def _refuse_bad_bench(bench: BenchState, vocabulary: Vocabulary) -> None:
    if not bench.sendout_minutes > 0:
        raise InputError(f"Handing on was priced at {bench.sendout_minutes} minutes. Give a number above 0, e.g. 240.")
    if not 0 <= bench.deceive <= MAX_DECEIVE:
        raise InputError(
            f"A retest that deceives with probability {bench.deceive} cannot be planned with. Give 0 to {MAX_DECEIVE}."
        )
    if bench.comeback_minutes < 0:
        raise InputError(f"A comeback was priced at {bench.comeback_minutes} minutes. Give 0 or more.")
    for code in sorted(bench.open_groups | (bench.closed_for_retest or frozenset())):
        if code not in vocabulary.access_groups:
            known = ", ".join(vocabulary.access_groups)
            raise InputError(f"No access group is called '{code}'. Known access groups: {known}.")
    for code in sorted({*bench.excluded, *bench.repeated, *bench.check_minutes}):
        if code not in vocabulary.checks:
            raise InputError(f"No check is called '{code}'. See `faultodds vocabulary list checks`.")


def _belief_draws(belief: np.ndarray, suspect_count: int) -> np.ndarray:
    draws = np.atleast_2d(np.asarray(belief, dtype=float))
    if draws.ndim != 2 or draws.shape[1] != suspect_count:
        raise InputError(
            f"The belief has shape {np.shape(belief)}; the symptom has {suspect_count} suspects. "
            f"Give ({suspect_count},) or (draws, {suspect_count})."
        )
    total = draws.sum()
    if not np.isfinite(draws).all() or (draws < 0).any() or total <= 0:
        raise InputError("The belief holds a negative or missing number, or only zeros. Give masses of 0 or more.")
    return np.asarray(draws / total)


def _is_possible(check: Check, bench: BenchState) -> bool:
    has_part = bench.shelf is None or not check.part or check.part in bench.shelf or check.part in bench.waiting_minutes
    has_tool = bench.tools is None or not check.tool or check.tool in bench.tools
    return check.code not in bench.excluded and has_part and has_tool


def _minutes(check: Check, bench: BenchState) -> float:
    missing = bench.shelf is not None and check.part and check.part not in bench.shelf
    wait = bench.waiting_minutes[check.part] if missing else 0.0
    return float(bench.check_minutes.get(check.code, check.minutes)) + wait


def _outcomes(check: Check, suspects: Sequence[str]) -> tuple[str, ...]:
    if not check.is_remedy:
        return (CLEAR, FOUND)
    return (NOT_CURED, FOUND) if set(check.reveals) & set(suspects) else (NOT_CURED,)


def _listed_rates(
    listed: Sequence[Check], vocabulary: Vocabulary, suspects: Sequence[str], rates: CheckRates | None
) -> tuple[np.ndarray, np.ndarray]:
    """P(fault_found | suspect) and P(cured | suspect), each (draw, check, suspect), one draw when rates have none."""
    is_cure = np.array([[s in check.cures for s in suspects] for check in listed]).reshape(len(listed), len(suspects))
    if rates is None:
        found = [[check.reveals.get(s, check.false_alarm) for s in suspects] for check in listed]
        cured = [[check.cures.get(s, 0.0) for s in suspects] for check in listed]
        return np.array(found, dtype=float)[None], np.array(cured, dtype=float)[None]
    all_checks, all_suspects = list(vocabulary.checks), list(vocabulary.suspects)
    rows = [all_checks.index(check.code) for check in listed]
    columns = [all_suspects.index(s) for s in suspects]
    shape = (-1, len(all_checks), len(all_suspects))
    found_all, cured_all = rates.found.reshape(shape), rates.cured.reshape(shape)
    # A machine that starts to work while the wrong thing is repaired was jolted, not cured: nobody should plan for it.
    return found_all[:, rows][:, :, columns], cured_all[:, rows][:, :, columns] * is_cure


def _likelihood(found: np.ndarray, cured: np.ndarray, outcomes: tuple[str, ...], deceive: float) -> np.ndarray:
    """(outcome, column) of one check from its (draw, suspect) rates."""
    found, cured = found.ravel(), cured.ravel()
    if outcomes == (CLEAR, FOUND):
        return np.stack([np.zeros_like(found), 1.0 - found, found])
    left = (1.0 - cured) * (1.0 - deceive)
    if outcomes == (NOT_CURED,):
        return np.stack([1.0 - left, left, np.zeros_like(left)])
    return np.stack([1.0 - left, left * (1.0 - found), left * found])
