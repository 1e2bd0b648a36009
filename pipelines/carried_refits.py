"""The last fit carried on to all tickets: seconds, without PyMC. Where that cannot be done, there is `refits.refit`."""

import time
from collections.abc import Callable
from dataclasses import replace

from analytics.carried_fit import carry_fit
from analytics.errors import InputError
from pipelines.complaints import knows_words
from pipelines.fit_question import DEFAULT_SEED, FitReport, keep_fit, learn_words, read_question
from pipelines.posteriors import has_published_fit, load_newest
from pipelines.settings import Settings


def carry_last_fit(
    settings: Settings, *, progress: Callable[[float], None] | None = None, seed: int = DEFAULT_SEED
) -> FitReport | None:
    """A fit of all tickets from the last good one, published; None where there is none that fits the vocabulary and
    workshops of today, or where the result does not hold: then nothing is stored.
    """
    started = time.perf_counter()
    try:
        last = load_newest(settings) if has_published_fit(settings) else None
    except InputError:
        last = None  # its draws are lost
    if last is None:
        return None
    question = read_question(settings)
    posterior = carry_fit(
        last,
        question.evidence,
        question.vocabulary,
        link_prior=question.link_prior,
        priors=question.priors,
        seed=seed,
        fit_id=question.fit_id,
        progress=progress,
    )
    if posterior is None or not posterior.diagnostics.is_publishable:
        return None
    if last.text is not None and knows_words(last.text, settings.store_path, question.vocabulary):
        posterior = replace(posterior, text=last.text)
    else:
        posterior = learn_words(settings, question, posterior)
    return keep_fit(settings, question, posterior, seconds=time.perf_counter() - started)
