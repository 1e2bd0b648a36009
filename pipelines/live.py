"""The posterior that is served: the newest published fit with the tickets stored since."""

from collections.abc import Mapping
from dataclasses import dataclass

from analytics.errors import InputError
from analytics.live_update import LiveUpdate, update_posterior
from analytics.posterior import Posterior
from analytics.vocabulary import Vocabulary
from pipelines.history import read_evidence
from pipelines.posteriors import load_posterior, newest_fit
from pipelines.settings import Settings
from pipelines.store import reading, run_query


@dataclass(frozen=True)
class ServingState:
    """Tickets in the store, the fit that is served ("" for none), and what names the newest ticket: tickets are only
    ever added, so as long as all three stay the same, so does `load_live`.
    """

    ticket_count: int
    fit_id: str = ""
    newest_ticket: str = ""


def load_live(settings: Settings, vocabulary: Vocabulary) -> LiveUpdate:
    """The newest published fit, moved by every ticket stored since; `posterior` of the result is what to ask.

    Raises
    ------
    InputError
        When there is no fit yet, or the vocabulary was edited so that the fit cannot answer for it.
    """
    fit = newest_fit(settings)
    posterior = load_posterior(settings, fit.fit_id)
    gaps = fit_gaps(posterior, vocabulary)
    if gaps:
        raise InputError(
            f"The vocabulary was edited since the last fit: {gaps[0]}. Fit again: start it on the Model page, or run "
            "`faultodds fit` (about a minute)."
        )
    evidence = read_evidence(settings.store_path, vocabulary, after=fit.last_order)
    return update_posterior(posterior, evidence, vocabulary)


def fit_gaps(posterior: Posterior, vocabulary: Vocabulary) -> tuple[str, ...]:
    """What the fit does not know, or knows otherwise, of a vocabulary; plans read both by position, so none may differ.

    New names, strengths, minutes and machines are none of it: the fit can be asked for them.
    """
    lists = {
        "suspect": {code: suspect.name for code, suspect in vocabulary.suspects.items()},
        "check": {code: check.name for code, check in vocabulary.checks.items()},
        "age": {band.code: band.code for band in vocabulary.age_bands},
    }
    gaps = [_say_gap(dim, list(posterior.positions[dim]), names) for dim, names in lists.items()]
    known = posterior.positions["symptom"]
    for code, symptom in vocabulary.symptoms.items():
        if code not in known:
            gaps.append(f"the complaint '{symptom.name}' is new")
        elif _suspects_of(posterior, known[code]) != vocabulary.suspects_of(code):
            gaps.append(f"other suspects are listed for '{symptom.name}'")
    return tuple(filter(None, gaps))


def _say_gap(dim: str, known: list[str], wanted: Mapping[str, str]) -> str:
    what = "age band" if dim == "age" else dim
    for code, name in wanted.items():
        if code not in known:
            return f"the {what} '{name}' is new"
    for code in known:
        if code not in wanted:
            return f"the {what} '{code}' is gone"
    return "" if known == list(wanted) else f"the {what}s stand in another order"


def _suspects_of(posterior: Posterior, symptom: int) -> tuple[str, ...]:
    names, listed = posterior.draws["suspect"].values, posterior.arrays["link_suspect"]
    return tuple(str(names[listed[link]]) for link in posterior.links_by_symptom[symptom])


def serving_state(settings: Settings) -> ServingState:
    """What is in the store now, looked up in a millisecond however many tickets there are."""
    with reading(settings.store_path) as con:
        row = run_query(con, "serving_state").iloc[0]
    return ServingState(int(row["ticket_count"]), row["fit_id"], row["newest_ticket"])
