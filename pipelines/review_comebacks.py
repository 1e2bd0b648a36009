"""Which repairs hold, which machines keep coming back, whether age brings repairs, and whether a machine gets worse."""

from collections.abc import Mapping
from datetime import date

import numpy as np
import pandas as pd

from analytics.holds import HORIZONS, OTHER, SAME, UNKNOWN, count_bands, estimate_holds, raw_holds
from analytics.vocabulary import Vocabulary
from pipelines.catalogue import read_vocabulary
from pipelines.review_failures import review_failures
from pipelines.review_parts import Part
from pipelines.review_repeaters import review_repeaters, review_trends
from pipelines.review_wear import review_wear
from pipelines.settings import Settings
from pipelines.store import reading, run_query
from pipelines.wording import counted, odds_phrase

QUESTION_PAIRS = "Which repairs hold?"
QUESTION_REMEDIES = "Which remedies hold?"
QUESTION_SUSPECTS = "Which suspects come back once repaired?"
# A year beyond the last horizon, for the band that follows it.
LONGEST_DAYS = 730
REMEDY, SUSPECT, REPAIRS = "remedy", "suspect", "repairs"
SAME_AGAIN, ANOTHER_FOUND, NOT_KNOWN = "same suspect again", "another suspect found", "came back, suspect not known"
NOTES = (
    "A repair is a ticket that ended fixed with a suspect confirmed and the machine named; it is watched until the "
    "machine comes back with the same symptom, or the records end. What still holds then counts as held so far.",
    "The same suspect again is a failure of the repair. Another suspect found is one of the diagnosis, and ends the "
    "watch. Where nobody confirmed a suspect on the comeback, it counts in part, as the confirmed ones were shared.",
    "A new fault of the same kind cannot be told from a repair that failed and counts as one. A machine that went to "
    "another workshop seems to hold.",
    "Shares are out of 10 repairs. Few repairs are drawn towards their kind, so that no lucky one tops the list; in "
    "nine cases of ten the true share lies between 'from' and 'to'. 'Plain' is the raw figure (Kaplan-Meier), in "
    "which every comeback whose suspect is unknown counts.",
)

AS_ABOVE = f"Counted and estimated as under '{QUESTION_PAIRS}'."


def review_comebacks(settings: Settings, *, today: date) -> tuple[Part, ...]:  # noqa: ARG001 - every part has it
    """The figures about comebacks; InputError for a vocabulary that contradicts itself."""
    vocabulary = read_vocabulary(settings.vocabulary_folder)
    with reading(settings.store_path) as con:
        spells = run_query(con, "repair_spells", longest=LONGEST_DAYS)
    if spells.empty:
        none = "No ticket names the machine and the suspect of a repair that worked, so nothing can be said."
        return (Part(QUESTION_PAIRS, none, spells),)
    return (
        hold_part(QUESTION_PAIRS, spells, (REMEDY, SUSPECT), vocabulary),
        hold_part(QUESTION_REMEDIES, spells, (REMEDY,), vocabulary),
        hold_part(QUESTION_SUSPECTS, spells, (SUSPECT,), vocabulary),
        review_repeaters(settings, vocabulary),
        review_trends(settings, vocabulary),
        review_wear(settings),
        review_failures(settings, vocabulary),
    )


def hold_part(question: str, spells: pd.DataFrame, by: tuple[str, ...], vocabulary: Vocabulary) -> Part:
    """How long repairs hold by remedy, suspect or both, those that hold worst first.

    Parameters
    ----------
    spells : columns as in `sql/repair_spells.sql`
    by : columns that make one line
    """
    known = spells[spells[REMEDY] != ""].reset_index(drop=True) if REMEDY in by else spells
    if known.empty:
        return Part(question, "No ticket says which remedy worked.", pd.DataFrame())
    table = hold_table(known, by, vocabulary).sort_values("holds 365 days", kind="stable", ignore_index=True)
    worst, name = table.iloc[0], ", ".join(table.iloc[0][column] for column in by)
    share = odds_phrase(*(float(worst[column]) / 10 for column in ("holds 365 days", "from", "to")))
    of_all = estimate_holds(count_bands(known, np.zeros(len(known), dtype=int)), [""]).iloc[0]
    finding = (
        f"{_year(of_all)} repairs hold a year. Least of all '{name}': {share} hold that long "
        f"({counted(int(worst[REPAIRS]), 'repair')}, {int(worst[SAME_AGAIN])} with the same suspect again)."
    )
    return Part(question, finding, table, NOTES if question == QUESTION_PAIRS else (AS_ABOVE,))


def hold_table(spells: pd.DataFrame, by: tuple[str, ...], vocabulary: Vocabulary) -> pd.DataFrame:
    """One line a cell: names, shares of 10 that hold 365 days with interval, 90 and 30 days, plain ones, counts."""
    grouped = spells.groupby(list(by), sort=True)
    cells = pd.DataFrame([key if isinstance(key, tuple) else (key,) for key, _ in grouped], columns=list(by))
    holds = estimate_holds(count_bands(spells, grouped.ngroup().to_numpy()), _groups(cells, vocabulary))
    raw = np.array([raw_holds(rows) for _, rows in grouped])
    table = pd.DataFrame({column: [_name(code, column, vocabulary) for code in cells[column]] for column in by})
    for at, days in reversed(list(enumerate(HORIZONS))):
        suffix = "" if days == HORIZONS[-1] else f" ({days} days)"
        table[f"holds {days} days"] = (10 * holds[f"holds_{days}"]).round(1)
        table[f"from{suffix}"] = (10 * holds[f"holds_{days}_low"]).round(1)
        table[f"to{suffix}"] = (10 * holds[f"holds_{days}_high"]).round(1)
        table[f"plain{suffix}"] = (10 * raw[:, at]).round(1)
    return pd.concat([table, _counts(spells, grouped.ngroup().to_numpy())], axis=1)


def _year(holds: pd.Series) -> str:
    told = odds_phrase(float(holds["holds_365"]), float(holds["holds_365_low"]), float(holds["holds_365_high"]))
    return told[0].upper() + told[1:]


def _counts(spells: pd.DataFrame, cell: np.ndarray) -> pd.DataFrame:
    repairs, ending = spells["repairs"].to_numpy(), spells["ending"].to_numpy()
    endings: Mapping[str, np.ndarray] = {
        REPAIRS: np.ones(len(spells)),
        SAME_AGAIN: ending == SAME,
        ANOTHER_FOUND: ending == OTHER,
        NOT_KNOWN: ending == UNKNOWN,
    }
    return pd.DataFrame({name: np.bincount(cell, repairs * chosen).astype(int) for name, chosen in endings.items()})


def _groups(cells: pd.DataFrame, vocabulary: Vocabulary) -> list[str]:
    """Kind of remedy; failure mode where only the suspect is asked for."""
    if REMEDY in cells:
        return [vocabulary.checks[code].kind if code in vocabulary.checks else "" for code in cells[REMEDY]]
    return [vocabulary.suspects[s].failure_mode if s in vocabulary.suspects else "" for s in cells[SUSPECT]]


def _name(code: str, column: str, vocabulary: Vocabulary) -> str:
    known = vocabulary.checks if column == REMEDY else vocabulary.suspects
    return known[code].name if code in known else f"{code} (no longer on the list)"
