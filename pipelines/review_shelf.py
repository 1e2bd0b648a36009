"""What to keep on the shelf: uses of parts to come, an order list, and swap units that spare bench time."""

from datetime import date

import pandas as pd

from analytics.errors import InputError
from analytics.plan_of_case import PlanOf, plan_of_case
from analytics.posterior import Posterior
from analytics.swap_units import SwapWorth, value_swaps
from analytics.vocabulary import Vocabulary
from pipelines.catalogue import read_vocabulary
from pipelines.posteriors import has_published_fit
from pipelines.prior_sources import load_prior
from pipelines.review_parts import Part
from pipelines.review_plans import newest_planner
from pipelines.settings import Settings
from pipelines.shelf_demand import PartDemand, Span, read_part_demand
from pipelines.shelf_files import PARTS_NAME, read_parts
from pipelines.shelf_orders import (
    COST,
    HIGH,
    LOW,
    PART,
    TO_ORDER,
    USED,
    YEARLY,
    Aim,
    demand_table,
    missing_table,
    order_table,
)
from pipelines.wording import counted

QUESTION_USES = "Which parts will be used, and how often?"
QUESTION_ORDER = "Which parts should be ordered now?"
QUESTION_MISSING = "Which parts lack a figure?"
QUESTION_SWAPS = "Which known-good unit spares the most bench time?"
SWAP, SAVED, USES = "swap", "bench time spared (min a year)", "made by the plan (times a year)"
HOW_COUNTED = (
    "A ticket uses a part when a check that fits it was made and cured; where no cure is written on a fixed ticket, "
    "when its confirmed suspect is mended with that part. One unit a ticket; a part fitted in vain goes back on the "
    "shelf.",
    "Before its own tickets a part is expected to be used as often as machines come in, times how likely a suspect "
    "is, times how often the part cures it; that belief is the one before any ticket, so that no ticket counts "
    "twice. All parts together say how far such a belief may be off. A part never used still has a small figure.",
    "In nine cases of ten the true figure lies between 'from' and 'to'.",
)
HOW_SWAPPED = (
    "Each symptom is planned with the swap and without it, for a machine of unknown kind and age; the difference in "
    "minutes counts as often as the symptom comes in. Plans of long lists are searched, not solved, so a difference "
    "of less than a minute may be none.",
    "Where the other unit sits in the same machine (two plugs, two sides), nothing has to be bought for the swap.",
)


def review_shelf(settings: Settings, *, today: date) -> tuple[Part, ...]:
    """The figures about parts; InputError without parts or enough tickets."""
    vocabulary = read_vocabulary(settings.vocabulary_folder)
    before = load_prior(settings, vocabulary)
    demand = read_part_demand(settings, vocabulary, before, today=today)
    planner = newest_planner(settings) if has_published_fit(settings) else (before, plan_of_case)
    swaps = swaps_part(demand, *planner, vocabulary)
    try:
        parts = read_parts(settings, vocabulary)
    except InputError as problem:
        return (uses_part(demand), Part(QUESTION_ORDER, str(problem), pd.DataFrame()), swaps)
    return (uses_part(demand), *order_parts(demand, parts, Aim()), swaps)


def uses_part(demand: PartDemand) -> Part:
    """Uses a year of every part."""
    table = demand_table(demand)
    first = table.iloc[0]
    finding = (
        f"'{first[PART]}' is used most: about {say_figure(first[YEARLY])} times a year (between "
        f"{say_figure(first[LOW])} and {say_figure(first[HIGH])}; {counted(int(first[USED]), 'ticket')}). "
        f"{say_span(demand.span)}"
    )
    return Part(QUESTION_USES, finding, table, HOW_COUNTED)


def order_parts(demand: PartDemand, parts: pd.DataFrame, aim: Aim) -> tuple[Part, ...]:
    """The order list, and the parts that lack a figure; InputError for an aim out of range."""
    orders, missing = order_table(demand, parts, aim), missing_table(demand, parts, aim)
    lacking = () if missing.empty else (_missing_part(missing, parts),)
    return (Part(QUESTION_ORDER, say_orders(orders), orders, say_aim(aim)), *lacking)


