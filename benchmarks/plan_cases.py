"""Random planning problems: a workshop's mix, a diagnosis without cheap winners, a bundle of tests behind one door.

Every figure here is invented; the shapes are what the trade meets. No check cures the last suspect, something else.
"""

from collections.abc import Callable, Mapping

import numpy as np

from analytics.plan_access import tabulate_access
from analytics.planning import PlanProblem

# (minutes, mask of groups needed, P(cured | suspect), P(first result | suspect, not cured) or None)
CheckRow = tuple[float, int, np.ndarray, np.ndarray | None]


def make_workshop(rng: np.random.Generator, suspect_count: int, check_count: int) -> PlanProblem:
    """Cheap clean-and-reseat work on the likely suspects, split tests along a chain, unit swaps, nested groups."""
    belief = np.sort(rng.dirichlet(np.full(suspect_count, 0.7)))[::-1]
    masks = rng.choice([0, 1, 1, 3, 7], size=suspect_count)
    rows = [_reseat(rng, suspect_count)]
    rows += [_split(rng, suspect_count, int(rng.choice([0, 1, 3]))) for _ in range(int(rng.integers(2, 6)))]
    rows += [_swap_unit(rng, suspect_count, int(rng.choice([1, 3]))) for _ in range(int(rng.integers(1, 3)))]
    rows += _remedies(rng, masks, minutes=(8.0, 60.0))
    rows += _measurements(rng, masks, check_count)
    return _problem(rows[:check_count], belief, rng.uniform(4, 15, size=3), sendout_minutes=rng.uniform(120, 900))


def make_diagnosis(rng: np.random.Generator, suspect_count: int, check_count: int) -> PlanProblem:
    """Near-equal suspects, dear repairs, good tests."""
    belief = rng.dirichlet(np.full(suspect_count, 3.0))
    masks = rng.choice([0, 1, 3], size=suspect_count)
    rows = [_split(rng, suspect_count, int(rng.choice([0, 1]))) for _ in range(max(3, check_count // 3))]
    rows += _measurements(rng, masks, 2)
    rows += _remedies(rng, masks, minutes=(30.0, 60.0))
    rows += _measurements(rng, masks, check_count)
    return _problem(rows[:check_count], belief, rng.uniform(4, 15, size=2), sendout_minutes=rng.uniform(300, 900))


def make_bundle(rng: np.random.Generator, suspect_count: int, check_count: int) -> PlanProblem:
    """Tests that each read one bit of the suspect's number, all behind one dear door; remedies outside."""
    belief = rng.dirichlet(np.full(suspect_count, 4.0))
    rows: list[CheckRow] = []
    for bit in range(max(1, int(np.ceil(np.log2(suspect_count))))):
        sure = rng.uniform(0.93, 0.99)
        rows.append(
            (
                rng.uniform(3, 6),
                1,
                np.zeros(suspect_count),
                np.where((np.arange(suspect_count) >> bit) & 1, sure, 1 - sure),
            )
        )
    rows += _remedies(rng, np.zeros(suspect_count, dtype=int), minutes=(30.0, 50.0))
    rows += _measurements(rng, np.ones(suspect_count, dtype=int), check_count)
    return _problem(rows[:check_count], belief, rng.uniform(20, 45, size=1), sendout_minutes=rng.uniform(500, 1000))


PROFILES: Mapping[str, Callable[[np.random.Generator, int, int], PlanProblem]] = {
    "workshop": make_workshop,
    "diagnosis": make_diagnosis,
    "bundle": make_bundle,
}


def _reseat(rng: np.random.Generator, count: int) -> CheckRow:
    cures = np.where(rng.random(count) < 0.2, rng.uniform(0.05, 0.4, count), 0.0)
    cures[0], cures[-1] = rng.uniform(0.7, 0.9), 0.0
    return rng.uniform(4, 8), 1, cures, None


def _split(rng: np.random.Generator, count: int, mask: int) -> CheckRow:
    # The chain runs in an order of its own, not in that of the odds.
    side = rng.permutation(count) < rng.integers(count // 3, count - count // 3 + 1)
    sure = rng.uniform(0.85, 0.97)
    read = np.where(side, sure, 1 - sure)
    read[-1] = 0.5
    return rng.uniform(2, 10), mask, np.zeros(count), read


def _swap_unit(rng: np.random.Generator, count: int, mask: int) -> CheckRow:
    cures = np.where(rng.random(count) < 3.0 / count, rng.uniform(0.85, 0.95), 0.0)
    cures[rng.integers(0, count - 1)], cures[-1] = 0.9, 0.0
    return rng.uniform(15, 35), mask, cures, None


def _remedies(rng: np.random.Generator, masks: np.ndarray, *, minutes: tuple[float, float]) -> list[CheckRow]:
    rows: list[CheckRow] = []
    for suspect in range(len(masks) - 1):
        cures = np.zeros(len(masks))
        cures[suspect] = rng.uniform(0.8, 0.98)
        # Every fourth remedy also shows what is wrong where it does not help.
        read = np.where(rng.random(len(masks)) < 0.3, 0.8, 0.1) if rng.random() < 0.25 else None
        rows.append((rng.uniform(*minutes), int(masks[suspect]), cures, read))
    return rows


def _measurements(rng: np.random.Generator, masks: np.ndarray, count: int) -> list[CheckRow]:
    rows: list[CheckRow] = []
    for _ in range(count):
        suspect = int(rng.integers(0, len(masks) - 1))
        read = np.full(len(masks), rng.uniform(0.01, 0.08))
        read[suspect] = rng.uniform(0.8, 0.97)
        rows.append((rng.uniform(2, 8), int(masks[suspect]), np.zeros(len(masks)), read))
    return rows


def _problem(
    rows: list[CheckRow], belief: np.ndarray, opening_minutes: np.ndarray, *, sendout_minutes: float
) -> PlanProblem:
    likelihood = np.zeros((len(rows), 3, len(belief)))
    for row, (_, _, cures, read) in zip(likelihood, rows, strict=True):
        first = np.ones(len(belief)) if read is None else read
        row[:] = cures, (1 - cures) * first, (1 - cures) * (1 - first)
    access = tabulate_access(
        tuple(f"group_{at}" for at in range(len(opening_minutes))),
        minutes=np.array([row[0] for row in rows]),
        need=np.array([row[1] for row in rows], dtype=np.int64),
        opening_closing=np.column_stack([opening_minutes, np.zeros(len(opening_minutes))]),
        retesting=(np.array([row[2].any() for row in rows]), 0),
    )
    return PlanProblem(
        checks=tuple(f"check_{at:02d}" for at in range(len(rows))),
        outcomes=tuple(("not_cured",) if row[3] is None else ("first", "second") for row in rows),
        likelihood=likelihood,
        mass=belief,
        draws=belief[None],
        access=access,
        sendout_minutes=float(sendout_minutes),
    )
