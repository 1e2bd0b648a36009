"""A full fit: sample from nothing, publish if the diagnostics hold. The only user of `analytics.fit`.

Very many tickets are fitted by short runs, without PyMC; where that does not hold, as all others are.
"""

import time
from collections.abc import Callable
from dataclasses import replace

from analytics.fit import Effort, fit_evidence
from analytics.posterior import Posterior
from analytics.settled_fit import MANY_TICKETS, fit_settled
from pipelines.fit_question import DEFAULT_SEED, FitQuestion, FitReport, keep_fit, learn_words, read_question
from pipelines.settings import Settings


def refit(
    settings: Settings,
    *,
    progress: Callable[[float], None] | None = None,
    seed: int = DEFAULT_SEED,
    effort: Effort = Effort(),  # noqa: B008 - frozen
) -> FitReport:
    """Fits all tickets in the store and publishes the result if its diagnostics hold."""
    started = time.perf_counter()
    question = read_question(settings)
    posterior = _fit_many(question, seed, progress) if question.evidence.ticket_count >= MANY_TICKETS else None
    # a run that only just misses a limit is given twice the draws once, before anybody is told to try again
    posterior = posterior or _fit(question, replace(effort, runs=2), seed, progress)
    posterior = learn_words(settings, question, posterior)
    return keep_fit(settings, question, posterior, seconds=time.perf_counter() - started)


def _fit_many(question: FitQuestion, seed: int, progress: Callable[[float], None] | None) -> Posterior | None:
    """None where the diagnostics do not hold."""
    posterior = fit_settled(
        question.evidence,
        question.vocabulary,
        link_prior=question.link_prior,
        priors=question.priors,
        seed=seed,
        progress=progress,
        fit_id=question.fit_id,
    )
    return posterior if posterior.diagnostics.is_publishable else None


def _fit(question: FitQuestion, effort: Effort, seed: int, progress: Callable[[float], None] | None) -> Posterior:
    return fit_evidence(
        question.evidence,
        question.vocabulary,
        link_prior=question.link_prior,
        priors=question.priors,
        seed=seed + effort.draws,
        progress=progress,
        effort=effort,
        fit_id=question.fit_id,
    )
