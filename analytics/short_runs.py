"""A fit carried on: many short Hamiltonian runs, each from a stored draw of the last fit, not a few long ones from
nowhere.

The stored draws come from almost the right distribution, and a step of the sampler never leads away from it: a few
trajectories bring in what the tickets since have changed. Many short chains: Margossian, Hoffman, Sountsov,
Riou-Durand, Vehtari and Gelman, Bayesian Analysis (2024); Hamiltonian Monte Carlo: Neal, Handbook of MCMC (2011),
chapter 5.
"""

from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass

import numpy as np
from threadpoolctl import threadpool_limits

from analytics.log_density import Density

# Each thread works on so many states at once: enough for numpy, few enough for the processor's cache.
BLOCK = 50
WANTED_ACCEPTANCE = 0.8
# How much of the miss a step size makes good after a trajectory; from the third on it stays, or it would bias.
CORRECTION, TUNED = 1.0, 2


@dataclass(frozen=True)
class Gait:
    """How a trajectory goes: so many steps, of this size at first. About a quarter turn forgets where it began, as far
    as one in so many variables can.
    """

    steps: int = 7
    first_size: float = 0.2


@dataclass(frozen=True, eq=False)
class Carried:
    """States after each trajectory that counts (trajectory, state, variable), the share of trajectories accepted, and
    those that flew off.
    """

    states: np.ndarray
    acceptance: float
    divergence_count: int


def carry_on(
    states: np.ndarray,
    density: Density,
    *,
    seed: int,
    trajectories: int,
    gait: Gait = Gait(),
    progress: Callable[[float], None] | None = None,
) -> Carried:
    """Every state moved by so many trajectories.

    Parameters
    ----------
    states : (state, variable) where the runs begin; their variances are the metric
    density : log density and gradient, see `log_density.make_density`
    trajectories : so many that count, an even number; `TUNED` more come first
    """
    scale = states.std(axis=0) + 1e-9
    blocks = np.array_split(states, max(1, len(states) // BLOCK))
    seeds = np.random.SeedSequence(seed).spawn(len(blocks))
    done = 0

    def run(block: np.ndarray, key: np.random.SeedSequence) -> Carried:
        nonlocal done
        carried = _run(block, density, scale, rng=np.random.default_rng(key), going=(gait, trajectories))
        done += 1
        if progress is not None:
            progress(done / len(blocks))
        return carried

    # two threads of ours, each with a matrix library that wants both processors, would wait for each other
    with threadpool_limits(1), ThreadPoolExecutor(2) as pool:
        parts = list(pool.map(run, blocks, seeds))
    return Carried(
        np.concatenate([part.states for part in parts], axis=1),
        float(np.average([part.acceptance for part in parts], weights=[len(block) for block in blocks])),
        sum(part.divergence_count for part in parts),
    )


def drift(carried: Carried) -> np.ndarray:
    """(variable,) R-hat between the earlier and the later half of the trajectories: 1 when nothing moves any more.

    The worse one of places and of distances from the mean, so that runs which still spread are seen too: Vehtari,
    Gelman, Simpson, Carpenter and Buerkner, Bayesian Analysis 16 (2021), for two groups and without ranks.
    """
    halves = np.stack([half.reshape(-1, half.shape[-1]) for half in np.split(carried.states, 2)])
    return np.maximum(_rhat(halves), _rhat(np.abs(halves - halves.mean(axis=(0, 1)))))


def _rhat(groups: np.ndarray) -> np.ndarray:
    within = _or_one(groups.var(axis=1, ddof=1).mean(axis=0))
    between = groups.mean(axis=1).var(axis=0, ddof=1)
    count = groups.shape[1]
    return np.sqrt((count - 1) / count + between / within)


def effective_draws(carried: Carried) -> np.ndarray:
    """(variable,) independent draws that would know the mean as well: runs are independent of each other, the states of
    one run are not.
    """
    of_runs = carried.states.mean(axis=0)
    return (
        carried.states.reshape(-1, of_runs.shape[1]).var(axis=0) * len(of_runs) / _or_one(of_runs.var(axis=0, ddof=1))
    )


def _or_one(variance: np.ndarray) -> np.ndarray:
    """A variable that cannot move must not divide by zero."""
    return np.where(variance > 0.0, variance, 1.0)


def _run(
    states: np.ndarray, density: Density, scale: np.ndarray, *, rng: np.random.Generator, going: tuple[Gait, int]
) -> Carried:
    gait, trajectories = going
    step_size, kept, rates, flown = gait.first_size, [], [], 0
    now = (states, *density(states))
    for at in range(TUNED + trajectories):
        # one that flies off ends in numbers that are none, and is given up
        with np.errstate(all="ignore"):
            now, rate, lost = _fly(now, density, (gait.steps, step_size * scale * rng.uniform(0.8, 1.2)), rng)
        if at < TUNED:
            step_size *= float(np.exp(CORRECTION * (rate - WANTED_ACCEPTANCE)))
        else:
            kept.append(now[0])
            rates.append(rate)
            flown += lost
    return Carried(np.stack(kept), float(np.mean(rates)), flown)


def _fly(
    now: tuple[np.ndarray, np.ndarray, np.ndarray],
    density: Density,
    stride: tuple[int, np.ndarray],
    rng: np.random.Generator,
) -> tuple[tuple[np.ndarray, np.ndarray, np.ndarray], float, int]:
    """One trajectory for each state, kept or given up by the rule of Metropolis; `stride`: how many steps, and their
    sizes (variable,).
    """
    start, value, slope = now
    steps, sizes = stride
    pace = rng.normal(size=start.shape)
    energy = value - 0.5 * (pace**2).sum(1)
    place, at_value, at_slope = start, value, slope
    for _ in range(steps):
        half = pace + 0.5 * sizes * at_slope
        place = place + sizes * half
        at_value, at_slope = density(place)
        pace = half + 0.5 * sizes * at_slope
    gain = at_value - 0.5 * (pace**2).sum(1) - energy
    gain = np.where(np.isfinite(gain), gain, -np.inf)
    kept = np.log(rng.random(len(start))) < gain
    # far below what any trajectory of a sound density loses
    lost = int((gain < -1000.0).sum())
    pick = kept[:, None]
    moved = (np.where(pick, place, start), np.where(kept, at_value, value), np.where(pick, at_slope, slope))
    return moved, float(np.minimum(1.0, np.exp(np.minimum(0.0, gain))).mean()), lost
