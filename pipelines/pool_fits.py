"""The fit behind a pack: from bundles alone, whatever else the store holds. Imports the sampler."""

from collections.abc import Callable
from datetime import UTC, datetime

from analytics.errors import InputError
from analytics.fit import fit_evidence
from analytics.posterior import Posterior
from analytics.terms import Priors
from pipelines.catalogue import read_vocabulary
from pipelines.fit_question import DEFAULT_SEED
from pipelines.pool import KINDS_FOR_PACK, read_pool_evidence
from pipelines.prior_sources import read_wishes
from pipelines.settings import Settings


def fit_bundles(
    settings: Settings, *, progress: Callable[[float], None] | None = None, seed: int = DEFAULT_SEED
) -> Posterior:
    """The posterior of all current bundles, this store's own included, its tickets themselves left out.

    Raises
    ------
    InputError
        When there is no bundle, or the fit does not hold.
    """
    vocabulary = read_vocabulary(settings.vocabulary_folder)
    evidence = read_pool_evidence(settings, vocabulary, kinds=KINDS_FOR_PACK)
    if evidence.ticket_count == 0:
        raise InputError("There is no bundle in the pool. Write your own or read others (`faultodds bundle --help`).")
    posterior = fit_evidence(
        evidence,
        vocabulary,
        link_prior=read_wishes(settings, vocabulary).link_prior,
        priors=Priors(),
        seed=seed,
        progress=progress,
        fit_id=f"pool-{datetime.now(UTC):%Y%m%d}",
    )
    if not posterior.diagnostics.is_publishable:
        raise InputError(f"{posterior.diagnostics.sentence()} No pack was written. Try again with another --seed.")
    return posterior
