"""Log likelihood of all tickets and its gradient in one pass."""

from typing import Any

import numba
import numpy as np

from analytics.packing import TICKETS, index_grid, index_row, number_grid, number_row


@numba.njit(error_model="numpy", inline="always")
def score_tickets(effects: Any, data: Any) -> Any:
    """(log likelihood, and its gradient by alpha, beta, gamma, age effect and misread rate).

    P(k | context, age) = odds_ka / Z_a, odds = exp(alpha + beta + gamma + age effect), Z_a = sum_k odds_ka. Sure
    tickets enter through margins. The arrays are those of `model_inputs.TicketTables`. Each pass loops over all
    contexts itself, because a call takes longer than the work that one context needs.
    """
    alpha, beta, gamma, age_effect, misread = effects
    lists = (index_grid(data, TICKETS), index_row(data, TICKETS + 1), index_row(data, TICKETS + 2),
             index_row(data, TICKETS + 3), index_grid(data, TICKETS + 4))  # fmt: skip
    sure, link_total, family_total = (
        number_grid(data, TICKETS + 5),
        number_row(data, TICKETS + 6),
        number_grid(data, TICKETS + 7),
    )
    shop_total, age_total = number_grid(data, TICKETS + 8), number_grid(data, TICKETS + 9)
    written = (index_row(data, TICKETS + 10), index_grid(data, TICKETS + 11), number_row(data, TICKETS + 12))
    patterns = (index_row(data, TICKETS + 13), index_grid(data, TICKETS + 14), number_row(data, TICKETS + 15),
                number_grid(data, TICKETS + 16))  # fmt: skip
    odds, part = weigh_suspects(alpha, beta, gamma, age_effect, lists)
    d_odds, pull = np.zeros(odds.shape), sure.copy()
    d_alpha, d_beta, d_gamma, d_age = link_total.copy(), family_total.copy(), shop_total.copy(), age_total.copy()
    d_misread = np.zeros(misread.shape)
    total = dot(alpha, link_total) + dot_grid(beta, family_total)
    total += dot_grid(gamma, shop_total) + dot_grid(age_effect, age_total)
    for at in range(sure.shape[0]):
        for age in range(sure.shape[1]):
            if sure[at, age] > 0.0:
                total += sure[at, age] * np.log(part[at, age])
    cells = (lists[4], lists[1], odds, part, d_odds, pull)
    total += score_written(cells, written, misread, d_misread)
    total += score_patterns(cells, patterns, number_grid(data, TICKETS + 17), misread, d_misread)
    gather_cells(cells, lists, d_alpha, d_beta, d_gamma, d_age)
    return total, d_alpha, d_beta, d_gamma, d_age, d_misread


@numba.njit(error_model="numpy")
def weigh_suspects(alpha: Any, beta: Any, gamma: Any, age_effect: Any, lists: Any) -> Any:
    """Odds of the suspects (context, slot, age) and one over their sum (context, age)."""
    slot_link, slot_count, link_suspect, link_mode, context = lists
    ages = age_effect.shape[1]
    base, by_family, by_shop = np.exp(alpha), exp_grid(beta), exp_grid(gamma)
    growth = exp_grid(age_effect)
    odds = np.empty((context.shape[0], slot_link.shape[1], ages))
    part = np.empty((context.shape[0], ages))
    total = np.empty(ages)
    for at in range(context.shape[0]):
        symptom, family, shop = context[at, 0], context[at, 1], context[at, 2]
        for age in range(ages):
            total[age] = 0.0
        for slot in range(slot_count[symptom]):
            link = slot_link[symptom, slot]
            scale = base[link] * by_family[family, link_suspect[link]] * by_shop[shop, link_mode[link]]
            for age in range(ages):
                odds[at, slot, age] = scale * growth[link, age]
                total[age] += odds[at, slot, age]
        for age in range(ages):
            part[at, age] = 1.0 / total[age]
    return odds, part


@numba.njit(error_model="numpy")
def score_written(cells: Any, rows: Any, misread: Any, d_misread: Any) -> float:
    """Tickets whose written suspect is the true one, or a guess among the list.

    Adds to the gradient by log odds (context, slot, age), to the pull of the normaliser (context, age), which is the
    number of tickets it divides, and to the gradient by misread rate (grade, shop).
    """
    context, slot_count, odds, part, d_odds, pull = cells
    start, written, weight = rows
    total = 0.0
    for at in range(context.shape[0]):
        even, shop = 1.0 / slot_count[context[at, 0]], context[at, 2]
        for row in range(start[at], start[at + 1]):
            age, slot, grade = written[row, 0], written[row, 1], written[row, 2]
            rate, chance = misread[grade, shop], odds[at, slot, age] * part[at, age]
            whole = (1.0 - rate) * chance + rate * even
            total += weight[row] * np.log(whole)
            believed = weight[row] * (1.0 - rate) * chance / whole
            d_odds[at, slot, age] += believed
            pull[at, age] += believed
            d_misread[grade, shop] += weight[row] * (even - chance) / whole
    return total


