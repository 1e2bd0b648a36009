"""Log likelihood of all tickets and its gradient in one pass."""

from typing import Any

import numba
import numpy as np


@numba.njit(error_model="numpy")
def score_tickets(effects: Any, tables: Any) -> Any:
    """(log likelihood, and its gradient by alpha, beta, gamma, age effect and misread rate).

    P(k | context, age) = X_k W_ka / Z_a with X = exp(alpha + beta + gamma), W = exp(age effect), Z_a = sum_k X_k W_ka:
    one pass over the contexts that have tickets yields every Z. Sure tickets enter through margins. The arrays are
    those of `model_inputs.TicketTables`.
    """
    alpha, beta, gamma, age_effect, misread = effects
    slot_link, slot_count, link_suspect, link_mode, context, sure = tables[:6]
    link_total, family_total, shop_total, age_total = tables[6:10]
    written_start, written, written_weight, pattern_start, pattern, pattern_weight = tables[10:16]
    pattern_likelihood, age_share = tables[16:]
    age_count = age_effect.shape[1]
    growth = np.exp(age_effect)
    by_link = np.empty((alpha.shape[0], beta.shape[0]))
    for link in range(alpha.shape[0]):
        for family in range(beta.shape[0]):
            by_link[link, family] = np.exp(alpha[link] + beta[family, link_suspect[link]])
    by_shop = np.exp(gamma)
    d_alpha, d_beta, d_gamma = link_total.copy(), family_total.copy(), shop_total.copy()
    d_age, d_misread = age_total.copy(), np.zeros_like(misread)
    total = (alpha * link_total).sum() + (beta * family_total).sum()
    total += (gamma * shop_total).sum() + (age_effect * age_total).sum()
    normaliser, pull = np.empty(age_count), np.empty(age_count)
    odds, d_log = np.empty(slot_link.shape[1]), np.empty(slot_link.shape[1])
    top, blend = np.empty(age_count), np.empty(slot_link.shape[1])
    for at in range(context.shape[0]):
        symptom, family, shop = context[at, 0], context[at, 1], context[at, 2]
        count, links = slot_count[symptom], slot_link[symptom]
        normaliser[:] = 0.0
        for slot in range(count):
            link = links[slot]
            odds[slot] = by_link[link, family] * by_shop[shop, link_mode[link]]
            d_log[slot] = 0.0
            for age in range(age_count):
                normaliser[age] += odds[slot] * growth[link, age]
        for age in range(age_count):
            # pull: tickets of this age, which the normaliser divides
            pull[age] = sure[at, age]
            if pull[age] > 0.0:
                total -= pull[age] * np.log(normaliser[age])
        for row in range(written_start[at], written_start[at + 1]):
            # a written suspect is the true one, or a guess among the list
            age, slot, grade = written[row, 0], written[row, 1], written[row, 2]
            weight, rate, link = written_weight[row], misread[grade, shop], links[slot]
            chance = odds[slot] * growth[link, age] / normaliser[age]
            whole = (1.0 - rate) * chance + rate / count
            total += weight * np.log(whole)
            believed = weight * (1.0 - rate) * chance / whole
            d_log[slot] += believed
            d_age[link, age] += believed
            pull[age] += believed
            d_misread[grade, shop] += weight * (1.0 / count - chance) / whole
        for row in range(pattern_start[at], pattern_start[at + 1]):
            age, grade, slot, weight = pattern[row, 0], pattern[row, 1], pattern[row, 2], pattern_weight[row]
            rate = misread[grade, shop] if grade >= 0 else 0.0
            for k in range(count):
                blend[k] = pattern_likelihood[row, k] * (1.0 - rate) + rate / count
            first, last = (age, age + 1) if age >= 0 else (0, age_count)
            whole = 0.0
            for a in range(first, last):
                top[a] = 0.0
                for k in range(count):
                    top[a] += odds[k] * growth[links[k], a] * blend[k]
                top[a] *= (1.0 if age >= 0 else age_share[family, a]) / normaliser[a]
                whole += top[a]
            total += weight * np.log(whole)
            for a in range(first, last):
                part = weight * top[a] / whole
                pull[a] += part
                scale = weight * (1.0 if age >= 0 else age_share[family, a]) / (normaliser[a] * whole)
                for k in range(count):
                    step = scale * odds[k] * growth[links[k], a] * blend[k]
                    d_log[k] += step
                    d_age[links[k], a] += step
                    if grade >= 0:
                        guess = 1.0 / count - pattern_likelihood[row, k]
                        d_misread[grade, shop] += scale * odds[k] * growth[links[k], a] * guess
        for age in range(age_count):
            pull[age] /= normaliser[age]
        for slot in range(count):
            link, down = links[slot], 0.0
            for age in range(age_count):
                share = pull[age] * growth[link, age] * odds[slot]
                d_age[link, age] -= share
                down += share
            d_alpha[link] += d_log[slot] - down
            d_beta[family, link_suspect[link]] += d_log[slot] - down
            d_gamma[shop, link_mode[link]] += d_log[slot] - down
    return total, d_alpha, d_beta, d_gamma, d_age, d_misread
