"""The fit behind a pack: from bundles alone, whatever else the store holds. Imports the sampler."""

from collections.abc import Callable
from datetime import UTC, datetime

from analytics.errors import InputError
from analytics.fit import Effort, fit_evidence
from analytics.posterior import Posterior
from analytics.terms import Priors
from pipelines.catalogue import read_vocabulary
from pipelines.fit_question import DEFAULT_SEED
from pipelines.pool import KINDS_FOR_PACK, read_pool_evidence
from pipelines.prior_sources import read_wishes
from pipelines.settings import Settings

# Small steps from the first run on, and little centring: where few bundles tell little, spreads range down to nearly
# nothing. Longer runs follow where a pool is so small that the draws of one are too much alike.
EFFORT = Effort(runs=3, acceptance=0.8, centred_for=0.05)


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
    link_prior, name = read_wishes(settings, vocabulary).link_prior, f"pool-{datetime.now(UTC):%Y%m%d}"
    posterior = fit_evidence(evidence, vocabulary, link_prior=link_prior, priors=Priors(), seed=seed,
                             progress=progress, effort=EFFORT, fit_id=name)  # fmt: skip
    if posterior.diagnostics.is_publishable:
        return posterior
    raise InputError(f"{posterior.diagnostics.sentence()} No pack was written. Try again with another --seed.")
