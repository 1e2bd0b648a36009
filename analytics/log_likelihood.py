"""Log likelihood of tickets, checks and wishes with its gradient in one pass, as an operation that PyMC can compile.

Written out in general tensor operations the same likelihood compiled for a minute and sampled several times slower; a
test holds it against the formulas written out plainly and against finite differences.
"""

import ctypes
import sys
from dataclasses import fields
from functools import cache
from typing import Any

import numba
import numpy as np
import pytensor.tensor as pt
from llvmlite.binding import add_symbol
from numba import types
from pytensor.gradient import DisconnectedType
from pytensor.graph.basic import Apply, Variable
from pytensor.graph.op import Op
from pytensor.link.numba.dispatch.basic import register_funcify_and_cache_key

from analytics import check_likelihood, effects, packing, ticket_likelihood, wish_likelihood
from analytics.check_likelihood import score_checks, score_minutes
from analytics.effects import assemble, assembly_arrays, gather_gradient
from analytics.kernels import fingerprint
from analytics.model_inputs import ModelInputs
from analytics.packing import CHECKS, Packed, number_row, pack_arrays, unpack
from analytics.priors import LinkPrior
from analytics.terms import Priors
from analytics.ticket_likelihood import score_tickets
from analytics.wish_likelihood import score_wishes, wish_arrays


def pack_evidence(inputs: ModelInputs, link_prior: LinkPrior, priors: Priors) -> Packed:
    """Everything the operation reads beside coefficients and minutes spread, in the order that `packing` states."""
    links, table = inputs.links, inputs.checks
    lists = (links.slot_link, links.slot_used.sum(1), links.suspect, links.mode)
    counted = (table.reveal_hit, table.reveal_tried, table.cure_hit, table.cure_tried, table.false_alarm_hit)
    timed = (table.minutes_count, table.log_minutes_sum, table.log_minutes_square)
    return pack_arrays(
        [
            *assembly_arrays(inputs, link_prior, priors),
            *lists,
            *(getattr(inputs.tickets, field.name) for field in fields(inputs.tickets)),
            inputs.age_share,
            *counted,
            table.false_alarm_tried,
            *timed,
            *wish_arrays(links, link_prior),
        ]
    )


@numba.njit
def _expit(logit: Any) -> Any:
    out = np.empty(logit.shape)
    for row in range(logit.shape[0]):
        for column in range(logit.shape[1]):
            out[row, column] = 1.0 / (1.0 + np.exp(-logit[row, column]))
    return out


@numba.njit(inline="always")
def log_likelihood(x: Any, minutes_spread: float, numbers: Any, indices: Any, places: Any) -> Any:
    """(log likelihood, gradient by coefficient, gradient by minutes spread)."""
    data = (numbers, indices, places)
    alpha, beta, gamma, age_effect, misread_logit, detection, cure, false_alarm, log_minutes = assemble(x, data)
    misread = _expit(misread_logit)
    total, d_alpha, d_beta, d_gamma, d_age, d_misread = score_tickets((alpha, beta, gamma, age_effect, misread), data)
    total += score_wishes(alpha, d_alpha, data)
    found, d_detection = score_checks(detection, number_row(data, CHECKS), number_row(data, CHECKS + 1))
    cured, d_cure = score_checks(cure, number_row(data, CHECKS + 2), number_row(data, CHECKS + 3))
    false, d_false_alarm = score_checks(false_alarm, number_row(data, CHECKS + 4), number_row(data, CHECKS + 5))
    counted = (number_row(data, CHECKS + 6), number_row(data, CHECKS + 7), number_row(data, CHECKS + 8))
    timed, d_minutes, d_spread = score_minutes(log_minutes, minutes_spread, counted)
    for grade in range(misread.shape[0]):
        for shop in range(misread.shape[1]):
            d_misread[grade, shop] *= misread[grade, shop] * (1.0 - misread[grade, shop])
    gradients = (d_alpha, d_beta, d_gamma, d_age, d_misread, d_detection, d_cure,
                 d_false_alarm, d_minutes)  # fmt: skip
    return total + found + cured + false + timed, gather_gradient(gradients, x, data), d_spread


