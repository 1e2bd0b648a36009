"""Suspects of one case with their odds: stored draws and plain arithmetic, no model and no sampling."""

from collections.abc import Iterable
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from analytics.case import Case
from analytics.check_rates import STRAY_CURE
from analytics.comebacks import comeback_factor
from analytics.complaint import text_log_likelihood
from analytics.errors import InputError
from analytics.posterior import Posterior
from analytics.vocabulary import UNKNOWN_AGE, Vocabulary

# Observations repeat their answer when repeated (the meter and the fault are the same); remedies are tried anew.
REMEDY_OUTCOMES = ("cured", "not_cured")


@dataclass(frozen=True)
class Belief:
    """mass (draw, suspect): joint weight of a draw and a suspect given all that is known of the case; sums to 1."""

    suspects: tuple[str, ...]
    mass: np.ndarray

    @cached_property
    def mean(self) -> np.ndarray:
        """(suspect,) P(suspect | case): masses summed over draws, never an average of normalised draws."""
        return self.mass.sum(0)

    def interval(self, probability: float) -> np.ndarray:
        """(2, suspect) central interval of P(suspect | case) over the draws, each with the weight the case gives it."""
        weight = self.mass.sum(1)
        return weighted_quantiles(self.mass / weight[:, None], weight, ((1 - probability) / 2, (1 + probability) / 2))


@dataclass(frozen=True)
class SuspectOdds:
    """One line of the answer: code, name in words, P(suspect | case) and its 90 % interval."""

    suspect: str
    name: str
    probability: float
    low: float
    high: float


def belief(posterior: Posterior, case: Case, vocabulary: Vocabulary) -> Belief:
    """P(suspect | symptom, family, shop, age, other symptoms, complaint, checks so far) for every stored draw.

    Raises
    ------
    InputError
        When the symptom or a check is not known to the fit (the vocabulary was edited since: fit again).
    """
    prior = prior_belief(posterior, case, vocabulary)
    mass = prior * case_likelihood(posterior, case, links=_links(posterior, case.symptom))
    mass = mass * _last_repair_factor(posterior, case, prior)
    total = mass.sum()
    if total <= 0:
        raise InputError("These outcomes contradict each other for every suspect. Undo the last one and look again.")
    return Belief(suspects=listed_suspects(posterior, case.symptom), mass=mass / total)


def listed_suspects(posterior: Posterior, symptom: str) -> tuple[str, ...]:
    """Codes of the suspects that the symptom lists, in the order of the fit."""
    names = tuple(posterior.positions["suspect"])
    return tuple(names[at] for at in posterior.arrays["link_suspect"][_links(posterior, symptom)])


def rank_suspects(found: Belief, vocabulary: Vocabulary) -> tuple[SuspectOdds, ...]:
    """Suspects by falling probability, with 90 % intervals."""
    low, high = found.interval(0.9)
    return tuple(
        SuspectOdds(code, vocabulary.suspects[code].name, float(found.mean[at]), float(low[at]), float(high[at]))
        for at in np.argsort(-found.mean, kind="stable")
        for code in (found.suspects[at],)
    )


def update_masses(masses: np.ndarray, likelihood: np.ndarray) -> np.ndarray:
    """Bayes' rule: masses times likelihood, divided by the sum; both (suspect,)."""
    product = masses * likelihood
    return product / product.sum()


def prior_belief(posterior: Posterior, case: Case, vocabulary: Vocabulary) -> np.ndarray:
    """(draw, suspect of the symptom): P(suspect) before any check; a missing year means the family's mix of ages."""
    links = _links(posterior, case.symptom)
    odds = _context_log_odds(posterior, case, links)
    ages = posterior.arrays["age_effect"][:, links]
    band = vocabulary.age_band_of(case.age_years)
    if band != UNKNOWN_AGE:
        return _softmax(odds + ages[:, :, _position(posterior, "age", band)])
    family = posterior.positions["family"].get(case.family, posterior.draws.sizes["family"])
    share = posterior.arrays["age_share"][family]
    return np.einsum("dka,a->dk", _softmax(odds[:, :, None] + ages), share)


def case_likelihood(posterior: Posterior, case: Case, *, links: np.ndarray) -> np.ndarray:
    """(draw, suspect): P(all outcomes, other symptoms and words of the case | suspect), up to a common factor."""
    listed = posterior.arrays["link_suspect"][links]
    product = np.ones((posterior.draw_count, len(listed)))
    for check, outcome in _independent_outcomes(case):
        product = product * outcome_likelihood(posterior, check, outcome)[:, listed]
    product = product * companion_likelihood(posterior, case)
    if posterior.text is not None and case.complaint:
        names = listed_suspects(posterior, case.symptom)
        product = product * np.exp(text_log_likelihood(posterior.text, case.complaint, names))
    return product


