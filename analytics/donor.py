"""A machine bought for its parts: what they spare over the years to come, against its price and the floor it takes."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from analytics.errors import InputError
from analytics.spares import expected_served

DRAWS = 20_000
TAILS = (0.05, 0.95)


@dataclass(frozen=True)
class Good:
    """Assemblies of a donor that may be good: how many there are, and P(one of them is good)."""

    chance: float
    units: int = 1


@dataclass(frozen=True)
class DonorPart:
    """One part of a donor.

    Parameters
    ----------
    chances : (unit,) P(the unit is good)
    value : what one unit that is used spares
    """

    part: str
    chances: tuple[float, ...]
    value: float


@dataclass(frozen=True, eq=False)
class PartSaving:
    """What one part of a donor spares over the horizon: means, and a 90 % interval of the money."""

    part: str
    wanted: float
    good: float
    served: float
    saved: float
    low: float
    high: float


@dataclass(frozen=True, eq=False)
class DonorWorth:
    """What a donor spares in all over the horizon, less price and floor.

    Parameters
    ----------
    cost : price and floor space over the horizon
    saved, net : mean of the money spared, and of what is left after `cost`
    low, high : 90 % interval of `net`
    chance_pays : P(more is spared than it costs)
    parts : the parts that carry the value first
    """

    cost: float
    saved: float
    net: float
    low: float
    high: float
    chance_pays: float
    parts: tuple[PartSaving, ...]


def units_of_parts(good: Mapping[str, Good], parts_in: Mapping[str, tuple[str, ...]]) -> dict[str, tuple[float, ...]]:
    """Part -> P(good) of every unit in the donor.

    Parameters
    ----------
    good : component -> what is believed of it
    parts_in : component -> parts that can be taken out of one

    Raises
    ------
    InputError
        For a component without any part, a chance outside 0 to 1, or units below 1.
    """
    found: dict[str, list[float]] = {}
    for component, told in good.items():
        if component not in parts_in:
            raise InputError(
                f"'{component}' holds no part that a check of the list fits. Components that do: {', '.join(parts_in)}."
            )
        if not 0.0 <= told.chance <= 1.0 or not 1 <= told.units <= 1_000:
            raise InputError(
                f"'{component}' was given as {told.units} units good with {told.chance:g}. "
                "Give a chance from 0 to 1 and 1 to 1000 units, like 0.9 or 0.9x4."
            )
        for part in parts_in[component]:
            found.setdefault(part, []).extend([told.chance] * told.units)
    return {part: tuple(chances) for part, chances in found.items()}


def value_donor(parts: Sequence[DonorPart], demand: Any, *, cost: float, rng: np.random.Generator) -> DonorWorth:
    """What a donor is worth.

    Parameters
    ----------
    parts : parts with a value
    demand : frozen distribution of the uses over the horizon, (part,) in the order of `parts`
    cost : price and floor space over the horizon, 0 or more

    Notes
    -----
    A part spares its value once for each use that the donor serves: min(demand, good units). Means are exact, intervals
    come from `DRAWS` draws. Parts are taken as wanted independently of each other.
    """
    if not (np.isfinite(cost) and cost >= 0):
        raise InputError(f"Price and floor space came to {cost:g}. Give amounts of 0 or more.")
    values = np.array([part.value for part in parts])
    wanted = demand.rvs(size=(DRAWS, len(parts)), random_state=rng)
    good = np.stack([(rng.random((DRAWS, len(p.chances))) < p.chances).sum(1) for p in parts], axis=1)
    saved = np.minimum(wanted, good) * values
    net = saved.sum(1) - cost
    served = _served(parts, demand)
    low, high = np.quantile(saved, TAILS, axis=0)
    rows = [
        PartSaving(
            part=part.part,
            wanted=float(demand.mean()[at]),
            good=float(sum(part.chances)),
            served=float(served[at]),
            saved=float(served[at] * part.value),
            low=float(low[at]),
            high=float(high[at]),
        )
        for at, part in enumerate(parts)
    ]
    net_low, net_high = np.quantile(net, TAILS)
    total = float(served @ values)
    return DonorWorth(
        cost=cost,
        saved=total,
        net=total - cost,
        low=float(net_low),
        high=float(net_high),
        chance_pays=float((net > 0).mean()),
        parts=tuple(sorted(rows, key=lambda row: -row.saved)),
    )


def _served(parts: Sequence[DonorPart], demand: Any) -> np.ndarray:
    """(part,) mean of min(demand, good units), exact: over the number of good units, each with its chance."""
    served = np.zeros(len(parts))
    most = max(len(part.chances) for part in parts)
    by_units = [expected_served(demand, np.full(len(parts), units)) for units in range(most + 1)]
    for at, part in enumerate(parts):
        chance = np.array([1.0])
        for each in part.chances:
            chance = np.convolve(chance, [1.0 - each, each])
        served[at] = sum(share * by_units[units][at] for units, share in enumerate(chance))
    return served
