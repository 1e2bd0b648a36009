"""A simulated technician: checks out of habit, acts on what is found, and stops when it works or patience ends."""

from dataclasses import dataclass

import numpy as np

from analytics.scenario import World
from analytics.vocabulary import STRENGTH_WEIGHTS, Vocabulary

# Log weight that a finding adds to the remedies it points to, and that a clear result takes from them.
FOUND_PULL, CLEAR_PUSH = 4.0, 1.5
# What a remedy loses that did not help, though it may be done again; looks and measurements are made once.
AGAIN = 2.5
# Share of looks and measurements that tell nothing, whatever is wrong.
INCONCLUSIVE = 0.05
# A cheap check is reached for first: power of its minutes.
CHEAPNESS = 0.5
# How much the common suspects draw: power of the seeded weights that a check bears on.
EXPERIENCE = 1.5
# Scale of the whim (Gumbel) that overrides habit.
WHIM = 0.6


@dataclass(frozen=True, eq=False)
class Bench:
    """What there is to do about one symptom; n checks, k suspects of its list.

    check (n,) positions in the vocabulary; is_remedy (n,); found, cured (n, k); log_weight (n,) of habit; points_to
    (n, n) 1 where the second is a remedy for what the first reveals; ease (k,) shares with which a guess names a
    suspect; treats (n, k) whether the check is a remedy meant for the suspect.
    """

    check: np.ndarray
    is_remedy: np.ndarray
    found: np.ndarray
    cured: np.ndarray
    log_weight: np.ndarray
    points_to: np.ndarray
    ease: np.ndarray
    treats: np.ndarray


@dataclass(frozen=True)
class Work:
    """Checks in the order made, as (position on the bench, outcome); `cured_by` is -1 when nothing cured."""

    steps: tuple[tuple[int, str], ...]
    cured_by: int


def make_benches(world: World) -> dict[str, Bench]:
    """Symptom -> bench."""
    return {symptom: _make_bench(world, symptom) for symptom in world.vocabulary.symptoms}


def work_on(bench: Bench, slot: int, rng: np.random.Generator, *, habit: np.ndarray, give_up: float) -> Work:
    """One repair of a machine whose true suspect is `slot`; what is done next depends on outcomes alone.

    Parameters
    ----------
    habit : (check of the vocabulary,) log weights of the shop
    give_up : P(stop) after each check but the first that did not cure
    """
    count = len(bench.check)
    score = bench.log_weight + habit[bench.check] + rng.gumbel(scale=WHIM, size=count)
    luck, patience = rng.random((count, 2)), rng.random(count)
    steps: list[tuple[int, str]] = []
    for step in range(count):
        at = int(score.argmax())
        outcome = _outcome(bench, at, slot, luck[step])
        score[at] -= AGAIN if outcome == "not_cured" else np.inf
        steps.append((at, outcome))
        if outcome == "cured":
            return Work(tuple(steps), at)
        if outcome == "fault_found":
            score += FOUND_PULL * bench.points_to[at]
        elif outcome == "clear":
            score -= CLEAR_PUSH * bench.points_to[at]
        if step > 0 and patience[step] < give_up:
            break
    return Work(tuple(steps), -1)


def access_minutes(vocabulary: Vocabulary, groups: frozenset[str]) -> float:
    """Minutes to open and close these access groups and those around them, each once."""
    needed: set[str] = set()
    for code in groups:
        while code and code not in needed:
            needed.add(code)
            code = vocabulary.access_groups[code].inside
    return sum(
        vocabulary.access_groups[code].open_minutes + vocabulary.access_groups[code].close_minutes for code in needed
    )


def _outcome(bench: Bench, at: int, slot: int, luck: np.ndarray) -> str:
    if bench.is_remedy[at]:
        return "cured" if luck[0] < bench.cured[at, slot] else "not_cured"
    if luck[1] < INCONCLUSIVE:
        return "inconclusive"
    return "fault_found" if luck[0] < bench.found[at, slot] else "clear"


def _make_bench(world: World, symptom: str) -> Bench:
    vocabulary = world.vocabulary
    codes, checks = vocabulary.suspects_of(symptom), vocabulary.checks_for(symptom)
    position = {code: at for at, code in enumerate(vocabulary.suspects)}
    row = {code: at for at, code in enumerate(vocabulary.checks)}
    check = np.array([row[c.code] for c in checks])
    at = np.ix_(check, [position[code] for code in codes])
    reveals = np.array([[code in c.reveals for code in codes] for c in checks])
    cures = np.array([[code in c.cures for code in codes] for c in checks])
    weight = np.array([STRENGTH_WEIGHTS[vocabulary.links.get((symptom, code), "rarely")] for code in codes])
    minutes = np.array([c.minutes + access_minutes(vocabulary, frozenset([c.access_group])) for c in checks])
    worth = ((reveals | cures) * weight).sum(1)
    return Bench(
        check=check,
        is_remedy=np.array([c.is_remedy for c in checks]),
        found=world.found[at],
        cured=world.cured[at],
        log_weight=EXPERIENCE * np.log(worth) - CHEAPNESS * np.log(minutes),
        points_to=(reveals.astype(int) @ cures.T.astype(int) > 0).astype(float),
        ease=_ease(cures, minutes),
        treats=cures,
    )


def _ease(cures: np.ndarray, minutes: np.ndarray) -> np.ndarray:
    """Shares (suspect,) in inverse proportion to the minutes of the quickest remedy; what has none is never guessed."""
    quickest = np.where(cures, minutes[:, None], np.inf).min(axis=0)
    return (1.0 / quickest) / (1.0 / quickest).sum()
