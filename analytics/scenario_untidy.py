"""Simulated tickets as people write them down: aliases, slips of the pen, two kinds of date, impossible rows."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd

from analytics.scenario_tickets import History
from analytics.vocabulary import Vocabulary

TEMPLATE = (
    *("ticket", "shop", "machine", "family", "built_year", "opened_on", "closed_on", "symptom", "complaint"),
    *("suspect", "confirmation", "result", "checks", "minutes"),
)
# Shares of cells; they belong to the invented world.
NO_YEAR, VAGUE_YEAR, OTHER_DATE = 0.10, 0.04, 0.15
ALIAS, SLIP, CHECK_SLIP, BLANK = 0.35, 0.12, 0.02, 0.05
NO_YEAR_TEXTS = ("", "?", "unknown")
LONG_WORD = 6  # letters from which a word gets misspelt
# One row of each in every file; 2011 lies before the first ticket.
FALSE_CELLS = (
    ("built_year", "19e9"),
    ("closed_on", "2011-06-30"),
    ("minutes", "-25"),
    ("symptom", "makes a funny face"),
    ("opened_on", "31.02.2019"),
    ("suspect", "gremlins"),
    ("result", "sort of"),
    ("checks", "Sang to it = cured / 3"),
)
FORMULA = "=cmd|' /C calc'!A0"  # a true row, yet no spreadsheet should run its complaint
TWICE = 4  # rows of a file that are written twice


@dataclass(frozen=True)
class Pen:
    """How one shop writes: prefix of its ticket numbers, usual date style and the one of the other volunteer."""

    shop: str
    prefix: str
    date_style: str
    other_date_style: str


def number_tickets(tickets: pd.DataFrame, prefix: str) -> pd.Series:
    """A shop's own ticket numbers, index as `tickets`, which are the shop's alone and in the order opened."""
    return pd.Series([f"{prefix}-{number:04d}" for number in range(1, len(tickets) + 1)], index=tickets.index)


def write_rows(history: History, vocabulary: Vocabulary, rng: np.random.Generator, *, pen: Pen) -> pd.DataFrame:
    """The tickets of one shop as text, columns `TEMPLATE`, in the order opened; every row is true and can be read."""
    tickets = history.tickets[history.tickets["shop"] == pen.shop]
    checks = history.checks[history.checks["ticket"].isin(tickets["ticket"])]
    written = {ticket: _write_checks(group, vocabulary, rng) for ticket, group in checks.groupby("ticket")}
    rows = [
        {"ticket": number, **_write_ticket(ticket, vocabulary, rng, pen=pen), "checks": written[ticket.ticket]}
        for number, ticket in zip(number_tickets(tickets, pen.prefix), tickets.itertuples(index=False), strict=True)
    ]
    return pd.DataFrame(rows, columns=list(TEMPLATE), dtype="str")


def spoil_rows(rows: pd.DataFrame, rng: np.random.Generator) -> pd.DataFrame:
    """The rows with one of each `FALSE_CELLS`, one `FORMULA`, and `TWICE` rows written once more right below."""
    spoilt = rows.copy()
    chosen = rng.permutation(len(rows))
    for at, (column, text) in zip(chosen, (*FALSE_CELLS, ("complaint", FORMULA)), strict=False):
        spoilt.loc[at, column] = text
    again = spoilt.loc[chosen[len(FALSE_CELLS) + 1 :][:TWICE]]
    return pd.concat([spoilt, again]).sort_index(kind="stable", ignore_index=True)


def _write_ticket(ticket: Any, vocabulary: Vocabulary, rng: np.random.Generator, *, pen: Pen) -> dict[str, str]:
    family, symptom = vocabulary.families[ticket.family], vocabulary.symptoms[ticket.symptom]
    suspect = vocabulary.suspects.get(ticket.suspect)
    entries = [_spell(symptom.name, symptom.aliases, rng, slip=SLIP)]
    for code, _, presence in (pair.partition("=") for pair in ticket.others.split(";") if pair):
        other = vocabulary.symptoms[code]
        entries.append(("not: " if presence == "absent" else "") + _spell(other.name, other.aliases, rng, slip=0.0))
    resolved_grade = ticket.confirmation.replace("_", " ") if rng.random() < ALIAS else ticket.confirmation
    return {
        "shop": pen.shop,
        "machine": ticket.machine,
        "family": _spell(family.name, family.aliases, rng, slip=0.0),
        "built_year": _write_year(ticket.built_year, rng),
        "opened_on": _write_date(ticket.opened_on, pen, rng),
        "closed_on": "" if rng.random() < BLANK else _write_date(ticket.closed_on, pen, rng),
        "symptom": "; ".join(entries),
        "complaint": ticket.complaint,
        "suspect": _spell(suspect.name, suspect.aliases, rng, slip=SLIP) if suspect else "",
        "confirmation": "" if rng.random() < BLANK else resolved_grade,
        "result": ticket.result,
        "minutes": "" if rng.random() < BLANK else f"{ticket.minutes:.0f}",
    }


def _write_checks(checks: pd.DataFrame, vocabulary: Vocabulary, rng: np.random.Generator) -> str:
    entries = []
    for row in checks.itertuples(index=False):
        check = vocabulary.checks[row.check]
        entries.append(f"{_spell(check.name, check.aliases, rng, slip=CHECK_SLIP)} = {row.outcome} / {row.minutes:g}")
    return "; ".join(entries)


def _write_year(built_year: int, rng: np.random.Generator) -> str:
    draw = rng.random()
    if draw < NO_YEAR:
        return NO_YEAR_TEXTS[int(rng.integers(len(NO_YEAR_TEXTS)))]
    return f"ca. {built_year}" if draw < NO_YEAR + VAGUE_YEAR else str(built_year)


def _write_date(day: pd.Timestamp, pen: Pen, rng: np.random.Generator) -> str:
    return day.strftime(pen.other_date_style if rng.random() < OTHER_DATE else pen.date_style)


def _spell(name: str, aliases: Sequence[str], rng: np.random.Generator, *, slip: float) -> str:
    """The name or one of its aliases, misspelt with probability `slip`."""
    text = aliases[int(rng.integers(len(aliases)))] if aliases and rng.random() < ALIAS else name
    return _misspell(text, rng) if rng.random() < slip else text


def _misspell(text: str, rng: np.random.Generator) -> str:
    """One letter inside one long word left out, doubled, or swapped with the next; a text of short words stays."""
    words = text.split(" ")
    long = [at for at, word in enumerate(words) if len(word) >= LONG_WORD and word.isalpha()]
    if not long:
        return text
    at = long[int(rng.integers(len(long)))]
    word = words[at]
    cut = int(rng.integers(1, len(word) - 2))
    slips = (
        word[:cut] + word[cut + 1 :],
        word[: cut + 1] + word[cut:],
        word[:cut] + word[cut + 1] + word[cut] + word[cut + 2 :],
    )
    words[at] = slips[int(rng.integers(len(slips)))]
    return " ".join(words)
