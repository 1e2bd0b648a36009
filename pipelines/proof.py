"""How far the newest fit can be believed: diagnostics, replicated tickets, tickets left out, simpler models."""

from collections.abc import Callable, Mapping
from dataclasses import replace
from functools import partial

import numpy as np

from analytics.evidence import Evidence
from analytics.leave_one_out import LeftOut, compare_scores, count_left_out, leave_tickets_out
from analytics.pointwise import TicketScores, score_evidence
from analytics.posterior import Posterior
from analytics.predictive import check_predictions
from analytics.terms import Priors
from analytics.vocabulary import Vocabulary
from pipelines.history import read_evidence
from pipelines.posteriors import load_posterior, newest_fit
from pipelines.prior_sources import read_wishes
from pipelines.proof_files import COUNTS, Proof, Simpler
from pipelines.settings import Settings

PROOF_SEED = 20_121_985
# A spread that no data can pull up to anything: the term is as good as gone.
NEXT_TO_NOTHING = 1e-3
# What is left out of the model, and the scales that do it.
SIMPLER: Mapping[str, tuple[str, ...]] = {
    "age": ("age_mode_scale", "age_suspect_scale", "age_symptom_scale"),
    "family": ("family_scale",),
    "shop": ("shop_scale",),
}


def prove_fit(settings: Settings, vocabulary: Vocabulary) -> Proof:
    """Looks at the newest published fit and the tickets it has seen; InputError when there is none."""
    fit = newest_fit(settings)
    posterior = load_posterior(settings, fit.fit_id)
    evidence = read_evidence(settings.store_path, vocabulary, up_to=fit.last_order)
    return prove_posterior(posterior, evidence)


def prove_posterior(posterior: Posterior, evidence: Evidence) -> Proof:
    """The proof of one posterior against the tickets behind it, beside plain counts."""
    scores = score_evidence(posterior, evidence)
    left_out = leave_tickets_out(scores)
    named = scores.is_named
    return Proof(
        fit_id=posterior.fit_id,
        ticket_count=posterior.ticket_count,
        diagnostics=posterior.diagnostics.sentence(),
        holds=posterior.diagnostics.is_publishable,
        tables=check_predictions(posterior, evidence, rng=np.random.default_rng(PROOF_SEED)),
        mean_log_score=float(np.average(left_out.log_score[named], weights=left_out.weight[named])),
        unreliable_share=left_out.unreliable_share,
        simpler=(_compare(COUNTS, count_left_out(scores, posterior), left_out, named),),
    )


def compare_simpler(
    settings: Settings, vocabulary: Vocabulary, proof: Proof, *, progress: Callable[[float], None]
) -> Proof:
    """The proof with what each of `SIMPLER` loses, fitted to the same tickets."""
    # PyMC takes seconds to import; only this one fits.
    from analytics.fit import Effort, fit_evidence

    fit = newest_fit(settings)
    evidence = read_evidence(settings.store_path, vocabulary, up_to=fit.last_order)
    full = leave_tickets_out(score_evidence(load_posterior(settings, fit.fit_id), evidence))
    found = list(proof.simpler)
    for at, (name, scales) in enumerate(SIMPLER.items()):
        posterior = fit_evidence(
            evidence,
            vocabulary,
            link_prior=read_wishes(settings, vocabulary).link_prior,
            priors=replace(Priors(), **dict.fromkeys(scales, NEXT_TO_NOTHING)),  # type: ignore[arg-type]
            seed=PROOF_SEED,
            progress=partial(_report, progress, at),
            effort=Effort(tune=300, draws=500),
        )
        found.append(_compare_posterior(name, score_evidence(posterior, evidence), full))
    return replace(proof, simpler=tuple(found))


def _report(progress: Callable[[float], None], done: int, share: float) -> None:
    progress((done + share) / len(SIMPLER))


def _compare_posterior(name: str, scores: TicketScores, full: LeftOut) -> Simpler:
    left_out = leave_tickets_out(scores)
    found = _compare(name, left_out.log_score, full, np.ones(len(full.weight), dtype=bool))
    return replace(found, unreliable_share=left_out.unreliable_share)


def _compare(name: str, score: np.ndarray, full: LeftOut, counted: np.ndarray) -> Simpler:
    found = compare_scores(score, full.log_score, full.weight)
    return Simpler(name, float(full.weight[counted].sum()), found.nats, found.standard_error, 0.0)
