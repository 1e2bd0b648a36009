"""Coefficients <-> the arrays of log odds, rates and minutes they build: one linear map and its transpose."""

from typing import Any

import numba
import numpy as np

from analytics.model_inputs import ModelInputs
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


@numba.njit(error_model="numpy")
def assemble(x: Any, arrays: Any) -> Any:
    """The arrays of `EFFECT_DIMS` from the coefficients x, in the order of `terms.model_terms`."""
    starts, sizes, first, suspect, mode, pair, walk, reveal_check, remedy_check, seeded = arrays[:10]
    misread_mean, detection, cure, false_alarm, minutes = arrays[10:]
    families, suspects, shops, modes, pairs = sizes
    alpha = seeded.copy()
    for symptom in range(len(first) - 1):
        begin, end = first[symptom], first[symptom + 1]
        at = begin - symptom
        alpha[begin:end] += spread_out(x[at : at + end - begin - 1])
    beta, gamma = np.zeros((families + 1, suspects)), np.zeros((shops + 1, modes))
    fill_zero_sum(beta, x[starts[5] : starts[6]])
    fill_zero_sum(gamma, x[starts[6] : starts[7]])
    age_effect = np.zeros((len(alpha), walk.shape[0]))
    for step in range(walk.shape[1]):
        by_mode = spread_out(x[starts[7] + step * (modes - 1) : starts[7] + (step + 1) * (modes - 1)])
        by_suspect = spread_out(x[starts[8] + step * (suspects - 1) : starts[8] + (step + 1) * (suspects - 1)])
        for link in range(len(alpha)):
            value = by_mode[mode[link]] + by_suspect[suspect[link]] + x[starts[9] + step * pairs + pair[link]]
            for age in range(walk.shape[0]):
                age_effect[link, age] += walk[age, step] * value
    misread = np.empty((len(misread_mean), shops + 1))
    for grade in range(len(misread_mean)):
        misread[grade, :] = misread_mean[grade] + x[starts[10] + grade]
        misread[grade, :shops] += x[starts[11] : starts[12]]
    detection, cure, false_alarm, minutes = detection.copy(), cure.copy(), false_alarm.copy(), minutes.copy()
    check = np.arange(len(minutes))
    add_by_check(detection, reveal_check, x, starts[1])
    add_by_check(cure, remedy_check, x, starts[2])
    add_by_check(false_alarm, check, x, starts[3])
    add_by_check(minutes, check, x, starts[4])
    return alpha, beta, gamma, age_effect, misread, detection, cure, false_alarm, minutes


@numba.njit(error_model="numpy")
def gather_gradient(gradients: Any, x: Any, arrays: Any) -> Any:
    """Transpose of `assemble`: gradient by coefficient from the gradients by array."""
    starts, sizes, first, suspect, mode, pair, walk, reveal_check, remedy_check, seeded = arrays[:10]
    _families, suspects, shops, modes, pairs = sizes
    d_alpha, d_beta, d_gamma, d_age, d_misread = gradients[:5]
    out = np.zeros_like(x)
    for symptom in range(len(first) - 1):
        begin, end = first[symptom], first[symptom + 1]
        at = begin - symptom
        out[at : at + end - begin - 1] = draw_in(d_alpha[begin:end])
    for step in range(walk.shape[1]):
        by_mode, by_suspect = np.zeros(modes), np.zeros(suspects)
        for link in range(len(seeded)):
            value = 0.0
            for age in range(walk.shape[0]):
                value += walk[age, step] * d_age[link, age]
            by_mode[mode[link]] += value
            by_suspect[suspect[link]] += value
            out[starts[9] + step * pairs + pair[link]] += value
        out[starts[7] + step * (modes - 1) : starts[7] + (step + 1) * (modes - 1)] = draw_in(by_mode)
        out[starts[8] + step * (suspects - 1) : starts[8] + (step + 1) * (suspects - 1)] = draw_in(by_suspect)
    read_zero_sum(d_beta, out[starts[5] : starts[6]])
    read_zero_sum(d_gamma, out[starts[6] : starts[7]])
    for grade in range(d_misread.shape[0]):
        out[starts[10] + grade] = d_misread[grade].sum()
        out[starts[11] : starts[12]] += d_misread[grade, :shops]
    check = np.arange(len(gradients[8]))
    gather_by_check(gradients[5], reveal_check, out, starts[1])
    gather_by_check(gradients[6], remedy_check, out, starts[2])
    gather_by_check(gradients[7], check, out, starts[3])
    gather_by_check(gradients[8], check, out, starts[4])
    return out


@numba.njit
def add_by_check(target: Any, check: Any, x: Any, start: int) -> None:
    """Adds each check's coefficient to the rows of that check."""
    for row in range(len(target)):
        target[row] += x[start + check[row]]


@numba.njit
def gather_by_check(values: Any, check: Any, out: Any, start: int) -> None:
    """Transpose of `add_by_check`."""
    for row in range(len(values)):
        out[start + check[row]] += values[row]


@numba.njit
def spread_out(free: Any) -> Any:
    """n - 1 free coefficients -> n values that sum to zero.

    An isometry (the Householder form that PyMC's ZeroSumNormal uses), so unit normals stay unit normals.
    """
    n, total = len(free) + 1, free.sum()
    values = np.empty(n)
    values[: n - 1] = free - total / (np.sqrt(n) + n)
    values[n - 1] = -total / np.sqrt(n)
    return values


@numba.njit
def draw_in(values: Any) -> Any:
    """Transpose of `spread_out`, and its inverse for values that sum to zero."""
    n = len(values)
    head = values[: n - 1]
    return head - head.sum() / (np.sqrt(n) + n) - values[n - 1] / np.sqrt(n)


@numba.njit
def fill_zero_sum(table: Any, free: Any) -> None:
    """(n - 1)(m - 1) free coefficients -> n x m that sum to zero both ways; the last row of `table` stays zero."""
    rows, columns = table.shape[0] - 1, table.shape[1]
    if rows < 2 or columns < 2:
        return
    part = free.reshape((rows - 1, columns - 1))
    for row in range(rows - 1):
        table[row] = spread_out(part[row])
    for column in range(columns):
        table[:rows, column] = spread_out(table[: rows - 1, column])


@numba.njit
def read_zero_sum(table: Any, free: Any) -> None:
    """Transpose of `fill_zero_sum`."""
    rows, columns = table.shape[0] - 1, table.shape[1]
    if rows < 2 or columns < 2:
        return
    half = np.empty((rows - 1, columns))
    for column in range(columns):
        half[:, column] = draw_in(table[:rows, column])
    part = free.reshape((rows - 1, columns - 1))
    for row in range(rows - 1):
        part[row] = draw_in(half[row])
