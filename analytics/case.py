"""One machine on the bench: what it is, what it does wrong, and what has been checked so far."""

from dataclasses import dataclass, replace

from analytics.errors import InputError
from analytics.vocabulary import OUTCOMES, Vocabulary


@dataclass(frozen=True)
class CheckResult:
    """One check that was made, with its outcome (one of `OUTCOMES`) and, where known, its minutes."""

    check: str
    outcome: str
    minutes: float | None = None


@dataclass(frozen=True)
class LastRepair:
    """The same machine was repaired for the same symptom `days` ago: the suspect confirmed then.

    `again` is P(it is that suspect again), learnt from the shop's comebacks (`analytics.comebacks`).
    """

    suspect: str
    days: int
    again: float


@dataclass(frozen=True)
class Case:
    """A complaint: codes of the vocabulary, the age in years (None: year unknown), results in the order made.

    `shop` and `family` may be codes that no ticket has used yet ("" for unknown): the answer then comes from the pool.
    `also_present` and `also_absent` are other symptoms that were looked for; `last_repair` is set for a comeback.
    """

    symptom: str
    family: str = ""
    shop: str = ""
    age_years: int | None = None
    results: tuple[CheckResult, ...] = ()
    also_present: tuple[str, ...] = ()
    also_absent: tuple[str, ...] = ()
    complaint: str = ""
    last_repair: LastRepair | None = None

    def with_result(self, result: CheckResult) -> "Case":
        """The same case after one more check."""
        return replace(self, results=(*self.results, result))


def validate_case(case: Case, vocabulary: Vocabulary) -> None:
    """InputError when the case names a symptom, check or outcome that the vocabulary does not have."""
    vocabulary.suspects_of(case.symptom)
    for symptom in (*case.also_present, *case.also_absent):
        vocabulary.suspects_of(symptom)
    for result in case.results:
        if result.check not in vocabulary.checks:
            raise InputError(f"No check is called '{result.check}'. See `faultodds vocabulary list checks`.")
        if result.outcome not in OUTCOMES:
            raise InputError(f"'{result.outcome}' is not an outcome. Allowed: {', '.join(OUTCOMES)}.")
