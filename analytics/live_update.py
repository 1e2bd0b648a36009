"""Tickets closed since the fit count at once: stored draws, shifted and shrunk by them. No model, no sampling."""

from dataclasses import dataclass, replace

import numpy as np

from analytics.evidence import Evidence
from analytics.live_checks import learn_checks
from analytics.live_effects import give_effects, take_effects
from analytics.live_newcomers import add_newcomers
from analytics.live_tickets import learn_context, sort_tickets
from analytics.live_transform import effective_share
from analytics.posterior import Posterior
from analytics.vocabulary import Vocabulary

# Measured by benchmarks/live_update.py: up to a fifth more tickets the update stays well within three times the
# difference that two fits of the same tickets show.
MAX_NEW_SHARE = 0.2
# Where the moved draws would need very unequal weights, the draws are no longer Gaussian enough to be moved.
MIN_EFFECTIVE_SHARE = 0.3


@dataclass(frozen=True, eq=False)
class LiveUpdate:
    """A posterior that new tickets have moved, and how far it can be trusted.

    posterior : the moved draws; its `ticket_count` includes the new tickets
    ticket_count : new tickets that count
    new_share : new tickets to fitted ones
    distance : length of the shift, in standard deviations of the fitted draws
    effective_share : effective sample size of the weights that the moved draws would still need, 0 to 1
    left_out : new tickets that the fit cannot read, because the vocabulary was edited since
    """

    posterior: Posterior
    ticket_count: int
    new_share: float
    distance: float
    effective_share: float
    left_out: int

    @property
    def is_spent(self) -> bool:
        """Whether a refit is due."""
        return self.new_share > MAX_NEW_SHARE or self.effective_share < MIN_EFFECTIVE_SHARE or self.left_out > 0

    def sentence(self) -> str:
        """One line for a person."""
        if self.ticket_count == 0 and self.left_out == 0:
            return "No ticket was closed since the last fit."
        counted = f"{_tickets(self.ticket_count)} closed since the last fit already count."
        if self.left_out:
            return (
                f"{counted} {_tickets(self.left_out)} cannot count yet, because the vocabulary was edited since the "
                "fit. Fit again: `faultodds fit`."
            )
        if self.new_share > MAX_NEW_SHARE:
            return (
                f"{counted} That is {self.new_share:.0%} of what was fitted (limit {MAX_NEW_SHARE:.0%}), so the odds "
                "are getting rough. Fit again: `faultodds fit`."
            )
        if self.is_spent:
            return (
                f"{counted} They surprise the last fit: its draws are good for {self.effective_share:.0%} of their "
                f"number (limit {MIN_EFFECTIVE_SHARE:.0%}). Fit again: `faultodds fit`."
            )
        return f"{counted} A new fit can wait."


def update_posterior(posterior: Posterior, new_evidence: Evidence, vocabulary: Vocabulary) -> LiveUpdate:
    """The posterior given the tickets behind `new_evidence` too, which must not be among the fitted ones.

    Context by context (symptom, family, shop, age band) the draws are moved by `live_transform.find_move`, the spreads
    of families and shops among them. The other spreads and the rates of companions stay those of the fit.

    Parameters
    ----------
    posterior : draws of a fit, or of an earlier update
    new_evidence : tickets stored since, in any number
    vocabulary : kinds of checks; may have been edited since the fit
    """
    if new_evidence.ticket_count == 0:
        return LiveUpdate(posterior, 0, 0.0, 0.0, 1.0, 0)
    known = add_newcomers(posterior, new_evidence)
    contexts, left_out = sort_tickets(known, new_evidence)
    effects, log_weight, distance = take_effects(known), np.zeros(known.draw_count), 0.0
    for context in contexts:
        move = learn_context(effects, known, context)
        log_weight, distance = log_weight + move.log_weight, float(np.hypot(distance, move.distance))
    moved = give_effects(effects, known) | learn_checks(known, new_evidence, vocabulary)
    # coefficients are those of the fit and would contradict the effects
    kept = known.draws.drop_vars("coefficient_value", errors="ignore")
    # not `assign`, which would align what is aligned, at a quarter of the cost of a ticket
    draws = kept.copy(data={name: moved.get(name, known.arrays[name]) for name in map(str, kept.data_vars)})
    # tickets, not halves of one with two suspects
    unread = min(new_evidence.ticket_count, round(left_out))
    count = new_evidence.ticket_count - unread
    return LiveUpdate(
        posterior=replace(known, draws=draws, ticket_count=posterior.ticket_count + count),
        ticket_count=count,
        new_share=count / max(1, posterior.ticket_count),
        distance=distance,
        effective_share=effective_share(log_weight),
        left_out=unread,
    )


def _tickets(count: int) -> str:
    return f"{count:,} ticket{'' if count == 1 else 's'}"
