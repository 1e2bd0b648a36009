"""Coefficients <-> the arrays of log odds, rates and minutes they build: one linear map and its transpose."""

from typing import Any

import numba
import numpy as np

from analytics.model_inputs import ModelInputs
from analytics.packing import ASSEMBLY, index_row, number_grid, number_row
from analytics.priors import LinkPrior
from analytics.terms import Priors, model_terms, term_starts

# Names of the arrays that `assemble` returns, in order, with their dims.
EFFECT_DIMS = {
    "alpha": ("link",),
    "beta": ("family", "suspect"),
    "gamma": ("shop", "mode"),
    "age_effect": ("link", "age"),
    "misread_logit": ("grade", "shop"),
    "detection_logit": ("reveal",),
    "cure_logit": ("remedy",),
    "false_alarm_logit": ("check",),
    "log_minutes": ("check",),
}


def assembly_arrays(inputs: ModelInputs, link_prior: LinkPrior, priors: Priors) -> tuple[np.ndarray, ...]:
    """What `assemble` needs beside the coefficients; families and shops get one more row, of zeros: the unknown one."""
    links, table = inputs.links, inputs.checks
    sizes = [len(inputs.families), len(links.suspects), len(inputs.shops), len(links.modes), len(links.pairs)]
    age_count = len(inputs.ages)
    walk = np.tril(np.ones((age_count, age_count - 1)), -1)
    return (
        term_starts(model_terms(inputs, priors)),
        np.array(sizes),
        np.append(links.slot_link[:, 0], len(links.symptom)),
        links.suspect,
        links.mode,
        links.pair,
        # centred, so that an age curve cannot stand in for alpha
        walk - walk.mean(0),
        table.reveal_check,
        table.cure_check,
        link_prior.log_weight,
        np.array(priors.misread_mean),
        _logit(table.reveal_seeded),
        _logit(table.cure_seeded),
        _logit(table.false_alarm_seeded),
        table.log_minutes_seeded,
    )


def _logit(rate: np.ndarray) -> np.ndarray:
    rate = np.clip(rate, 0.001, 0.999)
    return np.log(rate / (1.0 - rate))


@numba.njit
def _layout(data: Any) -> Any:
    """Starts of the terms and of the symptoms' lists; suspect, failure mode and pair of each link; the random walk."""
    rows = (index_row(data, ASSEMBLY), index_row(data, ASSEMBLY + 2), index_row(data, ASSEMBLY + 3))
    return *rows, index_row(data, ASSEMBLY + 4), index_row(data, ASSEMBLY + 5), number_grid(data, ASSEMBLY + 6)


@numba.njit
def _sizes(data: Any) -> Any:
    """How many families, suspects, shops, failure modes and pairs of symptom and failure mode."""
    sizes = index_row(data, ASSEMBLY + 1)
    return sizes[0], sizes[1], sizes[2], sizes[3], sizes[4]


@numba.njit(error_model="numpy")
def assemble(x: Any, data: Any) -> Any:
    """The arrays of `EFFECT_DIMS` from the coefficients x, in the order of `terms.model_terms`."""
    starts, first, suspect, mode, pair, walk = _layout(data)
    families, suspects, shops, modes, pairs = _sizes(data)
    seeded, misread_mean = number_row(data, ASSEMBLY + 9), number_row(data, ASSEMBLY + 10)
    alpha = np.empty(len(seeded))
    for symptom in range(len(first) - 1):
        begin, end = first[symptom], first[symptom + 1]
        spread_out(x[begin - symptom : end - symptom - 1], alpha[begin:end])
    for link in range(len(alpha)):
        alpha[link] += seeded[link]
    beta, gamma = np.zeros((families + 1, suspects)), np.zeros((shops + 1, modes))
    fill_zero_sum(beta, x[starts[5] : starts[6]])
    fill_zero_sum(gamma, x[starts[6] : starts[7]])
    age_effect = np.zeros((len(alpha), walk.shape[0]))
    by_mode, by_suspect = np.empty(modes), np.empty(suspects)
    for step in range(walk.shape[1]):
        spread_out(x[starts[7] + step * (modes - 1) : starts[7] + (step + 1) * (modes - 1)], by_mode)
        spread_out(x[starts[8] + step * (suspects - 1) : starts[8] + (step + 1) * (suspects - 1)], by_suspect)
        for link in range(len(alpha)):
            value = by_mode[mode[link]] + by_suspect[suspect[link]] + x[starts[9] + step * pairs + pair[link]]
            for age in range(walk.shape[0]):
                age_effect[link, age] += walk[age, step] * value
    misread = np.empty((len(misread_mean), shops + 1))
    for grade in range(len(misread_mean)):
        for shop in range(shops + 1):
            own = x[starts[11] + shop] if shop < shops else 0.0
            misread[grade, shop] = misread_mean[grade] + x[starts[10] + grade] + own
    check = np.arange(len(number_row(data, ASSEMBLY + 14)))
    return (
        *(alpha, beta, gamma, age_effect, misread),
        add_by_check(number_row(data, ASSEMBLY + 11), index_row(data, ASSEMBLY + 7), x, starts[1]),
        add_by_check(number_row(data, ASSEMBLY + 12), index_row(data, ASSEMBLY + 8), x, starts[2]),
        add_by_check(number_row(data, ASSEMBLY + 13), check, x, starts[3]),
        add_by_check(number_row(data, ASSEMBLY + 14), check, x, starts[4]),
    )


