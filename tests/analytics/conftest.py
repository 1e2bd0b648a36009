"""Planning problems written as in a notebook: belief, checks, groups."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd
import pytest

from analytics.evidence import Evidence, empty_evidence, make_evidence
from analytics.plan_access import tabulate_access
from analytics.planning import PlanProblem
from analytics.vocabulary import SOMETHING_ELSE, Vocabulary


@dataclass(frozen=True)
class Item:
    """One check: P(fixed | column), P(first result | column, not fixed) or None for one result, groups as bits."""

    name: str
    minutes: float
    fix: Sequence[float] | None = None
    read: Sequence[float] | None = None
    need: int = 0


def _build(
    belief: Sequence[float] | np.ndarray,
    items: Sequence[Item],
    *,
    sendout: float = 1000.0,
    groups: Sequence[tuple[float, float]] = (),
    volatile: int = 0,
) -> PlanProblem:
    mass = np.asarray(belief, dtype=float)
    likelihood = np.zeros((len(items), 3, mass.size))
    for row, item in zip(likelihood, items, strict=True):
        fix = np.zeros(mass.size) if item.fix is None else np.asarray(item.fix, dtype=float)
        read = np.ones(mass.size) if item.read is None else np.asarray(item.read, dtype=float)
        row[:] = fix, (1 - fix) * read, (1 - fix) * (1 - read)
    access = tabulate_access(
        tuple(f"group_{at}" for at in range(len(groups))),
        minutes=np.array([item.minutes for item in items], dtype=float),
        need=np.array([item.need for item in items], dtype=np.int64),
        opening_closing=np.array(groups, dtype=float).reshape(-1, 2),
        retesting=(np.array([item.fix is not None for item in items], dtype=bool), volatile),
    )
    return PlanProblem(
        checks=tuple(item.name for item in items),
        outcomes=tuple(("not_cured",) if item.read is None else ("first", "second") for item in items),
        likelihood=likelihood,
        mass=mass.ravel(),
        draws=np.atleast_2d(mass),
        access=access,
        sendout_minutes=sendout,
    )


@pytest.fixture(scope="session")
def build_problem() -> Callable[..., PlanProblem]:
    """Make a `PlanProblem` from a belief and `Item`s."""
    return _build


@pytest.fixture(scope="session")
def item() -> type[Item]:
    """One check of a planning problem."""
    return Item


def _some_evidence(vocabulary: Vocabulary, seed: int) -> Evidence:
    """All kinds of cell: sure, written, unresolved, without a year, without a shop."""
    rng = np.random.default_rng(seed)
    symptoms, checks = list(vocabulary.symptoms), list(vocabulary.checks)
    rows = []
    for at in range(60):
        symptom = symptoms[at % len(symptoms)]
        suspect = "" if at % 4 == 0 else str(rng.choice(vocabulary.suspects_of(symptom)))
        grade = ("reproduced_and_cured", "cured", "symptom_went_away")[at % 3] if suspect else ""
        results = "" if suspect else f"{checks[at % len(checks)]}=clear"
        band = "unknown" if at % 5 == 0 else vocabulary.age_bands[at % len(vocabulary.age_bands)].code
        family = list(vocabulary.families)[at % len(vocabulary.families)]
        rows.append((symptom, family, ("north", "south", "")[at % 3], band, suspect, grade, results, "", 1.0 + at % 2))
    columns = ["symptom", "family", "shop", "age_band", "suspect", "confirmation", "results", "others", "weight"]
    nothing = empty_evidence()
    counts = pd.DataFrame({"check": checks[:1], "suspect": [SOMETHING_ELSE], "outcome": ["clear"], "count": [3.0]})
    minutes = pd.DataFrame({"check": checks[:1], "count": [4.0], "log_sum": [8.0], "log_square_sum": [17.0]})
    return make_evidence(
        pd.DataFrame(rows, columns=columns),
        check_counts=counts,
        check_minutes=minutes,
        companions=nothing.companions,
        ticket_count=60,
    )


@pytest.fixture(scope="session")
def some_evidence() -> Callable[[Vocabulary, int], Evidence]:
    """Make evidence of all kinds of cell from a vocabulary and a seed."""
    return _some_evidence
