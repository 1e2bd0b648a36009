"""What every fit begins and ends with: the tickets and wishes it learns from, and the row that tells of it."""

import hashlib
from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from importlib.metadata import version
from uuid import uuid4

from analytics.errors import InputError
from analytics.evidence import Evidence, add_evidence
from analytics.model_inputs import ModelInputs
from analytics.posterior import Posterior
from analytics.priors import LinkPrior
from analytics.terms import Priors
from analytics.vocabulary import Vocabulary
from pipelines.catalogue import read_vocabulary
from pipelines.complaints import learn_complaints
from pipelines.history import read_evidence
from pipelines.pool import read_pool_evidence
from pipelines.posteriors import FitRow, save_posterior
from pipelines.prior_sources import read_wishes
from pipelines.settings import Settings
from pipelines.store import data_version, last_ticket_order, reading

DEFAULT_SEED = 20_121_985


@dataclass(frozen=True, eq=False)
class FitQuestion:
    """Tickets up to `last_order`, and what is believed before them; `fit_id` names the answer."""

    fit_id: str
    vocabulary: Vocabulary
    evidence: Evidence
    link_prior: Callable[[ModelInputs], LinkPrior]
    priors: Priors
    priors_hash: str
    data_version: str
    last_order: int


@dataclass(frozen=True)
class FitReport:
    """How a fit went, for a person and for scripts."""

    fit_id: str
    posterior: Posterior
    seconds: float

    @property
    def is_published(self) -> bool:
        """Whether it is served from now on."""
        return self.posterior.diagnostics.is_publishable

    def sentences(self) -> tuple[str, ...]:
        """What to print."""
        served = "It is served from now on." if self.is_published else "The last good fit goes on being served."
        return (
            f"Fitted {self.posterior.ticket_count:,} tickets in {self.seconds:.0f} s (fit {self.fit_id}).",
            f"{self.posterior.diagnostics.sentence()} {served}",
        )


def read_question(settings: Settings) -> FitQuestion:
    """The store is read and closed again: nobody waits for a fit.

    Raises
    ------
    InputError
        When there are no tickets.
    """
    vocabulary = read_vocabulary(settings.vocabulary_folder)
    with reading(settings.store_path) as con:
        # what is stored while the evidence is counted belongs to the next fit
        version_before, last_order = data_version(con), last_ticket_order(con)
    own = read_evidence(settings.store_path, vocabulary, up_to=last_order)
    evidence = add_evidence([own, read_pool_evidence(settings, vocabulary)])
    if evidence.ticket_count == 0:
        raise InputError("There are no tickets to learn from yet. Run `faultodds ingest FILE` first.")
    priors, wishes = Priors(), read_wishes(settings, vocabulary)
    return FitQuestion(
        fit_id=f"{datetime.now(UTC):%Y%m%d-%H%M%S}-{uuid4().hex[:6]}",
        vocabulary=vocabulary,
        evidence=evidence,
        link_prior=wishes.link_prior,
        priors=priors,
        priors_hash=_short_hash((priors, wishes.rules, wishes.ratios, sorted(vocabulary.links.items()))),
        data_version=version_before,
        last_order=last_order,
    )


def learn_words(settings: Settings, question: FitQuestion, posterior: Posterior) -> Posterior:
    """The posterior with what the owners' words of the same tickets tell."""
    return replace(posterior, text=learn_complaints(settings.store_path, posterior, question.vocabulary))


def keep_fit(settings: Settings, question: FitQuestion, posterior: Posterior, *, seconds: float) -> FitReport:
    """Draws and row into the store; served from then on if its diagnostics hold."""
    row = FitRow(
        fit_id=question.fit_id,
        fitted_at=datetime.now(UTC).replace(tzinfo=None),
        data_version=question.data_version,
        priors_hash=question.priors_hash,
        code_version=version("faultodds"),
        seconds=seconds,
        last_order=question.last_order,
    )
    save_posterior(settings, posterior, row)
    return FitReport(question.fit_id, posterior, seconds)


def _short_hash(told: object) -> str:
    return hashlib.sha256(repr(told).encode()).hexdigest()[:16]