@numba.njit(error_model="numpy")
def gather_gradient(gradients: Any, x: Any, data: Any) -> Any:
    """Transpose of `assemble`: gradient by coefficient from the gradients by array."""
    starts, first, suspect, mode, pair, walk = _layout(data)
    _families, suspects, shops, modes, pairs = _sizes(data)
    d_alpha, d_beta, d_gamma, d_age, d_misread = gradients[:5]
    out = np.zeros(len(x))
    for symptom in range(len(first) - 1):
        begin, end = first[symptom], first[symptom + 1]
        draw_in(d_alpha[begin:end], out[begin - symptom : end - symptom - 1])
    by_mode, by_suspect = np.empty(modes), np.empty(suspects)
    for step in range(walk.shape[1]):
        by_mode[:], by_suspect[:] = 0.0, 0.0
        for link in range(len(d_alpha)):
            value = 0.0
            for age in range(walk.shape[0]):
                value += walk[age, step] * d_age[link, age]
            by_mode[mode[link]] += value
            by_suspect[suspect[link]] += value
            out[starts[9] + step * pairs + pair[link]] += value
        draw_in(by_mode, out[starts[7] + step * (modes - 1) : starts[7] + (step + 1) * (modes - 1)])
        draw_in(by_suspect, out[starts[8] + step * (suspects - 1) : starts[8] + (step + 1) * (suspects - 1)])
    read_zero_sum(d_beta, out[starts[5] : starts[6]])
    read_zero_sum(d_gamma, out[starts[6] : starts[7]])
    for grade in range(d_misread.shape[0]):
        for shop in range(shops + 1):
            out[starts[10] + grade] += d_misread[grade, shop]
            if shop < shops:
                out[starts[11] + shop] += d_misread[grade, shop]
    check = np.arange(len(gradients[8]))
    gather_by_check(gradients[5], index_row(data, ASSEMBLY + 7), out, starts[1])
    gather_by_check(gradients[6], index_row(data, ASSEMBLY + 8), out, starts[2])
    gather_by_check(gradients[7], check, out, starts[3])
    gather_by_check(gradients[8], check, out, starts[4])
    return out


@numba.njit
def add_by_check(seeded: Any, check: Any, x: Any, start: int) -> Any:
    """Seeded value of each row plus the coefficient of its check."""
    out = np.empty(len(seeded))
    for row in range(len(seeded)):
        out[row] = seeded[row] + x[start + check[row]]
    return out


@numba.njit
def gather_by_check(values: Any, check: Any, out: Any, start: int) -> None:
    """Transpose of `add_by_check`."""
    for row in range(len(values)):
        out[start + check[row]] += values[row]


@numba.njit
def spread_out(free: Any, values: Any) -> None:
    """n - 1 free coefficients -> n values that sum to zero.

    An isometry (the Householder form that PyMC's ZeroSumNormal uses), so unit normals stay unit normals. Loops, here
    and below: Numba compiles whole-array expressions many times slower.
    """
    n, total = len(values), 0.0
    for at in range(n - 1):
        total += free[at]
    for at in range(n - 1):
        values[at] = free[at] - total / (np.sqrt(n) + n)
    values[n - 1] = -total / np.sqrt(n)


@numba.njit
def draw_in(values: Any, free: Any) -> None:
    """Transpose of `spread_out`, and its inverse for values that sum to zero."""
    n, total = len(values), 0.0
    for at in range(n - 1):
        total += values[at]
    for at in range(n - 1):
        free[at] = values[at] - total / (np.sqrt(n) + n) - values[n - 1] / np.sqrt(n)


def zero_sum_basis(count: int) -> np.ndarray:
    """(value, free coefficient): `spread_out` as a matrix; its columns are orthonormal."""
    basis = np.empty((count, count - 1))
    for column, free in enumerate(np.eye(count - 1)):
        spread_out(free, basis[:, column])
    return basis


@numba.njit
def fill_zero_sum(table: Any, free: Any) -> None:
    """(n - 1)(m - 1) free coefficients -> n x m that sum to zero both ways; the last row of `table` stays zero."""
    rows, columns = table.shape[0] - 1, table.shape[1]
    if rows < 2 or columns < 2:
        return
    column_free, column_values = np.empty(rows - 1), np.empty(rows)
    for row in range(rows - 1):
        spread_out(free[row * (columns - 1) : (row + 1) * (columns - 1)], table[row])
    for column in range(columns):
        for row in range(rows - 1):
            column_free[row] = table[row, column]
        spread_out(column_free, column_values)
        for row in range(rows):
            table[row, column] = column_values[row]


@numba.njit
def read_zero_sum(table: Any, free: Any) -> None:
    """Transpose of `fill_zero_sum`."""
    rows, columns = table.shape[0] - 1, table.shape[1]
    if rows < 2 or columns < 2:
        return
    half, column_free, column_values = np.empty((rows - 1, columns)), np.empty(rows - 1), np.empty(rows)
    for column in range(columns):
        for row in range(rows):
            column_values[row] = table[row, column]
        draw_in(column_values, column_free)
        for row in range(rows - 1):
            half[row, column] = column_free[row]
    for row in range(rows - 1):
        draw_in(half[row], free[row * (columns - 1) : (row + 1) * (columns - 1)])
