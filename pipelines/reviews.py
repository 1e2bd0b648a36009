"""The review of the shop put together from its parts; a part whose module is not installed is left out."""

from collections.abc import Callable, Iterator, Sequence
from datetime import date
from functools import partial
from importlib import import_module
from importlib.util import find_spec
from typing import cast

import pandas as pd

from analytics.errors import InputError
from pipelines.history import count_like_tickets
from pipelines.review_parts import Part
from pipelines.settings import Settings

PARTS = ("checks", "comebacks", "arrivals", "shelf", "donor", "club")

type MakePart = Callable[..., tuple[Part, ...]]


def known_parts() -> tuple[str, ...]:
    """Names of the parts that are there, in the order in which they are shown."""
    return tuple(name for name in PARTS if find_spec(f"pipelines.review_{name}") is not None)


def review_shop(settings: Settings, names: Sequence[str], *, today: date) -> Iterator[tuple[str, tuple[Part, ...]]]:
    """(name, its figures) one part after the other, as soon as each is made.

    Raises
    ------
    InputError
        When there are no tickets, or when the only part asked for cannot be made; among several, the reason stands
        in place of the figure.
    """
    refuse_empty(settings)
    for name in names:
        make = partial(_maker(name), settings, today=today)
        yield name, make() if len(names) == 1 else _made_or_reason(name, make)


def refuse_empty(settings: Settings) -> None:
    """InputError when no ticket is there to review."""
    if not settings.store_path.exists():
        raise InputError("There is no store here yet. Read tickets in first: `faultodds ingest FILE`.")
    if not count_like_tickets(settings.store_path, symptom="", family="").all_tickets:
        raise InputError("There are no tickets to review yet. Read some in first: `faultodds ingest FILE`.")


def _maker(name: str) -> MakePart:
    # Imported when asked for: some parts need scipy or scikit-learn, which take a second to load.
    return cast("MakePart", getattr(import_module(f"pipelines.review_{name}"), f"review_{name}"))


def _made_or_reason(name: str, make: Callable[[], tuple[Part, ...]]) -> tuple[Part, ...]:
    try:
        return make()
    except InputError as problem:
        return (Part(f"What about {name}?", str(problem), pd.DataFrame()),)
