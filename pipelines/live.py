"""The posterior that is served: the newest published fit with the tickets stored since."""

from analytics.live_update import LiveUpdate, update_posterior
from analytics.vocabulary import Vocabulary
from pipelines.history import read_evidence
from pipelines.posteriors import load_posterior, newest_fit
from pipelines.settings import Settings
from pipelines.store import data_version, reading


def load_live(settings: Settings, vocabulary: Vocabulary) -> LiveUpdate:
    """The newest published fit, moved by every ticket stored since; `posterior` of the result is what to ask.

    Raises
    ------
    InputError
        When there is no fit yet.
    """
    fit = newest_fit(settings)
    evidence = read_evidence(settings.store_path, vocabulary, after=fit.last_order)
    return update_posterior(load_posterior(settings, fit.fit_id), evidence, vocabulary)


def live_key(settings: Settings) -> tuple[str, str]:
    """(fit_id, data_version): as long as both stay the same, so does `load_live`. InputError without a fit."""
    with reading(settings.store_path) as con:
        version = data_version(con)
    return newest_fit(settings).fit_id, version
