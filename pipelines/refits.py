"""Fitting: read the evidence, sample, publish if the diagnostics hold. The only user of `analytics.fit`."""

import hashlib
import time
from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from importlib.metadata import version
from typing import Any
from uuid import uuid4

from analytics.elicitation import rule_priors
from analytics.errors import InputError
from analytics.fit import Effort, fit_evidence
from analytics.posterior import Posterior
from analytics.priors import link_prior
from analytics.terms import Priors
from pipelines.catalogue import read_vocabulary
from pipelines.complaints import learn_complaints
from pipelines.history import read_evidence
from pipelines.posteriors import FitRow, save_posterior
from pipelines.rules import read_handbook, read_rules
from pipelines.settings import Settings
from pipelines.store import data_version, last_ticket_order, reading

RULES_FILE = "rules.csv"
DEFAULT_SEED = 20_121_985


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


def refit(
    settings: Settings,
    *,
    progress: Callable[[float], None] | None = None,
    seed: int = DEFAULT_SEED,
    effort: Effort = Effort(),  # noqa: B008 - frozen
) -> FitReport:
    """Fits all tickets in the store and publishes the result if its diagnostics hold.

    The store is read, closed, sampled from for a while, and opened again only to write: nobody waits for a fit.
    """
    started = time.perf_counter()
    vocabulary = read_vocabulary(settings.vocabulary_folder)
    with reading(settings.store_path) as con:
        # what is stored while the evidence is counted belongs to the next fit
        version_before, last_order = data_version(con), last_ticket_order(con)
    evidence = read_evidence(settings.store_path, vocabulary, up_to=last_order)
    if evidence.ticket_count == 0:
        raise InputError("There are no tickets to learn from yet. Run `faultodds ingest FILE` first.")
    rules = read_rules(settings.vocabulary_folder / RULES_FILE, vocabulary) if has_rules(settings) else ()
    ratios = read_handbook(vocabulary)
    priors, fit_id = Priors(), _fit_id()
    posterior = _fit_until_it_holds(
        effort,
        evidence=evidence,
        vocabulary=vocabulary,
        link_prior=lambda inputs: link_prior(vocabulary, inputs.links, rules=rule_priors(rules), ratios=ratios),
        priors=priors,
        seed=seed,
        progress=progress,
        fit_id=fit_id,
    )
    posterior = replace(posterior, text=learn_complaints(settings.store_path, posterior, vocabulary))
    seconds = time.perf_counter() - started
    row = FitRow(
        fit_id=fit_id,
        fitted_at=datetime.now(UTC).replace(tzinfo=None),
        data_version=version_before,
        priors_hash=_short_hash((priors, rules, ratios, sorted(vocabulary.links.items()))),
        code_version=version("faultodds"),
        seconds=seconds,
        last_order=last_order,
    )
    save_posterior(settings, posterior, row)
    return FitReport(fit_id, posterior, seconds)


def _fit_until_it_holds(effort: Effort, *, seed: int, **asked: Any) -> Posterior:
    """A run that only just misses a limit is given twice the draws once, before anybody is told to try again."""
    posterior = fit_evidence(**asked, effort=effort, seed=seed + effort.draws)
    if posterior.diagnostics.is_publishable:
        return posterior
    longer = replace(effort, draws=2 * effort.draws)
    return fit_evidence(**asked, effort=longer, seed=seed + longer.draws)


def _short_hash(told: object) -> str:
    return hashlib.sha256(repr(told).encode()).hexdigest()[:16]


def has_rules(settings: Settings) -> bool:
    """Whether the shop has stated rules of thumb."""
    return (settings.vocabulary_folder / RULES_FILE).exists()


def _fit_id() -> str:
    return f"{datetime.now(UTC):%Y%m%d-%H%M%S}-{uuid4().hex[:6]}"