def say_figure(figure: float) -> str:
    """A figure with two digits that count, whole from a hundred on."""
    return f"{figure:,.0f}" if figure >= 100 else f"{figure:.2g}"


def say_orders(orders: pd.DataFrame) -> str:
    """The order list in a sentence."""
    if orders.empty:
        return (
            f"No part can be planned yet: {PARTS_NAME} in the data folder must say what is on the shelf and how long a "
            "part takes."
        )
    wanted = orders[orders[TO_ORDER] > 0]
    if wanted.empty:
        return f"Nothing: the shelf holds enough of {counted(len(orders), 'planned part')}."
    units, cost = int(wanted[TO_ORDER].sum()), wanted[COST].sum()
    unpriced = int(wanted[COST].isna().sum())
    besides = f", and {counted(unpriced, 'part')} whose price is not known" if unpriced else ""
    return f"{counted(units, 'unit')} of {counted(len(wanted), 'part')}, for {cost:,.2f}{besides}."


def say_aim(aim: Aim) -> tuple[str, ...]:
    """What the order list aims at, and what was assumed."""
    how = (
        f"So much is kept that a part is there when it is wanted {100 * aim.service:.4g} times in 100 while an order "
        "is under way."
        if aim.waiting_per_day is None
        else f"So much is kept that one more unit would cost as much as it spares: a machine that waits costs "
        f"{aim.waiting_per_day:g} a day, a part on the shelf {100 * aim.holding:.3g} in 100 of its price a year."
    )
    return (
        how,
        "Each unit used is ordered again at once. A blank in 'on order' counts as none, a blank minimum order as one.",
    )


def say_span(span: Span) -> str:
    """Which tickets were counted."""
    return f"Counted over {counted(span.tickets, 'ticket')} from {span.since} to {span.until} ({span.years:.1f} years)."


def swaps_part(demand: PartDemand, posterior: Posterior, plan_of: PlanOf, vocabulary: Vocabulary) -> Part:
    """Swaps by the bench minutes they spare a year."""
    by_symptom = demand.arrivals.groupby("symptom", as_index=False)["tickets"].sum()
    arrivals = by_symptom.assign(per_year=by_symptom["tickets"] / demand.span.years)
    worths = value_swaps(posterior, arrivals, vocabulary, plan_of=plan_of)
    if not worths:
        return Part(QUESTION_SWAPS, "No swap of the list bears on a symptom that came in.", pd.DataFrame())
    table = pd.DataFrame([_swap_row(worth, vocabulary) for worth in worths])
    return Part(QUESTION_SWAPS, _say_swap(worths[0], vocabulary), table, HOW_SWAPPED)


def _swap_row(worth: SwapWorth, vocabulary: Vocabulary) -> dict[str, object]:
    return {
        SWAP: vocabulary.checks[worth.check].name,
        SAVED: round(worth.minutes),
        LOW: round(worth.low),
        HIGH: round(worth.high),
        USES: round(worth.uses, 1),
        "machines with such a symptom (a year)": round(worth.machines, 1),
        "symptoms": len(worth.symptoms),
    }


def _say_swap(best: SwapWorth, vocabulary: Vocabulary) -> str:
    if best.minutes < 1.0:
        return "None: with and without a swap the plans take the same minutes, so other checks are as good."
    return (
        f"'{vocabulary.checks[best.check].name}' spares about {best.minutes:,.0f} bench minutes a year (between "
        f"{best.low:,.0f} and {best.high:,.0f}); the plan makes it about {best.uses:,.1f} times a year."
    )


def _missing_part(missing: pd.DataFrame, parts: pd.DataFrame) -> Part:
    finding = (
        f"{counted(len(missing), 'part')} of {len(parts)}. Fill in the blanks in {PARTS_NAME}; "
        "`faultodds shelf parts --csv FILE` writes the list to edit. Nothing is guessed for them."
    )
    return Part(QUESTION_MISSING, finding, missing)
