"""Names of the fields and answers of a ticket, as the Tickets page calls them."""

from collections.abc import Mapping

import pandas as pd

from analytics.vocabulary import Vocabulary
from dashboards.sentences import sentence

FIELD_KEYS: Mapping[str, str] = {
    "ticket": "field.ticket",
    "shop": "field.shop",
    "machine": "field.machine",
    "family": "field.family",
    "built_year": "field.built_year",
    "opened_on": "field.opened_on",
    "closed_on": "field.closed_on",
    "symptom": "field.symptom",
    "complaint": "field.complaint",
    "suspect": "field.suspect",
    "confirmation": "field.confirmation",
    "result": "field.result",
    "checks": "field.checks",
    "minutes": "field.minutes",
}
RESULT_KEYS: Mapping[str, str] = {
    "fixed": "result.fixed",
    "not_fixed": "result.not_fixed",
    "no_fault_found": "result.no_fault_found",
    "handed_on": "result.handed_on",
}
GRADE_KEYS: Mapping[str, str] = {
    "reproduced_and_cured": "grade.surely",
    "cured": "grade.fairly",
    "symptom_went_away": "grade.hardly",
}


def field_name(field: str) -> str:
    """What the page calls a field of a ticket."""
    return sentence(FIELD_KEYS[field])


def result_name(result: str) -> str:
    """What the page calls a result."""
    return sentence(RESULT_KEYS[result])


def grade_name(confirmation: str) -> str:
    """What the page calls a confirmation."""
    return sentence(GRADE_KEYS[confirmation])


def names_by_field(vocabulary: Vocabulary) -> dict[str, dict[str, str]]:
    """Field -> code -> name, for the fields whose cells hold codes."""
    return {
        "family": {code: term.name for code, term in vocabulary.families.items()},
        "symptom": {code: term.name for code, term in vocabulary.symptoms.items()},
        "suspect": {code: suspect.name for code, suspect in vocabulary.suspects.items()},
        "check": {code: check.name for code, check in vocabulary.checks.items()},
    }


def in_names(rows: pd.DataFrame, vocabulary: Vocabulary) -> pd.DataFrame:
    """Rows as `search_tickets` finds them, with names in place of codes."""
    names = names_by_field(vocabulary)
    named = {
        field: rows[field].map(lambda cell, names=names[field]: _in_names(cell, names))
        for field in ("family", "symptom", "suspect")
    }
    return rows.assign(**named, result=rows["result"].map(result_name))


def _in_names(cell: str, names: Mapping[str, str]) -> str:
    """A cell of codes ("a; not: b") in names; a code that the vocabulary has no more stays as it is."""
    entries = [entry.rpartition("not: ") for entry in cell.split("; ")]
    return "; ".join(f"{no}{mark}{names.get(code, code)}" for no, mark, code in entries)
