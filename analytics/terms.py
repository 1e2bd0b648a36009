"""The terms of the model: which coefficients there are, how far each may reach, and which arrays they build on."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from analytics.check_rates import minutes_precision, rate_precisions
from analytics.model_inputs import ModelInputs

GRADE_COUNT = 2  # grades of confirmation below the surest one, `CONFIRMATIONS[1:]`

# Shape of the gamma prior of a term's spread: zero is avoided, because no two shops are quite alike, and so is the neck
# of a funnel. Chung, Rabe-Hesketh, Dorie, Gelman and Liu, Psychometrika 78 (2013).
SPREAD_SHAPE = 2.0


@dataclass(frozen=True)
class Priors:
    """How far each term may reach. A `scale` is the mean of the gamma prior on the term's own spread; a `spread` is
    fixed. In log odds unless said otherwise.
    """

    spread_shape: float = SPREAD_SHAPE  # the larger, the surer the scales below
    suspect_scale: float = 0.4  # how far a suspect departs from its seeded strengths, alike in all its symptoms
    link_scale: float = 0.5  # ... in one symptom: a factor of two either way is ordinary
    family_scale: float = 0.4  # families share mechanisms, so they differ less than links do
    shop_scale: float = 0.3  # what a shop meets or writes down
    age_mode_scale: float = 0.2  # a step per age band; ten bands of such steps already turn rare into common
    age_suspect_scale: float = 0.1  # a suspect's own departure from its failure mode's age curve, per band
    age_symptom_scale: float = 0.1  # a failure mode's departure within one symptom, per band
    misread_mean: tuple[float, float] = (-2.9, -1.4)  # logit P(written suspect is a guess): cured 5 %, went away 20 %
    misread_grade_spread: float = 0.7  # logit: how unsure those two are
    misread_shop_scale: float = 0.5  # logit: shops differ in how freely they write a suspect down
    rate_kind_spread: float = 0.5  # logit: a whole kind of check is better or worse than seeded
    rate_check_scale: float = 0.5  # logit: one check departs from its kind
    minutes_kind_spread: float = 0.3  # log minutes: everyone slower or faster than seeded at one kind
    minutes_check_scale: float = 0.3  # log minutes: one check departs from its kind
    minutes_spread_scale: float = 0.7  # log minutes: the same check on another day


@dataclass(frozen=True)
class Term:
    """`size` coefficients that share one spread. `learned` ones have a gamma prior of mean `reach` on it, the others a
    spread of `reach`. Each is centred on the coefficient of its `parent` term, if it has one, else on zero. `precision`
    is what the data tell about each coefficient, or about all alike.
    """

    name: str
    size: int
    reach: float
    precision: float | tuple[float, ...] = 0.0
    parent: str = ""
    learned: int = 1

    def shares(self, spread: float) -> np.ndarray:
        """(size,): 1 (non-centred) where the prior knows more, towards 0 (centred) where the data do.

        Partial non-centring: Papaspiliopoulos, Roberts and Skoeld, Statistical Science 22 (2007).
        """
        return 1.0 / (1.0 + np.broadcast_to(self.precision, self.size) * spread**2)


# A ticket tells p (1 - p) about a log odds: about 0.08 in a list of a dozen suspects.
TICKET_PRECISION = 0.08
RATES = ("detection", "cure", "false_alarm")
# A suspect of one list only departs in that list or altogether: nothing can tell which, and the sampler would wander
# between the two. Where hardly any suspects are shared, the links alone depart, as far as both would.
FEWEST_SHARED, UNSHARED_SPREAD = 4, 0.01


def parent_terms(inputs: ModelInputs, priors: Priors) -> tuple[Term, ...]:
    """What others are centred on: the suspect in all its symptoms, and each kind of check."""
    kinds, suspects = len(inputs.checks.kinds), len(inputs.links.suspects)
    return (
        Term("suspect", suspects, priors.suspect_scale)
        if _are_shared(inputs)
        else Term("suspect", suspects, UNSHARED_SPREAD, learned=0),
        *(Term(f"{rate}_kind", kinds, priors.rate_kind_spread, learned=0) for rate in RATES),
        Term("minutes_kind", kinds, priors.minutes_kind_spread, learned=0),
    )


def _are_shared(inputs: ModelInputs) -> bool:
    """Whether enough suspects stand in more than one list."""
    return bool((np.bincount(inputs.links.suspect) > 1).sum() >= FEWEST_SHARED)


def model_terms(inputs: ModelInputs, priors: Priors) -> tuple[Term, ...]:
    """Terms in the order in which `effects.assemble` reads them; those with a parent come first.

    Contrasts only: what would add a constant to all suspects of a list has no coefficient (see `effects`).
    """
    links, table, tickets = inputs.links, inputs.checks, inputs.ticket_count * TICKET_PRECISION
    steps, modes, suspects = len(inputs.ages) - 1, len(links.modes), len(links.suspects)
    link = len(links.symptom) - len(links.symptoms)
    reach = priors.link_scale if _are_shared(inputs) else float(np.hypot(priors.link_scale, priors.suspect_scale))
    terms = [Term("link", link, reach, tickets / link, parent="suspect")]
    checks = len(table.checks)
    known = rate_precisions(table)
    for rate in RATES:
        told = tuple(known[rate])
        terms.append(Term(f"{rate}_check", checks, priors.rate_check_scale, told, parent=f"{rate}_kind"))
    told = tuple(minutes_precision(table))
    terms.append(Term("minutes_check", checks, priors.minutes_check_scale, told, parent="minutes_kind"))
    family = max(0, len(inputs.families) - 1) * (suspects - 1)
    shop = max(0, len(inputs.shops) - 1) * (modes - 1)
    terms.append(Term("family", family, priors.family_scale, tickets / max(1, family)))
    terms.append(Term("shop", shop, priors.shop_scale, tickets / max(1, shop)))
    for name, size in (("age_mode", modes - 1), ("age_suspect", suspects - 1), ("age_symptom", len(links.pairs))):
        # a step moves all later bands, so about a quarter of all tickets tell about each
        terms.append(Term(name, steps * size, getattr(priors, f"{name}_scale"), tickets / (4 * size)))
    terms.append(Term("misread_grade", GRADE_COUNT, priors.misread_grade_spread, learned=0))
    terms.append(Term("misread_shop", len(inputs.shops), priors.misread_shop_scale))
    return tuple(terms)


def term_starts(terms: Sequence[Term]) -> np.ndarray:
    """(term + 1,) where each term's coefficients begin in the vector of all."""
    return np.cumsum([0, *(term.size for term in terms)])
