"""What is believed before the first ticket: seeded link strengths, rules of thumb, handbook ratios."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from analytics.model_inputs import LinkTable
from analytics.vocabulary import STRENGTH_WEIGHTS, Vocabulary

# Handbook ratios come from another trade and century; three tickets are enough to doubt them.
HANDBOOK_WORTH = 3.0


@dataclass(frozen=True)
class LinkPrior:
    """log_weight (link,); rule_link (rule,) positions with rule_beta (rule, 2); ratio_weight (link,) pseudo-counts
    with ratio_group (group, link) 0/1: links of one component within one symptom. Empty arrays where there are none.
    """

    log_weight: np.ndarray
    rule_link: np.ndarray
    rule_beta: np.ndarray
    ratio_weight: np.ndarray
    ratio_group: np.ndarray


def link_prior(
    vocabulary: Vocabulary,
    links: LinkTable,
    *,
    rules: Sequence[tuple[str, str, float, float]] = (),
    ratios: Sequence[tuple[str, str, float]] = (),
) -> LinkPrior:
    """Prior of every link.

    `rules` are (symptom, suspect, a, b): the suspect's share among the symptom's tickets ~ Beta(a, b).
    `ratios` are (component, failure mode, ratio): handbook shares of the failure modes of one component, worth
    `HANDBOOK_WORTH` tickets in each symptom that lists at least two of them.
    """
    pairs = [(links.symptoms[s], links.suspects[k]) for s, k in zip(links.symptom, links.suspect, strict=True)]
    weight = np.array([STRENGTH_WEIGHTS[vocabulary.links.get(pair, "rarely")] for pair in pairs])
    at = {pair: link for link, pair in enumerate(pairs)}
    known = [(at[s, k], a, b) for s, k, a, b in rules if (s, k) in at]
    ratio_weight, ratio_group = _ratio_groups(vocabulary, pairs, ratios)
    return LinkPrior(
        log_weight=np.log(weight),
        rule_link=np.array([link for link, _, _ in known], dtype=int),
        rule_beta=np.array([(a, b) for _, a, b in known], dtype=float).reshape(-1, 2),
        ratio_weight=ratio_weight,
        ratio_group=ratio_group,
    )


def _ratio_groups(
    vocabulary: Vocabulary, pairs: list[tuple[str, str]], ratios: Sequence[tuple[str, str, float]]
) -> tuple[np.ndarray, np.ndarray]:
    table = {(component, mode): ratio for component, mode, ratio in ratios}
    groups: dict[tuple[str, str], list[tuple[int, float]]] = {}
    for link, (symptom, code) in enumerate(pairs):
        suspect = vocabulary.suspects[code]
        ratio = table.get((suspect.component, suspect.failure_mode))
        if ratio is not None:
            groups.setdefault((symptom, suspect.component), []).append((link, ratio))
    kept = [members for members in groups.values() if len(members) > 1]
    if not kept:
        return np.zeros(len(pairs)), np.zeros((0, len(pairs)))
    weight, group = np.zeros(len(pairs)), np.zeros((len(kept), len(pairs)))
    for row, members in enumerate(kept):
        total = sum(ratio for _, ratio in members)
        for link, ratio in members:
            weight[link], group[row, link] = HANDBOOK_WORTH * ratio / total, 1.0
    return weight, group
