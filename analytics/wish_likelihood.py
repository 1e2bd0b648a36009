"""What rules of thumb and handbook ratios say about alpha, with the gradient."""

from typing import Any

import numba
import numpy as np

from analytics.model_inputs import LinkTable
from analytics.packing import WISHES, index_row, number_grid, number_row
from analytics.priors import LinkPrior


def wish_arrays(links: LinkTable, link_prior: LinkPrior) -> tuple[np.ndarray, ...]:
    """Arrays that `score_wishes` reads."""
    group = np.full(len(links.symptom), -1)
    for row, members in enumerate(link_prior.ratio_group):
        group[members > 0] = row
    count = np.array([len(links.symptoms), len(link_prior.ratio_group)])
    return links.symptom, link_prior.rule_link, link_prior.rule_beta, group, link_prior.ratio_weight, count


@numba.njit(error_model="numpy")
def score_wishes(alpha: Any, d_alpha: Any, data: Any) -> float:
    """Adds the gradient to `d_alpha` and returns the log density.

    A rule is Beta(a, b) on the suspect's share of its symptom in an average context; a handbook row is a Dirichlet on
    the shares of one component's failure modes within the symptom.
    """
    symptom, rule_link, rule_beta = index_row(data, WISHES), index_row(data, WISHES + 1), number_grid(data, WISHES + 2)
    group, ratio_weight, count = index_row(data, WISHES + 3), number_row(data, WISHES + 4), index_row(data, WISHES + 5)
    odds, total = np.exp(alpha), np.zeros(count[0])
    for link in range(len(alpha)):
        total[symptom[link]] += odds[link]
    value = 0.0
    for rule in range(len(rule_link)):
        link, a, b = rule_link[rule], rule_beta[rule, 0] - 1.0, rule_beta[rule, 1] - 1.0
        share = odds[link] / total[symptom[link]]
        value += a * np.log(share) + b * np.log(1.0 - share)
        slope = a - (a + b) * share
        for other in range(len(alpha)):
            if symptom[other] == symptom[link]:
                rest = odds[other] / (total[symptom[link]] - odds[link])
                d_alpha[other] += slope if other == link else -slope * rest
    inside, worth = np.zeros(count[1]), np.zeros(count[1])
    for link in range(len(alpha)):
        if group[link] >= 0:
            inside[group[link]] += odds[link]
            worth[group[link]] += ratio_weight[link]
    for link in range(len(alpha)):
        if group[link] >= 0:
            share = odds[link] / inside[group[link]]
            value += ratio_weight[link] * np.log(share)
            d_alpha[link] += ratio_weight[link] - worth[group[link]] * share
    return value
