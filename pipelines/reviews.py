"""The review of the shop put together from its parts."""

from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from datetime import date
from importlib import import_module
from typing import cast

import pandas as pd

from analytics.errors import InputError
from pipelines.history import count_like_tickets
from pipelines.review_parts import Part
from pipelines.settings import Settings

PARTS = ("checks", "comebacks", "arrivals", "shelf", "donor", "club")

type MakePart = Callable[..., tuple[Part, ...]]


def review_shop(settings: Settings, names: Sequence[str], *, today: date) -> Iterator[tuple[str, tuple[Part, ...]]]:
    """(name, its figures) one part after the other, as soon as each is made.

    Raises
    ------
    InputError
        When there are no tickets, or when the only part asked for cannot be made; among several, the reason stands
        in place of the figure.
    """
    refuse_empty(settings)
    if len(names) == 1:
        yield names[0], _maker(names[0])(settings, today=today)
        return
    # the database counts for one part while another one is modelled
    with ThreadPoolExecutor(2) as pool:
        made = [pool.submit(_made_or_reason, name, settings, today=today) for name in names]
        for name, parts in zip(names, made, strict=True):
            yield name, parts.result()


def refuse_empty(settings: Settings) -> None:
    """InputError when no ticket is there to review."""
    if not settings.store_path.exists():
        raise InputError("There is no store here yet. Read tickets in first: `faultodds ingest FILE`.")
    if not count_like_tickets(settings.store_path, symptom="", family="").all_tickets:
        raise InputError("There are no tickets to review yet. Read some in first: `faultodds ingest FILE`.")


def _maker(name: str) -> MakePart:
    # Imported when asked for: some parts need scipy or scikit-learn, which take a second to load.
    return cast("MakePart", getattr(import_module(f"pipelines.review_{name}"), f"review_{name}"))


def _made_or_reason(name: str, settings: Settings, *, today: date) -> tuple[Part, ...]:
    try:
        return _maker(name)(settings, today=today)
    except InputError as problem:
        return (Part(f"What about {name}?", str(problem), pd.DataFrame()),)
