"""The terms of the model: which coefficients there are, how far each may reach, and which arrays they build on."""

from dataclasses import dataclass

import numpy as np

from analytics.model_inputs import ModelInputs

GRADE_COUNT = 2  # grades of confirmation below the surest one, `CONFIRMATIONS[1:]`


@dataclass(frozen=True)
class Priors:
    """How far each term may reach. A `scale` is the scale of a half-normal prior on the term's own spread; a `spread`
    is fixed. In log odds unless said otherwise.
    """

    suspect_scale: float = 0.5  # how far a suspect departs from its seeded strengths, alike in all its symptoms
    link_scale: float = 0.7  # ... in one symptom: a factor of two either way is ordinary
    family_scale: float = 0.5  # families share mechanisms, so they differ less than links do
    shop_scale: float = 0.4  # what a shop meets or writes down
    age_mode_scale: float = 0.3  # a step per age band; ten bands of such steps already turn rare into common
    age_suspect_scale: float = 0.15  # a suspect's own departure from its failure mode's age curve, per band
    age_symptom_scale: float = 0.15  # a failure mode's departure within one symptom, per band
    misread_mean: tuple[float, float] = (-2.9, -1.4)  # logit P(written suspect is a guess): cured 5 %, went away 20 %
    misread_grade_spread: float = 0.7  # logit: how unsure those two are
    misread_shop_scale: float = 0.6  # logit: shops differ in how freely they write a suspect down
    rate_kind_spread: float = 0.5  # logit: a whole kind of check is better or worse than seeded
    rate_check_scale: float = 0.7  # logit: one check departs from its kind
    minutes_kind_spread: float = 0.3  # log minutes: everyone slower or faster than seeded at one kind
    minutes_check_scale: float = 0.4  # log minutes: one check departs from its kind
    minutes_spread_scale: float = 0.7  # log minutes: the same check on another day


@dataclass(frozen=True)
class Term:
    """`size` coefficients that share one spread. `learned` ones have a half-normal prior of scale `reach` on it, the
    others a spread of `reach`. `tickets` per coefficient decide between the centred and the non-centred form.
    """

    name: str
    size: int
    reach: float
    tickets: float = 0.0
    learned: int = 1

    @property
    def share(self) -> float:
        """1 (non-centred) for no tickets, towards 0 (centred) for many: the prior's part of the precision.

        A ticket tells at most 1/4 about a log odds (Bernoulli information); at a spread of 0.4 that is 0.04 of the
        prior's precision. Partial non-centring: Papaspiliopoulos, Roberts and Skoeld, Statistical Science 22 (2007).
        """
        return 1.0 / (1.0 + 0.04 * self.tickets)


def model_terms(inputs: ModelInputs, priors: Priors) -> tuple[Term, ...]:
    """Terms in the order in which `effects.assemble` reads them; learned ones and fixed ones in one list."""
    links, tickets = inputs.links, inputs.ticket_count
    steps, modes, suspects = len(inputs.ages) - 1, len(links.modes), len(links.suspects)
    family = max(0, len(inputs.families) - 1) * (suspects - 1)
    shop = max(0, len(inputs.shops) - 1) * (modes - 1)
    kinds, checks = len(inputs.checks.kinds), len(inputs.checks.checks)
    terms = [
        Term("suspect", suspects, priors.suspect_scale),
        Term("link", len(links.symptom), priors.link_scale, tickets / len(links.symptom)),
        Term("family", family, priors.family_scale, tickets / max(1, family)),
        Term("shop", shop, priors.shop_scale, tickets / max(1, shop)),
        Term("age_mode", steps * modes, priors.age_mode_scale),
        Term("age_suspect", steps * suspects, priors.age_suspect_scale),
        Term("age_symptom", steps * len(links.pairs), priors.age_symptom_scale),
        Term("misread_grade", GRADE_COUNT, priors.misread_grade_spread, learned=0),
        Term("misread_shop", len(inputs.shops), priors.misread_shop_scale),
    ]
    for rate in ("detection", "cure", "false_alarm"):
        terms.append(Term(f"{rate}_kind", kinds, priors.rate_kind_spread, learned=0))
        terms.append(Term(f"{rate}_check", checks, priors.rate_check_scale))
    terms.append(Term("minutes_kind", kinds, priors.minutes_kind_spread, learned=0))
    terms.append(Term("minutes_check", checks, priors.minutes_check_scale))
    return tuple(terms)


def term_starts(terms: tuple[Term, ...]) -> np.ndarray:
    """(term + 1,) where each term's coefficients begin in the vector of all."""
    return np.cumsum([0, *(term.size for term in terms)])