class LogLikelihood(Op):
    """`log_likelihood` as an operation: the value first, then its gradient by coefficient and by minutes spread."""

    __props__ = ()

    def make_node(self, *inputs: Variable) -> Apply:
        """Inputs: coefficients (coefficient,), minutes spread (), then the packed evidence, `Packed.one`."""
        variables = [pt.as_tensor_variable(value) for value in inputs]
        return Apply(self, variables, [pt.dscalar(), pt.dvector(), pt.dscalar()])

    def perform(self, node: Apply, inputs: list[np.ndarray], output_storage: list[list[Any]]) -> None:  # noqa: ARG002
        """Plain evaluation, where the graph is not compiled as a whole."""
        x, spread, one = inputs
        for storage, part in zip(output_storage, evaluate(x, float(spread), *unpack(one)), strict=True):
            storage[0] = np.asarray(part)

    def pullback(self, inputs: list[Variable], outputs: list[Variable], cotangents: list[Variable]) -> list[Variable]:
        """The gradient is computed with the value; the evidence is data."""
        slope = [cotangents[0] * outputs[1], cotangents[0] * outputs[2]]
        return [*slope, *(DisconnectedType()() for _ in inputs[2:])]

    def connection_pattern(self, node: Apply) -> list[list[bool]]:
        """Value depends on coefficients and minutes spread only."""
        return [[at < 2, False, False] for at in range(len(node.inputs))]


POINTER_SIGNATURE = types.float64(
    *(types.CPointer(types.float64), types.intp, types.float64),
    *(types.CPointer(types.float64), types.intp, types.CPointer(types.int32), types.intp),
    *(types.CPointer(types.int32), types.intp, types.CPointer(types.float64)),
)
LINKER_NAME = "faultodds_log_likelihood"
KERNEL_MODULES = (effects, packing, check_likelihood, ticket_likelihood, wish_likelihood)


def _make_pointer_function(fingerprint: int) -> Any:
    """`log_likelihood` for callers that are compiled apart; `out` takes the gradient and then the slope by spread.

    Numba optimises whatever a function calls once more with the function itself. The sampler wraps the likelihood four
    times, so without this cut compiling takes four times as long, in every process.

    The compiled code is cached on disk. Numba looks only at this file for changes, so `fingerprint`, being part of the
    function's closure, stands for the kernels in other files.
    """

    @numba.cfunc(POINTER_SIGNATURE, cache=True)
    def run_through_pointer(
        x: Any,
        x_size: int,
        spread: float,
        numbers: Any,
        number_count: int,
        indices: Any,
        index_count: int,
        places: Any,
        place_count: int,
        out: Any,
    ) -> float:
        value, gradient, slope = log_likelihood(
            numba.carray(x, x_size),
            spread,
            numba.carray(numbers, number_count),
            numba.carray(indices, index_count),
            numba.carray(places, (place_count // 3, 3)),
        )
        result = numba.carray(out, x_size + 1)
        for at in range(x_size):
            result[at] = gradient[at]
        result[x_size] = slope
        return value if fingerprint >= 0 else 0.0

    return run_through_pointer


@cache
def _pointer_function() -> Any:
    return _make_pointer_function(_kernels_fingerprint())


def _kernels_fingerprint() -> int:
    return fingerprint(sys.modules[__name__], *KERNEL_MODULES)


def compile_kernels() -> None:
    """Compiles the likelihood and keeps it on disk, as installing does, so that the first fit need not."""
    _pointer_function()


def evaluate(
    x: np.ndarray, minutes_spread: float, numbers: np.ndarray, indices: np.ndarray, places: np.ndarray
) -> tuple[float, np.ndarray, float]:
    """`log_likelihood` through the code that is compiled once for every process."""
    x, out = np.ascontiguousarray(x, dtype=np.float64), np.empty(x.size + 1)

    def at(array: np.ndarray, kind: type) -> Any:
        return array.ctypes.data_as(ctypes.POINTER(kind))

    value = _pointer_function().ctypes(
        *(at(x, ctypes.c_double), x.size, minutes_spread, at(numbers, ctypes.c_double), numbers.size),
        *(at(indices, ctypes.c_int32), indices.size, at(places, ctypes.c_int32), places.size),
        at(out, ctypes.c_double),
    )
    return value, out[:-1], float(out[-1])


def _named_call() -> Any:
    """The compiled likelihood by a name that the linker knows, so that what calls it can be kept on disk too."""
    add_symbol(LINKER_NAME, _pointer_function().address)
    return types.ExternalFunction(LINKER_NAME, POINTER_SIGNATURE)


@register_funcify_and_cache_key(LogLikelihood)
def _compile_log_likelihood(op: LogLikelihood, **kwargs: Any) -> tuple[Any, str]:  # noqa: ARG001
    call = _named_call()

    @numba.njit
    def run(x: Any, minutes_spread: Any, one: Any) -> Any:
        out, x = np.empty(x.shape[0] + 1), np.ascontiguousarray(x)
        numbers, indices, places = unpack(one)
        value = call(
            x.ctypes, x.size, minutes_spread.item(), numbers.ctypes, numbers.size, indices.ctypes, indices.size,
            places.ctypes, places.size, out.ctypes,
        )  # fmt: skip
        return np.asarray(value), out[:-1], np.asarray(out[-1])

    # what is kept on disk unpacks the evidence itself, so it is another one when a kernel's file changes
    return run, f"{LINKER_NAME}-{_kernels_fingerprint()}"
