"""A world's truth as plain lists that JSON can hold, and back; nothing is lost on the way."""

from collections.abc import Mapping
from dataclasses import asdict, fields
from typing import Any

import numpy as np
import pandas as pd

from analytics.errors import InputError
from analytics.scenario import World
from analytics.scenario_effects import Effects, Spreads, log_odds_tables
from analytics.vocabulary import CONFIRMATIONS, Vocabulary

ABOUT = (
    "Truth behind the simulated tickets. Log odds of a suspect = link + family + shop + age_mode + age_suspect + "
    "age_symptom, each row in the order of `codes`; shop, age_mode and age_symptom go by failure mode, the last one "
    "for suspects without any. Softmax over the symptom's list gives the odds of a ticket that is no comeback."
)
_ARRAYS = (
    *("found", "cured", "check_minutes", "misrecording", "fails_within_year", "companions"),
    *("arrivals", "season", "familiarity"),
)


def truth_of(world: World) -> dict[str, Any]:
    """Everything but the vocabulary, whose codes are listed under `codes` in the order of the arrays."""
    return {
        "about": ABOUT,
        "codes": _codes(world.vocabulary),
        "shops": list(world.shops),
        "spreads": asdict(world.spreads),
        "effects": {field.name: getattr(world.effects, field.name).tolist() for field in fields(Effects)},
        **{name: getattr(world, name).tolist() for name in _ARRAYS},
        "minutes_spread": world.minutes_spread,
        "yearly_growth": world.yearly_growth,
        "machines": {name: column.tolist() for name, column in world.machines.items()},
    }


def world_from_truth(truth: Mapping[str, Any], vocabulary: Vocabulary) -> World:
    """The world that `truth_of` described.

    Raises
    ------
    InputError
        When the vocabulary is not the one the truth was stated for.
    """
    for name, codes in _codes(vocabulary).items():
        if truth["codes"][name] != codes:
            raise InputError(
                f"This truth was stated for other {name} than the vocabulary has. "
                "Use the vocabulary it was made with, or make the history again."
            )
    effects = Effects(**{name: np.array(values) for name, values in truth["effects"].items()})
    return World(
        vocabulary=vocabulary,
        shops=tuple(truth["shops"]),
        spreads=Spreads(**truth["spreads"]),
        effects=effects,
        log_odds=log_odds_tables(effects, vocabulary),
        **{name: np.array(truth[name]) for name in _ARRAYS},
        minutes_spread=truth["minutes_spread"],
        yearly_growth=truth["yearly_growth"],
        machines=pd.DataFrame(dict(truth["machines"])),
    )


def _codes(vocabulary: Vocabulary) -> dict[str, Any]:
    named = ("families", "symptoms", "failure_modes", "suspects", "checks")
    return {
        **{name: list(getattr(vocabulary, name)) for name in named},
        "links": [[symptom, *codes] for symptom, codes in vocabulary.suspects_by_symptom.items()],
        "age_bands": [band.code for band in vocabulary.age_bands],
        "confirmations": list(CONFIRMATIONS),
    }