@numba.njit(error_model="numpy")
def score_patterns(cells: Any, rows: Any, age_share: Any, misread: Any, d_misread: Any) -> float:
    """Tickets that say how likely each suspect is, with or without the machine's age; adds like `score_written`.

    Without the age, P(k) is the mixture over ages, the same for every such ticket of the context.
    """
    context, slot_count, odds, part, d_odds, pull = cells
    start, pattern, pattern_weight, likelihood = rows
    ages, total = part.shape[1], 0.0
    weight, blend = np.empty(ages), np.empty(odds.shape[1])
    mixed, wanted = np.empty(odds.shape[1]), np.empty(odds.shape[1])
    for at in range(context.shape[0]):
        count, family, shop = slot_count[context[at, 0]], context[at, 1], context[at, 2]
        even, undated = 1.0 / count, False
        for row in range(start[at], start[at + 1]):
            undated = undated or pattern[row, 0] < 0
        if undated:
            for age in range(ages):
                weight[age] = age_share[family, age] * part[at, age]
            for slot in range(count):
                mixed[slot], wanted[slot] = 0.0, 0.0
                for age in range(ages):
                    mixed[slot] += odds[at, slot, age] * weight[age]
        for row in range(start[at], start[at + 1]):
            age, grade = pattern[row, 0], pattern[row, 1]
            rate = misread[grade, shop] if grade >= 0 else 0.0
            whole, slope = 0.0, 0.0
            for slot in range(count):
                chance = mixed[slot] if age < 0 else odds[at, slot, age] * part[at, age]
                blend[slot] = (likelihood[row, slot] * (1.0 - rate) + rate * even) * chance
                whole += blend[slot]
                slope += chance * (even - likelihood[row, slot])
            total += pattern_weight[row] * np.log(whole)
            scale = pattern_weight[row] / whole
            if grade >= 0:
                d_misread[grade, shop] += scale * slope
            if age >= 0:
                pull[at, age] += pattern_weight[row]
            for slot in range(count):
                if age < 0:
                    wanted[slot] += scale * blend[slot] / mixed[slot]
                else:
                    d_odds[at, slot, age] += scale * blend[slot]
        if undated:
            for slot in range(count):
                for age in range(ages):
                    step = wanted[slot] * odds[at, slot, age] * weight[age]
                    d_odds[at, slot, age] += step
                    pull[at, age] += step
    return total


@numba.njit(error_model="numpy")
def gather_cells(cells: Any, lists: Any, d_alpha: Any, d_beta: Any, d_gamma: Any, d_age: Any) -> None:
    """Adds the gradient by log odds of every context to the effects that its odds are made of."""
    context, slot_count, odds, part, d_odds, pull = cells
    slot_link, _slot_count, link_suspect, link_mode, _context = lists
    ages = part.shape[1]
    share = np.empty(ages)
    for at in range(context.shape[0]):
        symptom, family, shop = context[at, 0], context[at, 1], context[at, 2]
        for age in range(ages):
            share[age] = pull[at, age] * part[at, age]
        for slot in range(slot_count[symptom]):
            link, up = slot_link[symptom, slot], 0.0
            for age in range(ages):
                step = d_odds[at, slot, age] - share[age] * odds[at, slot, age]
                d_age[link, age] += step
                up += step
            d_alpha[link] += up
            d_beta[family, link_suspect[link]] += up
            d_gamma[shop, link_mode[link]] += up


@numba.njit
def exp_grid(values: Any) -> Any:
    """Exponential of every entry: a loop, because whole-array expressions take Numba far longer to compile."""
    out = np.empty(values.shape)
    for row in range(values.shape[0]):
        for column in range(values.shape[1]):
            out[row, column] = np.exp(values[row, column])
    return out


@numba.njit
def dot(left: Any, right: Any) -> float:
    """Sum of products of two vectors."""
    total = 0.0
    for at in range(len(left)):
        total += left[at] * right[at]
    return total


@numba.njit
def dot_grid(left: Any, right: Any) -> float:
    """Sum of products of two tables."""
    total = 0.0
    for row in range(left.shape[0]):
        total += dot(left[row], right[row])
    return total
