"""Many arrays as flat ones and back: the sampler compiles for each data array it is handed, so it gets one."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numba
import numpy as np


@dataclass(frozen=True)
class Packed:
    """numbers: all floats; indices: all integers (32 bit, as PyMC keeps data); places (array, 3): where each array
    begins, its rows, its columns (0: it has one dim).
    """

    numbers: np.ndarray
    indices: np.ndarray
    places: np.ndarray

    @property
    def data(self) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """The three, as the compiled likelihoods take them."""
        return self.numbers, self.indices, self.places

    @property
    def one(self) -> np.ndarray:
        """All three as one array of 32 bit integers: their sizes, the bytes of the floats, indices, places."""
        sizes = [self.numbers.size, self.indices.size, self.places.size, 0]  # four keep the floats on 8 byte borders
        parts = [np.array(sizes), self.numbers.view(np.int32), self.indices, self.places.ravel()]
        return np.concatenate([np.asarray(part, dtype=np.int32) for part in parts])


def pack_arrays(arrays: Sequence[np.ndarray]) -> Packed:
    """Arrays of one or two dims, in order."""
    flat: dict[str, list[np.ndarray]] = {"f": [np.zeros(0)], "i": [np.zeros(0, dtype=np.int32)]}
    places = []
    for values in arrays:
        kind = values.dtype.kind
        places.append(
            (sum(len(part) for part in flat[kind]), values.shape[0], values.shape[1] if values.ndim > 1 else 0)
        )
        flat[kind].append(np.ascontiguousarray(values, dtype=np.float64 if kind == "f" else np.int32).ravel())
    return Packed(np.concatenate(flat["f"]), np.concatenate(flat["i"]), np.array(places, dtype=np.int32))


SIZES = 4


@numba.njit
def unpack(one: Any) -> Any:
    """`Packed.data` of a `Packed.one`, as views."""
    numbers_end = SIZES + 2 * one[0]
    indices_end = numbers_end + one[1]
    places = one[indices_end : indices_end + one[2]]
    return one[SIZES:numbers_end].view(np.float64), one[numbers_end:indices_end], places.reshape((-1, 3))


# Where each likelihood's arrays begin among the packed ones; `log_likelihood.pack_evidence` keeps this order.
ASSEMBLY, TICKETS, CHECKS, WISHES = 0, 15, 33, 42


@numba.njit
def number_row(data: Any, at: int) -> Any:
    """Packed array number `at` of `data`, the fields of `Packed`: floats, one dim."""
    numbers, _, places = data
    return numbers[places[at, 0] : places[at, 0] + places[at, 1]]


@numba.njit
def index_row(data: Any, at: int) -> Any:
    """The same for integers."""
    _, indices, places = data
    return indices[places[at, 0] : places[at, 0] + places[at, 1]]


@numba.njit
def number_grid(data: Any, at: int) -> Any:
    """The same for floats in two dims."""
    numbers, _, places = data
    start, rows, columns = places[at, 0], places[at, 1], places[at, 2]
    return numbers[start : start + rows * columns].reshape((rows, columns))


@numba.njit
def index_grid(data: Any, at: int) -> Any:
    """The same for integers in two dims."""
    _, indices, places = data
    start, rows, columns = places[at, 0], places[at, 1], places[at, 2]
    return indices[start : start + rows * columns].reshape((rows, columns))
