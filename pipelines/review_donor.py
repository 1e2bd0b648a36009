"""Whether a donor machine pays: the worth of each kind if it were to be had, and of one that is on offer."""

from datetime import date

import pandas as pd

from analytics.donor import DonorWorth, Good
from analytics.part_needs import parts_in_components
from analytics.vocabulary import Vocabulary
from pipelines.catalogue import read_vocabulary
from pipelines.donor_offers import HORIZON_YEARS, Offer, OfferAnswer, answer_offer
from pipelines.prior_sources import load_prior
from pipelines.review_parts import Part
from pipelines.review_shelf import say_span
from pipelines.settings import Settings
from pipelines.shelf_demand import count_parts
from pipelines.shelf_files import PARTS_NAME, read_parts
from pipelines.wording import counted, in_ten, listed

QUESTION_KINDS = "Up to which price does a donor machine pay?"
QUESTION_OFFER = "Does this donor machine pay?"
KIND, PAYS_TO, LOW, HIGH = "kind of machine", "parts spare on average", "from", "to"
PART, SPARED = "part", "spares on average"
# Half of what a machine sold for parts holds is taken to be good where nobody has looked. Common practice, no source.
UNSEEN_GOOD = 0.5
HOW_DONATED = (
    "Only machines of the donor's own kind are counted as users of its parts, by their tickets: whether a part fits "
    "other kinds is not known to the program.",
    "A unit spares the price of a new one each time it is used; where no price is known, what doing without it was "
    "said to cost. Parts with neither are left out. Working hours to take parts out are not counted.",
    "In nine cases of ten the true figure lies between 'from' and 'to'.",
)


def review_donor(settings: Settings, *, today: date) -> tuple[Part, ...]:
    """The worth of a donor of every kind, one unit of each assembly; InputError without parts or tickets."""
    vocabulary = read_vocabulary(settings.vocabulary_folder)
    parts = read_parts(settings, vocabulary)
    if parts["price"].isna().all():
        finding = (
            f"That cannot be said before prices of parts are known: {PARTS_NAME} in the data folder has none. "
            "`faultodds shelf parts --csv FILE` writes the list to edit."
        )
        return (Part(QUESTION_KINDS, finding, pd.DataFrame()),)
    before = load_prior(settings, vocabulary)
    counts = count_parts(settings, vocabulary, today=today)
    good = {component: Good(UNSEEN_GOOD) for component in parts_in_components(vocabulary)}
    answers = {
        family: answer_offer(counts, parts, vocabulary, before, Offer(family, 0.0, good=good))
        for family in vocabulary.families
    }
    rows = [_kind_row(vocabulary.families[family].name, answer) for family, answer in answers.items()]
    table = pd.DataFrame(rows).sort_values(PAYS_TO, ascending=False, kind="stable", ignore_index=True)
    first = table.iloc[0]
    finding = (
        f"A donor of the kind '{first[KIND]}' spares most: about {first[PAYS_TO]:,.0f} (between {first[LOW]:,.0f} and "
        f"{first[HIGH]:,.0f}) over {HORIZON_YEARS:g} years, if each assembly is good {in_ten(UNSEEN_GOOD)} times."
    )
    how = "Price and floor space are still to be taken off; `faultodds shelf donor` weighs one that is on offer."
    return (Part(QUESTION_KINDS, finding, table, (how, *HOW_DONATED)),)


def offer_part(answer: OfferAnswer, offer: Offer, vocabulary: Vocabulary) -> Part:
    """One donor on offer."""
    kind = vocabulary.families[offer.family].name
    notes = (*_left_out(answer, kind), say_span(answer.demand.span), *HOW_DONATED)
    if answer.worth is None:
        finding = f"That cannot be said: none of the named assemblies holds a part of known value for a '{kind}'."
        return Part(QUESTION_OFFER, finding, pd.DataFrame(), notes)
    return Part(QUESTION_OFFER, say_offer(answer.worth, offer), offer_table(answer.worth, answer), notes)


def say_offer(worth: DonorWorth, offer: Offer) -> str:
    """The answer in plain words."""
    verdict = "Likely" if worth.chance_pays >= 0.5 else "Hardly"
    carried = [row.part for row in worth.parts[:3] if row.saved > 0]
    carry = f" Most of it comes from {listed(carried)}." if carried else ""
    return (
        f"{verdict}: it pays {in_ten(worth.chance_pays)} times. Its parts spare about {worth.saved:,.0f} over "
        f"{offer.years:g} years, price and floor cost {worth.cost:,.0f}; that leaves about {worth.net:,.0f} (between "
        f"{worth.low:,.0f} and {worth.high:,.0f}).{carry}"
    )


def offer_table(worth: DonorWorth, answer: OfferAnswer) -> pd.DataFrame:
    """The parts that carry the value first."""
    used = answer.demand.table.set_index("part")["used"]
    return pd.DataFrame(
        {
            PART: [row.part for row in worth.parts],
            SPARED: [round(row.saved, 2) for row in worth.parts],
            LOW: [round(row.low, 2) for row in worth.parts],
            HIGH: [round(row.high, 2) for row in worth.parts],
            "uses to come": [round(row.wanted, 2) for row in worth.parts],
            "good units": [round(row.good, 2) for row in worth.parts],
            "uses it serves": [round(row.served, 2) for row in worth.parts],
            "used (tickets)": [int(used[row.part]) for row in worth.parts],
        }
    )


def _kind_row(kind: str, answer: OfferAnswer) -> dict[str, object]:
    worth = answer.worth
    carried = [row.part for row in worth.parts[:3] if row.saved > 0] if worth else []
    return {
        KIND: kind,
        PAYS_TO: round(worth.saved) if worth else 0,
        LOW: round(worth.low) if worth else 0,
        HIGH: round(worth.high) if worth else 0,
        "most from": listed(carried) if carried else "",
        "tickets of the kind": int(answer.demand.arrivals["tickets"].sum()),
        "parts without a price": len(answer.no_value),
    }


def _left_out(answer: OfferAnswer, kind: str) -> tuple[str, ...]:
    notes = []
    if answer.no_value:
        notes.append(
            f"Left out for want of a price: {listed(answer.no_value)}. Fill them in in {PARTS_NAME}, or say what "
            f"doing without costs."
        )
    if answer.not_used:
        subject = counted(len(answer.not_used), "part")
        notes.append(f"{subject} left out, since by its tickets and the list no '{kind}' needs them: "
                     f"{listed(answer.not_used)}.")  # fmt: skip
    return tuple(notes)
