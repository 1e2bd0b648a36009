"""How often a machine comes in, where the shop has said how many it keeps."""

from datetime import date

import numpy as np
import pandas as pd

from analytics.arrival_shares import machine_rates
from analytics.vocabulary import Vocabulary
from pipelines.machines_kept import COLUMNS, NAME, read_machines_kept
from pipelines.review_parts import Part
from pipelines.settings import Settings
from pipelines.store import reading, run_query
from pipelines.wording import listed

QUESTION = "How often does a machine come in?"
# Machines are counted as kept now; further back that would be a guess.
YEARS = 3
NAMED = 5
RATE, LOW, HIGH = "tickets a machine-year", "from", "to"
HOW_TO = f"Write the machines kept into {NAME} in the data folder: a line each with {listed(COLUMNS)}."


def review_machines(settings: Settings, vocabulary: Vocabulary, *, until: date) -> Part:
    """Tickets a machine-year over the last years, by workshop and family; what is not known is said, not guessed."""
    since = until.replace(year=until.year - YEARS)
    with reading(settings.store_path) as con:
        seen = run_query(con, "review_machine_tickets", since=since, until=until)
    kept = read_machines_kept(settings, vocabulary)
    tickets = {(shop, family): count for shop, family, count in seen.itertuples(index=False)}
    pairs = [pair for pair, count in kept.items() if count > 0]
    blank = [pair for pair in tickets if pair[1] and pair not in pairs]
    missing = [f"{shop} ({_family(family, vocabulary)})" for shop, family in blank]
    if not pairs:
        return Part(QUESTION, f"Nobody has said how many machines there are. {HOW_TO}", pd.DataFrame())
    machines = np.array([kept[pair] for pair in pairs])
    came = np.array([tickets.get(pair, 0) for pair in pairs])
    rate, low, high = machine_rates(came, YEARS * machines)
    table = pd.DataFrame(
        {
            "shop": [shop for shop, _ in pairs],
            "family": [_family(family, vocabulary) for _, family in pairs],
            RATE: rate.round(2),
            LOW: low.round(2),
            HIGH: high.round(2),
            "machines": machines,
            f"tickets in {YEARS} years": came,
        }
    ).sort_values(RATE, ascending=False, kind="stable", ignore_index=True)
    return Part(QUESTION, _say(table.iloc[0]), table, _notes(missing, tickets))


def _say(first: pd.Series) -> str:
    return (
        f"Most often at {first['shop']}, {first['family']}: {first[RATE]:.2g} times a year for each machine (between "
        f"{first[LOW]:.2g} and {first[HIGH]:.2g})."
    )


def _notes(missing: list[str], tickets: dict[tuple[str, str], int]) -> tuple[str, ...]:
    notes = [
        f"Counted over the last {YEARS} years, as if the machines kept now had been there all along. Kinds of "
        "which few are kept are drawn towards the others; in nine cases of ten the true rate lies between 'from' "
        "and 'to'."
    ]
    if missing:
        more = f" and {len(missing) - NAMED} more" if len(missing) > NAMED else ""
        notes.append(f"Tickets, but no number of machines: {', '.join(missing[:NAMED])}{more}. {HOW_TO}")
    unnamed = sum(count for (_, family), count in tickets.items() if not family)
    if unnamed:
        notes.append(f"{unnamed:,} tickets name no family and are not in this figure.")
    return tuple(notes)


def _family(code: str, vocabulary: Vocabulary) -> str:
    return vocabulary.families[code].name if code in vocabulary.families else code
