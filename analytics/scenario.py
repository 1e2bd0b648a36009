"""A simulated world whose truth is known: the odds behind its tickets, what its checks can tell, who brings what."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from analytics.companions import PRESENT_BY_CHANCE, PRESENT_BY_STRENGTH
from analytics.errors import InputError
from analytics.scenario_effects import Effects, Spreads, draw_effects, log_odds_tables
from analytics.vocabulary import CONFIRMATIONS, UNKNOWN_AGE, Vocabulary

# All numbers below belong to the invented world; none is measured.
MACHINES_PER_SHOP = 200
BUILT_FROM, BUILT_TO = 1925, 1985
STRAY_CURE = 0.01  # P(a remedy for another suspect brings the machine back)
STRAY_FAILS_WITHIN_YEAR = 0.7
# A guess is written this many times as often as in an ordinary `cured` ticket, by grade of confirmation.
GUESS_FACTORS: Mapping[str, float] = {"reproduced_and_cured": 0.2, "cured": 1.0, "symptom_went_away": 4.0}
SHOP_GUESS_SD = 0.5  # logits
# A new part holds better than a cleaned one.
FAILS_FACTORS: Mapping[str, float] = {"substitution": 0.4, "remedy": 1.3}
# Piers are open in summer: tickets by month, January first.
SEASON = (0.6, 0.7, 0.9, 1.1, 1.2, 1.3, 1.4, 1.4, 1.1, 0.9, 0.7, 0.7)


@dataclass(frozen=True, eq=False)
class World:
    """The truth. Arrays follow the order of `shops` and of the vocabulary's families, symptoms, suspects and checks.

    Parameters
    ----------
    log_odds : symptom -> (family, shop, age band, suspect of its list)
    found, cured : (check, suspect) P(fault_found | suspect), P(cured | suspect); cured is 0 for what is no remedy
    check_minutes, minutes_spread : (check,) median minutes, and the sd of log minutes
    misrecording : (shop, grade of `CONFIRMATIONS`) P(written suspect is a guess)
    fails_within_year : (check, suspect) P(the repair fails again within 365 days), at a constant hazard
    companions : (suspect, symptom) P(another symptom is present | suspect)
    arrivals : (shop, family, symptom) shares of all tickets; season (month,) and yearly_growth multiply them
    familiarity : (shop, check) log weight with which a shop reaches for a check
    machines : frame: machine, shop, family, built_year, weight (how often it is brought, relative)
    """

    vocabulary: Vocabulary
    shops: tuple[str, ...]
    spreads: Spreads
    effects: Effects
    log_odds: Mapping[str, np.ndarray]
    found: np.ndarray
    cured: np.ndarray
    check_minutes: np.ndarray
    minutes_spread: float
    misrecording: np.ndarray
    fails_within_year: np.ndarray
    companions: np.ndarray
    arrivals: np.ndarray
    season: np.ndarray
    yearly_growth: float
    familiarity: np.ndarray
    machines: pd.DataFrame


def make_world(
    vocabulary: Vocabulary,
    shops: Sequence[str],
    rng: np.random.Generator,
    *,
    spreads: Spreads = Spreads(),  # noqa: B008 - frozen
    symptom_rates: Mapping[tuple[str, str], float] | None = None,
) -> World:
    """A world drawn around the seeded vocabulary.

    Parameters
    ----------
    shops : names of the workshops
    spreads : how far the truth lies from what is seeded, and how untidily it is written down
    symptom_rates : (family, symptom) -> relative number of tickets; a pair left out never occurs. None: all alike.
    """
    effects = draw_effects(vocabulary, len(shops), rng, spreads=spreads)
    found, cured = _draw_rates(vocabulary, rng, spreads.rate_sd)
    seeded_minutes = np.array([check.minutes for check in vocabulary.checks.values()])
    shares = rng.lognormal(0.0, 0.5, (len(shops), len(vocabulary.families)))
    guess = np.array([spreads.misrecording * GUESS_FACTORS[grade] for grade in CONFIRMATIONS])
    return World(
        vocabulary=vocabulary,
        shops=tuple(shops),
        spreads=spreads,
        effects=effects,
        log_odds=log_odds_tables(effects, vocabulary),
        found=found,
        cured=cured,
        check_minutes=np.round(seeded_minutes * rng.lognormal(0.0, spreads.minutes_sd, len(seeded_minutes)), 2),
        minutes_spread=0.45,
        misrecording=_near(rng, np.repeat(guess[None], len(shops), axis=0), SHOP_GUESS_SD, axis_alike=1),
        fails_within_year=_draw_failures(vocabulary, rng, spreads.comeback),
        companions=_draw_companions(vocabulary, rng, spreads.rate_sd),
        arrivals=_draw_arrivals(vocabulary, rng, shares, symptom_rates),
        season=np.array(SEASON),
        yearly_growth=0.03,
        familiarity=np.round(rng.normal(0.0, 0.6, (len(shops), len(seeded_minutes))), 4),
        machines=_draw_machines(vocabulary, tuple(shops), rng, shares),
    )


def suspect_probabilities(world: World, symptom: str, *, family: str, shop: str, age_band: str) -> np.ndarray:
    """True P(suspect | symptom, family, shop, age band) over the symptom's list, shape (suspect,).

    Raises
    ------
    InputError
        For a symptom, family, shop or age band that the world does not have.
    """
    world.vocabulary.suspects_of(symptom)
    bands = [band.code for band in world.vocabulary.age_bands]
    names = (("family", family, list(world.vocabulary.families)), ("shop", shop, list(world.shops)))
    at = []
    for field, name, known in (*names, ("age band", age_band, bands)):
        if name not in known:
            hint = " A machine without a year has none." if name == UNKNOWN_AGE else ""
            raise InputError(f"This world has no {field} '{name}'.{hint} Known: {', '.join(known)}.")
        at.append(known.index(name))
    return softmax(world.log_odds[symptom][tuple(at)])


def softmax(log_odds: np.ndarray) -> np.ndarray:
    """Probabilities along the last axis."""
    odds = np.exp(log_odds - log_odds.max(axis=-1, keepdims=True))
    return odds / odds.sum(axis=-1, keepdims=True)


def _near(rng: np.random.Generator, chance: np.ndarray, sd: float, *, axis_alike: int | None = None) -> np.ndarray:
    """Probabilities near the given ones (normal in logits); along `axis_alike` all depart alike. 0 stays 0."""
    shape = tuple(1 if axis == axis_alike else size for axis, size in enumerate(chance.shape))
    inside = np.clip(chance, 1e-6, 1.0 - 1e-6)
    logit = np.log(inside / (1.0 - inside)) + rng.normal(0.0, sd, shape)
    return np.where(chance > 0.0, np.round(1.0 / (1.0 + np.exp(-logit)), 4), 0.0)


def _draw_rates(vocabulary: Vocabulary, rng: np.random.Generator, sd: float) -> tuple[np.ndarray, np.ndarray]:
    checks, position = list(vocabulary.checks.values()), {code: at for at, code in enumerate(vocabulary.suspects)}
    false_alarm = _near(rng, np.array([check.false_alarm for check in checks]), sd)
    found = np.repeat(false_alarm[:, None], len(position), axis=1)
    cured = np.zeros_like(found)
    for at, check in enumerate(checks):
        cured[at] = STRAY_CURE if check.is_remedy else 0.0
        for table, rates in ((found, check.reveals), (cured, check.cures)):
            columns = [position[code] for code in rates]
            table[at, columns] = _near(rng, np.array(list(rates.values()), dtype=float), sd)
    return found, cured


def _draw_failures(vocabulary: Vocabulary, rng: np.random.Generator, comeback: float) -> np.ndarray:
    position = {code: at for at, code in enumerate(vocabulary.suspects)}
    fails = np.zeros((len(vocabulary.checks), len(position)))
    for at, check in enumerate(vocabulary.checks.values()):
        fails[at] = STRAY_FAILS_WITHIN_YEAR if check.is_remedy and comeback > 0.0 else 0.0
        columns = [position[code] for code in check.cures]
        fails[at, columns] = _near(rng, np.full(len(columns), comeback * FAILS_FACTORS.get(check.kind, 1.0)), 0.5)
    return fails


def _draw_companions(vocabulary: Vocabulary, rng: np.random.Generator, sd: float) -> np.ndarray:
    suspects, symptoms = list(vocabulary.suspects), list(vocabulary.symptoms)
    seeded = np.full((len(suspects), len(symptoms)), PRESENT_BY_CHANCE)
    for (symptom, suspect), strength in vocabulary.links.items():
        seeded[suspects.index(suspect), symptoms.index(symptom)] = PRESENT_BY_STRENGTH[strength]
    return _near(rng, seeded, sd)


def _draw_arrivals(
    vocabulary: Vocabulary,
    rng: np.random.Generator,
    shares: np.ndarray,
    symptom_rates: Mapping[tuple[str, str], float] | None,
) -> np.ndarray:
    """Shares of all tickets (shop, family, symptom); `shares` (shop, family) says how many machines a shop keeps."""
    rates = np.ones((len(vocabulary.families), len(vocabulary.symptoms)))
    if symptom_rates is not None:
        pairs = [[symptom_rates.get((f, s), 0.0) for s in vocabulary.symptoms] for f in vocabulary.families]
        rates = np.array(pairs)
    arrivals = shares[:, :, None] * rates * rng.lognormal(0.0, 0.25, (len(shares), *rates.shape))
    return np.round(arrivals / arrivals.sum(), 8)


def _draw_machines(
    vocabulary: Vocabulary, shops: tuple[str, ...], rng: np.random.Generator, shares: np.ndarray
) -> pd.DataFrame:
    """Machines sorted by shop and family; every shop keeps at least two of each family."""
    heyday = rng.integers(BUILT_FROM + 10, BUILT_TO - 10, len(vocabulary.families))
    counts = np.maximum(2, np.round(MACHINES_PER_SHOP * shares / shares.sum(1, keepdims=True))).astype(int)
    shop = np.repeat(np.arange(len(shops)), counts.sum(1))
    family = np.concatenate([np.repeat(np.arange(counts.shape[1]), row) for row in counts])
    built = rng.triangular(BUILT_FROM, heyday[family], BUILT_TO + 1).astype(int)
    return pd.DataFrame(
        {
            "machine": [f"M{number:04d}" for number in range(1, len(shop) + 1)],
            "shop": np.array(shops)[shop],
            "family": np.array(list(vocabulary.families))[family],
            "built_year": built,
            "weight": np.round(rng.lognormal(0.0, 0.4, len(shop)), 4),
        }
    )