def companion_likelihood(posterior: Posterior, case: Case) -> np.ndarray:
    """(suspect of the symptom,): P(the other symptoms, there or not | suspect), in every draw alike."""
    rates = posterior.arrays["companion_present"][posterior.arrays["link_suspect"][_links(posterior, case.symptom)]]
    product = np.ones(len(rates))
    for symptom, is_present in (*((s, True) for s in case.also_present), *((s, False) for s in case.also_absent)):
        rate = rates[:, _position(posterior, "symptom", symptom)]
        product = product * (rate if is_present else 1.0 - rate)
    return product


def outcome_likelihood(posterior: Posterior, check: str, outcome: str) -> np.ndarray:
    """(draw, suspect) over all suspects: P(outcome of the check | suspect); an inconclusive check tells nothing."""
    at, arrays = _position(posterior, "check", check), posterior.arrays
    shape = (posterior.draw_count, posterior.draws.sizes["suspect"])
    if outcome in REMEDY_OUTCOMES:
        rate, rows = np.full(shape, STRAY_CURE), np.flatnonzero(arrays["remedy_check"] == at)
        rate[:, arrays["remedy_suspect"][rows]] = arrays["cure"][:, rows]
        return rate if outcome == "cured" else 1.0 - rate
    if outcome in ("fault_found", "clear"):
        rate, rows = (
            np.repeat(arrays["false_alarm"][:, [at]], shape[1], axis=1),
            np.flatnonzero(arrays["reveal_check"] == at),
        )
        rate[:, arrays["reveal_suspect"][rows]] = arrays["detection"][:, rows]
        return rate if outcome == "fault_found" else 1.0 - rate
    return np.ones(shape)


def weighted_quantiles(values: np.ndarray, weight: np.ndarray, levels: Iterable[float]) -> np.ndarray:
    """(level, column) quantiles of values (draw, column), draws weighted."""
    order = np.argsort(values, axis=0)
    ordered = np.take_along_axis(values, order, axis=0)
    reached = np.cumsum(weight[order], axis=0) / weight.sum()
    rows = [(reached < level).sum(0).clip(max=len(values) - 1) for level in levels]
    return np.stack([ordered[row, np.arange(values.shape[1])] for row in rows])


def _context_log_odds(posterior: Posterior, case: Case, links: np.ndarray) -> np.ndarray:
    """(draw, suspect): alpha + beta + gamma; a family or shop that no ticket named is a newcomer."""
    arrays = posterior.arrays
    suspect, mode = arrays["link_suspect"][links], arrays["link_mode"][links]
    family, shop = posterior.positions["family"].get(case.family), posterior.positions["shop"].get(case.shop)
    by_family = arrays["new_family"] if family is None else arrays["beta"][:, family]
    by_shop = arrays["new_shop"] if shop is None else arrays["gamma"][:, shop]
    return arrays["alpha"][:, links] + by_family[:, suspect] + by_shop[:, mode]


def _last_repair_factor(posterior: Posterior, case: Case, prior: np.ndarray) -> np.ndarray:
    """(suspect,): what it tells that the machine came back; 1 for all when it did not, or its suspect is not listed."""
    listed = listed_suspects(posterior, case.symptom)
    if case.last_repair is None or case.last_repair.suspect not in listed:
        return np.ones(len(listed))
    base = prior.sum(0) / prior.sum()
    return comeback_factor(base, listed.index(case.last_repair.suspect), case.last_repair.again)


def _independent_outcomes(case: Case) -> list[tuple[str, str]]:
    """Every try of a remedy, and the last answer of every other check."""
    tries = [(r.check, r.outcome) for r in case.results if r.outcome in REMEDY_OUTCOMES]
    looks = {r.check: r.outcome for r in case.results if r.outcome not in (*REMEDY_OUTCOMES, "inconclusive")}
    return [*tries, *looks.items()]


def _links(posterior: Posterior, symptom: str) -> np.ndarray:
    return posterior.links_by_symptom[_position(posterior, "symptom", symptom)]


def _position(posterior: Posterior, dim: str, code: str) -> int:
    try:
        return posterior.positions[dim][code]
    except KeyError:
        known = ", ".join(posterior.positions[dim])
        raise InputError(f"The last fit knows no {dim} '{code}', only: {known}. Run `faultodds fit` again.") from None


def _softmax(log_odds: np.ndarray) -> np.ndarray:
    """Over axis 1, the suspects."""
    odds = np.exp(log_odds - log_odds.max(1, keepdims=True))
    return odds / odds.sum(1, keepdims=True)
