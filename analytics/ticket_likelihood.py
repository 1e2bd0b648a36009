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


# Sums may be taken in any order, so that the processor adds several suspects at a time.
ANY_ORDER = {"reassoc", "contract"}
# Logarithms of single tickets are taken of their product, as long as it is far from what a number can hold.
SMALLEST_FACTOR, SMALLEST_PRODUCT = 1e-100, 1e-150


@numba.njit(error_model="numpy")
def score_patterns(cells: Any, rows: Any, age_share: Any, misread: Any, d_misread: Any) -> float:
    """Tickets that say how likely each suspect is, with or without the machine's age; adds like `score_written`.

    Rows of one context, age and grade stand together, see `model_inputs`: their P(k) is the same, and so is what each
    adds to the gradient but for its likelihoods, so that a row costs two passes over its suspects and no more.
    Without the age, P(k) is the mixture over ages.
    """
    context, slot_count = cells[0], cells[1]
    start, pattern, weight, likelihood = rows
    width, total = likelihood.shape[1], 0.0
    chance, wanted = np.zeros(width), np.zeros(width)
    for at in range(context.shape[0]):
        count, shop, first = slot_count[context[at, 0]], context[at, 2], start[at]
        while first < start[at + 1]:
            age, grade, last = pattern[first, 0], pattern[first, 1], first + 1
            while last < start[at + 1] and pattern[last, 0] == age and pattern[last, 1] == grade:
                last += 1
            rate = misread[grade, shop] if grade >= 0 else 0.0
            place = (at, age, count)
            mix_ages(place, cells, age_share, chance)
            value, slope = score_alike(
                (weight[first:last], likelihood[first:last]), chance, (rate, 1.0 / count), wanted
            )
            total += value
            if grade >= 0:
                d_misread[grade, shop] += slope
            spread_wanted(place, cells, age_share, wanted)
            first = last
    return total


@numba.njit(error_model="numpy")
def mix_ages(place: Any, cells: Any, age_share: Any, chance: Any) -> None:
    """Sets `chance` (slot,) to P(k) in the context and age of `place`; without an age, to its mixture over ages."""
    context, _slot_count, odds, part, _d_odds, _pull = cells
    at, age, count = place
    for slot in range(len(chance)):
        chance[slot] = 0.0
    for slot in range(count):
        if age >= 0:
            chance[slot] = odds[at, slot, age] * part[at, age]
        else:
            for each in range(part.shape[1]):
                chance[slot] += odds[at, slot, each] * part[at, each] * age_share[context[at, 1], each]


@numba.njit(error_model="numpy", fastmath=ANY_ORDER)
def score_alike(rows: Any, chance: Any, guess: Any, wanted: Any) -> Any:
    """(log likelihood, slope by misread rate) of rows with one P(k); sets `wanted` (slot,) to the gradient by P(k).

    A row's probability is (1 - rate) sum_k P(k) L(k) + rate * even. The second part does not depend on P(k).
    """
    weight, likelihood = rows
    rate, even = guess
    total, slope, product = 0.0, 0.0, 1.0
    for slot in range(len(wanted)):
        wanted[slot] = 0.0
    for row in range(len(weight)):
        told, inside = likelihood[row], 0.0
        for slot in range(len(chance)):
            inside += told[slot] * chance[slot]
        whole = (1.0 - rate) * inside + rate * even
        if weight[row] == 1.0 and whole > SMALLEST_FACTOR:
            product *= whole
            if product < SMALLEST_PRODUCT:
                total, product = total + np.log(product), 1.0
        else:
            total += weight[row] * np.log(whole)
        scale = weight[row] / whole
        slope += scale * (even - inside)
        scale *= 1.0 - rate
        for slot in range(len(wanted)):
            wanted[slot] += scale * told[slot]
    return total + np.log(product), slope


@numba.njit(error_model="numpy")
def spread_wanted(place: Any, cells: Any, age_share: Any, wanted: Any) -> None:
    """Adds a gradient by P(k) to the gradient by log odds and to the pull of the normaliser."""
    context, _slot_count, odds, part, d_odds, pull = cells
    at, age, count = place
    for slot in range(count):
        for each in range(part.shape[1]):
            if age >= 0 and each != age:
                continue
            share = part[at, each] if age >= 0 else part[at, each] * age_share[context[at, 1], each]
            step = wanted[slot] * odds[at, slot, each] * share
            d_odds[at, slot, each] += step
            pull[at, each] += step


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
