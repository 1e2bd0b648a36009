"""True log odds of a simulated world: drawn effects, and the tables they add up to."""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from analytics.vocabulary import STRENGTH_WEIGHTS, Vocabulary

# Which way a failure mode's odds go as machines age, in units of `Spreads.age_trend`: what dries, gets dirty or wears
# takes over from what was set wrongly in the first place. Common practice, no source.
AGE_DIRECTIONS: Mapping[str, float] = {
    **{"dirty": 1.0, "dried_out": 1.5, "worn": 1.0, "leaking": 1.0, "sticking": 0.7, "low_emission": 0.5},
    **{"misadjusted": -1.0, "blocked": -0.7, "blown": -0.3},
}


@dataclass(frozen=True)
class Spreads:
    """How wide and how untidy a world is. Names that end in `_sd` are standard deviations in log odds (or logits).

    Parameters
    ----------
    link_sd : a suspect's departure from its seeded strength, for each symptom
    suspect_sd : ... alike in all its symptoms
    family_sd, shop_sd : a suspect's by family; a failure mode's by shop
    age_step_sd, age_trend : steps of a failure mode's random walk over the age bands; its drift per band
    suspect_age_sd, symptom_age_sd : steps of a suspect's own, and of a failure mode's own within one symptom
    jump_at_design_change : sd of a sudden change of every failure mode between the two middle age bands
    misrecording : P(written suspect is a guess) of an ordinary `cured` ticket
    rate_sd : true detection, false alarm and cure against the seeded ones, in logits
    minutes_sd : true median minutes of a check against the seeded ones, in log minutes
    comeback : P(an ordinary repair fails again within 365 days); 0 for a world without comebacks
    give_up : P(the technician stops) after each check but the first that did not cure
    """

    link_sd: float = 0.5
    suspect_sd: float = 0.2
    family_sd: float = 0.5
    shop_sd: float = 0.35
    age_step_sd: float = 0.15
    age_trend: float = 0.15
    suspect_age_sd: float = 0.05
    symptom_age_sd: float = 0.05
    jump_at_design_change: float = 0.0
    misrecording: float = 0.05
    rate_sd: float = 0.4
    minutes_sd: float = 0.25
    comeback: float = 0.1
    give_up: float = 0.022


@dataclass(frozen=True, eq=False)
class Effects:
    """Summands of the true log odds, in the order of the vocabulary; a mode is a failure mode, the last one "none".

    link (link,): the suspects of the first symptom, then of the second, ...; family (family, suspect); shop (shop,
    mode); age_mode (mode, age); age_suspect (suspect, age); age_symptom (symptom, mode, age).
    """

    link: np.ndarray
    family: np.ndarray
    shop: np.ndarray
    age_mode: np.ndarray
    age_suspect: np.ndarray
    age_symptom: np.ndarray


def draw_effects(vocabulary: Vocabulary, shop_count: int, rng: np.random.Generator, *, spreads: Spreads) -> Effects:
    """Effects of one world, rounded to four digits so that they survive being written down."""
    suspects, ages, modes = len(vocabulary.suspects), len(vocabulary.age_bands), len(vocabulary.failure_modes) + 1
    own = rng.normal(0.0, spreads.suspect_sd, suspects)
    position = {code: at for at, code in enumerate(vocabulary.suspects)}
    link = np.array(
        [
            np.log(STRENGTH_WEIGHTS[vocabulary.links.get((symptom, code), "rarely")]) + own[position[code]]
            for symptom, codes in vocabulary.suspects_by_symptom.items()
            for code in codes
        ]
    )
    direction = np.array([*(AGE_DIRECTIONS.get(code, 0.0) for code in vocabulary.failure_modes), 0.0])
    drift = np.outer(direction, spreads.age_trend * (np.arange(ages) - (ages - 1) / 2))
    jump = rng.normal(0.0, 1.0, modes)[:, None] * (np.arange(ages) >= ages // 2) * spreads.jump_at_design_change
    return Effects(
        link=np.round(link + rng.normal(0.0, spreads.link_sd, len(link)), 4),
        family=np.round(rng.normal(0.0, spreads.family_sd, (len(vocabulary.families), suspects)), 4),
        shop=np.round(rng.normal(0.0, spreads.shop_sd, (shop_count, modes)), 4),
        age_mode=np.round(drift + jump + _walk(rng, (modes, ages), spreads.age_step_sd), 4),
        age_suspect=np.round(_walk(rng, (suspects, ages), spreads.suspect_age_sd), 4),
        age_symptom=np.round(_walk(rng, (len(vocabulary.symptoms), modes, ages), spreads.symptom_age_sd), 4),
    )


def log_odds_tables(effects: Effects, vocabulary: Vocabulary) -> dict[str, np.ndarray]:
    """Symptom -> true log odds (family, shop, age band, suspect of that symptom's list)."""
    position = {code: at for at, code in enumerate(vocabulary.suspects)}
    modes = {code: at for at, code in enumerate(vocabulary.failure_modes)}
    tables, first = {}, 0
    for s, (symptom, codes) in enumerate(vocabulary.suspects_by_symptom.items()):
        suspect = np.array([position[code] for code in codes])
        mode = np.array([modes.get(vocabulary.suspects[code].failure_mode, len(modes)) for code in codes])
        age = effects.age_mode[mode] + effects.age_suspect[suspect] + effects.age_symptom[s, mode]
        tables[symptom] = (
            effects.link[first : first + len(codes)]
            + effects.family[:, None, None, suspect]
            + effects.shop[None, :, None, mode]
            + age.T[None, None, :, :]
        )
        first += len(codes)
    return tables


def _walk(rng: np.random.Generator, shape: tuple[int, ...], step_sd: float) -> np.ndarray:
    """Random walks along the last axis, each with mean 0."""
    steps = rng.normal(0.0, step_sd, shape).cumsum(axis=-1)
    return steps - steps.mean(axis=-1, keepdims=True)
