"""Queries that must come back empty: whether the store still holds together."""

from pathlib import Path

import pandas as pd

from analytics.vocabulary import CONFIRMATIONS, OUTCOMES, RESULTS, Vocabulary
from pipelines.store import SQL_FOLDER, reading, registered, run_query


def check_store(store_path: Path, vocabulary: Vocabulary) -> pd.DataFrame:
    """Everything in the store that should not be.

    Returns
    -------
    DataFrame: rule (name of the query in `sql/must_be_empty`), what (which row), reason; empty when all is well.
    """
    frames = {"known_codes": _known_codes(vocabulary), "allowed_words": _allowed_words()}
    rules = sorted(path.stem for path in (SQL_FOLDER / "must_be_empty").glob("*.sql"))
    with reading(store_path) as con, registered(con, **frames):
        found = [run_query(con, f"must_be_empty/{rule}").assign(rule=rule) for rule in rules]
    return pd.concat(found, ignore_index=True)[["rule", "what", "reason"]]


def _known_codes(vocabulary: Vocabulary) -> pd.DataFrame:
    fields = {
        "family": vocabulary.families,
        "symptom": vocabulary.symptoms,
        "suspect": vocabulary.suspects,
        "check": vocabulary.checks,
    }
    return pd.DataFrame([(field, code) for field, codes in fields.items() for code in codes], columns=["field", "code"])


def _allowed_words() -> pd.DataFrame:
    fields = {"result": RESULTS, "confirmation": CONFIRMATIONS, "outcome": OUTCOMES}
    return pd.DataFrame([(field, word) for field, words in fields.items() for word in words], columns=["field", "word"])
