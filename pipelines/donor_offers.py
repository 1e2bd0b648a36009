"""A donor machine on offer: what it would spare this shop, from its tickets and its list of parts."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date

import numpy as np
import pandas as pd

from analytics.donor import DonorPart, DonorWorth, Good, units_of_parts, value_donor
from analytics.errors import InputError
from analytics.part_needs import parts_in_components
from analytics.posterior import Posterior
from analytics.spares import predict_uses
from analytics.vocabulary import Vocabulary
from pipelines.settings import Settings
from pipelines.shelf_demand import PartCounts, PartDemand, count_parts, foretell_parts
from pipelines.shelf_files import read_parts

HORIZON_YEARS = 5.0
# The same question gets the same answer.
DONOR_SEED = 20_261_125


@dataclass(frozen=True)
class Offer:
    """A donor on offer.

    Parameters
    ----------
    family : its kind, a code
    price : what it costs, transport included
    floor_per_year : what its place on the floor costs a year
    years : how long its parts are kept
    good : component -> what is believed of it
    waiting : what it costs to do without a part that cannot be bought (no price in parts.csv); None = not said
    """

    family: str
    price: float
    floor_per_year: float = 0.0
    years: float = HORIZON_YEARS
    good: Mapping[str, Good] = field(default_factory=dict)
    waiting: float | None = None


@dataclass(frozen=True, eq=False)
class OfferAnswer:
    """What an offer is worth (None when no part of it can be valued).

    Parameters
    ----------
    demand : uses by machines of the donor's kind
    no_value : parts without a price, where doing without was not priced either
    not_used : parts that no machine of the kind needs by tickets and list
    """

    worth: DonorWorth | None
    demand: PartDemand
    no_value: tuple[str, ...]
    not_used: tuple[str, ...]


def value_offer(
    settings: Settings, vocabulary: Vocabulary, before: Posterior, offer: Offer, *, today: date
) -> OfferAnswer:
    """`answer_offer` by what the store counts and parts.csv says; InputError as there."""
    counts = count_parts(settings, vocabulary, today=today)
    return answer_offer(counts, read_parts(settings, vocabulary), vocabulary, before, offer)


def answer_offer(
    counts: PartCounts, parts: pd.DataFrame, vocabulary: Vocabulary, before: Posterior, offer: Offer
) -> OfferAnswer:
    """The worth of an offer, counted over machines of its kind alone.

    Parameters
    ----------
    parts : as `read_parts` gives them

    Raises
    ------
    InputError
        When the offer names what the vocabulary does not have, or a figure is out of range.
    """
    _refuse_offer(offer, vocabulary)
    units = units_of_parts(offer.good, parts_in_components(vocabulary))
    demand = foretell_parts(counts, vocabulary, before, family=offer.family)
    prices = parts.set_index("part")["price"]
    rows = demand.table.set_index("part")
    fits = [part for part in units if rows.loc[part, "used"] > 0 or rows.loc[part, "expected"] > 0]
    values = {part: _value(float(prices[part]), offer.waiting) for part in fits}
    chosen = [part for part in fits if np.isfinite(values[part])]
    worth = _worth(demand, {part: (units[part], values[part]) for part in chosen}, offer) if chosen else None
    return OfferAnswer(
        worth=worth,
        demand=demand,
        no_value=tuple(part for part in fits if part not in chosen),
        not_used=tuple(part for part in units if part not in fits),
    )


def _worth(demand: PartDemand, chosen: Mapping[str, tuple[tuple[float, ...], float]], offer: Offer) -> DonorWorth:
    """Worth of parts with the chances of their units and the value of one."""
    table = demand.table.set_index("part").loc[list(chosen)]
    coming = predict_uses(
        table["used"].to_numpy(),
        table["expected"].to_numpy(),
        years=demand.span.years,
        horizon_years=offer.years,
        prior=demand.prior,
    )
    cost = offer.price + offer.floor_per_year * offer.years
    parts = [DonorPart(part, units, value) for part, (units, value) in chosen.items()]
    return value_donor(parts, coming, cost=cost, rng=np.random.default_rng(DONOR_SEED))


def _value(price: float, waiting: float | None) -> float:
    if np.isfinite(price):
        return price
    return float("nan") if waiting is None else waiting


def _refuse_offer(offer: Offer, vocabulary: Vocabulary) -> None:
    if offer.family not in vocabulary.families:
        raise InputError(f"No kind of machine is called '{offer.family}'. Known: {', '.join(vocabulary.families)}.")
    if not offer.good:
        raise InputError("No assembly of the donor was named as good. Name at least one, like drive_belt=0.9.")
    amounts = {"Price": offer.price, "Floor space": offer.floor_per_year, "Doing without": offer.waiting or 0.0}
    for name, amount in amounts.items():
        if not 0.0 <= amount <= 1e9:
            raise InputError(f"{name} was given as {amount:g}. Give an amount of 0 or more, like 150.")
    if not 0.1 <= offer.years <= 50.0:
        raise InputError(f"A time of {offer.years:g} years was given. Give 0.1 to 50 years, like 5.")
