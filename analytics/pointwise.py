"""Every kind of ticket under every stored draw: how likely it was, and what would have been written instead."""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from analytics.evidence import Evidence
from analytics.live_tickets import NOT_GIVEN, Context, Sighting, sort_tickets
from analytics.posterior import Posterior


@dataclass(frozen=True, eq=False)
class TicketScores:
    """log_likelihood (cell, draw) of one ticket of each cell; weight (cell,) tickets; is_named (cell,) whether the
    suspect is known; link (cell,) position of the written suspect among the links, `NOT_GIVEN` for unresolved tickets.
    """

    log_likelihood: np.ndarray
    weight: np.ndarray
    is_named: np.ndarray
    link: np.ndarray


def score_evidence(posterior: Posterior, evidence: Evidence) -> TicketScores:
    """log P(what was written | draw) of each cell.

    A ticket with a written suspect has P(written | draw); an unresolved one sum_k P(k) P(its checks | k), up to a
    factor that is the same for all draws. Check rates behind unresolved tickets are posterior means; a fit uses
    shrunken counts. Cells the posterior cannot read (the vocabulary was edited since) are left out.
    """
    rows, weight, link = [], [], []
    for context in sort_tickets(posterior, evidence)[0]:
        chance, links = suspect_chances(posterior, context), posterior.links_by_symptom[context.symptom]
        for seen in context.sightings:
            rows.append(np.log(written_chances(posterior, context, seen, chance) @ seen.likelihood))
            weight.append(seen.weight)
            link.append(links[seen.likelihood.argmax()] if is_named(seen) else NOT_GIVEN)
    at = np.array(link, dtype=int)
    table = np.array(rows).reshape(len(rows), posterior.draw_count)
    return TicketScores(table, np.array(weight), at != NOT_GIVEN, at)


def suspect_chances(posterior: Posterior, context: Context) -> np.ndarray:
    """(draw, slot) P(suspect | context). A family or shop that is not given has no effect, as in the fit; without a
    year the chances of the family's ages are mixed.
    """
    arrays, links = posterior.arrays, posterior.links_by_symptom[context.symptom]
    odds = arrays["alpha"][:, links]
    if context.family != NOT_GIVEN:
        odds = odds + arrays["beta"][:, context.family, arrays["link_suspect"][links]]
    if context.shop != NOT_GIVEN:
        odds = odds + arrays["gamma"][:, context.shop, arrays["link_mode"][links]]
    ages = arrays["age_effect"][:, links]
    if context.age != NOT_GIVEN:
        return _softmax(odds + ages[:, :, context.age])
    return np.einsum("dka,a->dk", _softmax(odds[:, :, None] + ages), arrays["age_share"][context.family])


def written_chances(posterior: Posterior, context: Context, seen: Sighting, chance: np.ndarray) -> np.ndarray:
    """(draw, slot) P(written suspect): the true one or, at the shop's misread rate, any of the list."""
    if seen.grade == NOT_GIVEN:
        return chance
    misread = posterior.arrays["misread"][:, seen.grade]
    # a shop that is not given is taken for an average one
    rate = misread[:, [context.shop]] if context.shop != NOT_GIVEN else misread.mean(1, keepdims=True)
    return (1.0 - rate) * chance + rate / chance.shape[1]


def named_sightings(context: Context) -> Iterator[tuple[int, list[Sighting]]]:
    """(grade, sightings with a written suspect of that grade)."""
    named = [seen for seen in context.sightings if is_named(seen)]
    for grade in sorted({seen.grade for seen in named}):
        yield grade, [seen for seen in named if seen.grade == grade]


def is_named(seen: Sighting) -> bool:
    """Whether a suspect was written down: its likelihood is then one for that suspect and nothing for the others."""
    return bool(np.count_nonzero(seen.likelihood) == 1)


def _softmax(log_odds: np.ndarray) -> np.ndarray:
    """Over axis 1, the suspects."""
    odds = np.exp(log_odds - log_odds.max(1, keepdims=True))
    return odds / odds.sum(1, keepdims=True)
