"""Cells that hold lists - symptoms, suspects, checks - as rows of codes; unknown words come back as sentences."""

import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass

import pandas as pd

from analytics.vocabulary import OUTCOMES
from pipelines.cell_values import choice_reader, read_distinct, read_minutes
from pipelines.matching import Match, PhraseBook, match_spellings

_ABSENT = re.compile(r"not ?: ?", re.IGNORECASE)
_HOW_TO_ADD = "Correct it, or add it to the vocabulary as an alias"


def split_list(cell: str) -> list[str]:
    """Entries of a list cell without outer blanks; empty ones fall away."""
    return [entry.strip() for entry in cell.split(";") if entry.strip()]


@dataclass(frozen=True)
class Found:
    """What the entries of a column were taken for, and how many rows hold each; keyed by the entry as written."""

    matches: Mapping[str, Match]
    counts: Mapping[str, int]


def match_entries(cells: pd.Series, book: PhraseBook, entries_of: Callable[[str], list[str]]) -> Found:
    """Match each distinct entry of a column once."""
    counts = count_entries(cells, entries_of)
    return Found(match_spellings(counts, book), counts)


def count_entries(cells: pd.Series, entries_of: Callable[[str], list[str]]) -> dict[str, int]:
    """Distinct entry of a column -> rows that hold it."""
    counts: dict[str, int] = {}
    for cell, count in cells.value_counts().items():
        for entry in entries_of(cell):
            counts[entry] = counts.get(entry, 0) + int(count)
    return counts


def read_symptoms(cells: pd.Series, found: Found) -> pd.DataFrame:
    """Main and other symptoms of each row: symptom (code), others ({code: is present}), sentence; index as `cells`."""
    told = {cell: _read_symptom_cell(cell, found) for cell in cells.unique()}
    return _by_row(cells, told, ["symptom", "others", "sentence"])


def read_suspects(cells: pd.Series, found: Found) -> pd.DataFrame:
    """Suspects of each row: suspects (tuple of codes), sentence; index as `cells`."""
    told = {}
    for cell in cells.unique():
        entries = split_list(cell)
        codes = tuple(dict.fromkeys(found.matches[entry].code for entry in entries))
        told[cell] = (codes, _describe_unknown("suspect", entries, found))
    return _by_row(cells, told, ["suspects", "sentence"])


def read_families(cells: pd.Series, found: Found) -> pd.DataFrame:
    """Family of each row: family (code, None for a blank cell), sentence; index as `cells`."""
    told = {
        cell: (found.matches[cell].code or None, _describe_unknown("family", [cell], found)) if cell else (None, "")
        for cell in cells.unique()
    }
    return _by_row(cells, told, ["family", "sentence"])


def explode_checks(cells: pd.Series) -> pd.DataFrame:
    """One row a check: row (position in `cells`), position (order made, from 1), written, outcome, minutes (texts)."""
    rows, positions, written, outcomes, minutes = [], [], [], [], []
    for row, cell in enumerate(cells):
        for position, entry in enumerate(split_list(cell), start=1):
            # The last "=": a check's name may hold one, an outcome cannot.
            name, _, rest = entry.rpartition("=")
            outcome, _, spent = rest.partition("/") if name else ("", "", "")
            rows.append(row)
            positions.append(position)
            written.append((name or entry).strip())
            outcomes.append(outcome.strip())
            minutes.append(spent.strip())
    columns = {"written": written, "outcome": outcomes, "minutes": minutes}
    texts = {name: pd.array(values, dtype="str") for name, values in columns.items()}
    return pd.DataFrame({"row": pd.array(rows, dtype="int64"), "position": pd.array(positions, dtype="int64"), **texts})


def read_checks(exploded: pd.DataFrame, found: Found) -> pd.DataFrame:
    """Checks with codes: row, position, check_code, outcome, minutes, and code_sentence, value_sentence."""
    outcome, outcome_sentence = read_distinct(exploded["outcome"], _read_outcome)
    minutes, minutes_sentence = read_distinct(exploded["minutes"], read_minutes)
    sentences = {entry: _describe_unknown("check", [entry], found) for entry in found.matches}
    return pd.DataFrame(
        {
            "row": exploded["row"],
            "position": exploded["position"],
            "check_code": exploded["written"].map({entry: match.code for entry, match in found.matches.items()}.get),
            "outcome": outcome,
            "minutes": minutes.astype("float64"),
            "code_sentence": exploded["written"].map(sentences.get),
            "value_sentence": outcome_sentence.str.cat(minutes_sentence, sep=" ").str.strip(),
        }
    )


def symptom_names(cell: str) -> list[str]:
    """Symptoms named in a cell, whether present or absent."""
    return [name for _, name in _named_symptoms(cell)]


def _named_symptoms(cell: str) -> list[tuple[str, str]]:
    pairs = [(entry, _ABSENT.sub("", entry, count=1)) for entry in split_list(cell)]
    return [(entry, name) for entry, name in pairs if name]


def _read_symptom_cell(cell: str, found: Found) -> tuple[str | None, dict[str, bool], str]:
    sentence = _describe_unknown("symptom", symptom_names(cell), found)
    if sentence or not symptom_names(cell):
        return None, {}, sentence
    entries = [(found.matches[name].code, not _ABSENT.match(entry)) for entry, name in _named_symptoms(cell)]
    main, main_is_present = entries[0]
    if not main_is_present:
        return None, {}, f"The first symptom of '{cell}' is an absent one. Put what the machine does wrong first."
    if len({code for code, _ in entries}) < len(set(entries)):
        return None, {}, f"A symptom in '{cell}' is both there and not there. Keep one of the two."
    return main, {code: present for code, present in entries if code != main}, ""


def _read_outcome(text: str) -> tuple[str | None, str]:
    if not text:
        return None, f"A check has no outcome. Write check = outcome / minutes; outcomes: {', '.join(OUTCOMES)}."
    return choice_reader("The outcome", OUTCOMES)(text)


def _describe_unknown(field: str, entries: list[str], found: Found) -> str:
    unknown = [(entry, found.matches[entry]) for entry in entries if not found.matches[entry].code]
    closest = [" or ".join(f"'{name}'" for name in match.closest) for _, match in unknown]
    return " ".join(
        f"No {field} is called '{entry}'. Closest: {names}. {_HOW_TO_ADD}."
        for (entry, _), names in zip(unknown, closest, strict=True)
    )


def _by_row(cells: pd.Series, told: Mapping[str, tuple[object, ...]], columns: list[str]) -> pd.DataFrame:
    parts = {
        name: cells.map({cell: answer[at] for cell, answer in told.items()}.get) for at, name in enumerate(columns)
    }
    return pd.DataFrame(parts, index=cells.index)
