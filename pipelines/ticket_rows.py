"""Rows of text in the fields of the ticket template -> tickets with codes, or sentences that say why not."""

import hashlib
from dataclasses import dataclass
from datetime import date

import numpy as np
import pandas as pd

from analytics.vocabulary import CONFIRMATIONS, RESULTS, Vocabulary
from pipelines.cell_values import (
    DateReading,
    choice_reader,
    date_reader,
    find_date_reading,
    read_distinct,
    read_minutes,
    year_reader,
)
from pipelines.matching import phrase_books
from pipelines.row_problems import find_check_problems, find_contradictions, find_missing, gather_problems, name_problem
from pipelines.ticket_lists import (
    Found,
    explode_checks,
    match_entries,
    read_checks,
    read_families,
    read_suspects,
    read_symptoms,
    split_list,
    symptom_names,
)

# A suspect without a word on how sure it is counts as the least sure kind.
CONFIRMATION_IF_BLANK = "symptom_went_away"


@dataclass(frozen=True)
class TicketRows:
    """What rows of text turned out to be.

    Parameters
    ----------
    tickets : frame of good rows: line and the columns of the table tickets but for source and file_hash
    symptoms, suspects, checks : frames of good rows: line and the columns of ticket_symptoms, _suspects, _checks
    problems : frame of bad rows: line, reason_code (of the first problem), reason (sentences)
    matches : frame: field, written, code, score, row_count
    notes : sentences about how the rows were read
    """

    tickets: pd.DataFrame
    symptoms: pd.DataFrame
    suspects: pd.DataFrame
    checks: pd.DataFrame
    problems: pd.DataFrame
    matches: pd.DataFrame
    notes: tuple[str, ...]


def read_ticket_rows(texts: pd.DataFrame, vocabulary: Vocabulary, *, today: date, reading: DateReading) -> TicketRows:
    """Tickets in rows of text.

    Parameters
    ----------
    texts : frame, index = line, a column of text for each of `FIELDS` ("" where nothing was written)
    today : no date may be later
    reading : how dates with / are read, see `dates_in`
    """
    texts = texts.apply(lambda column: column.str.strip())
    problems: list[pd.Series] = [find_missing(texts)]
    values = _read_values(texts, problems, today=today, reading=reading)
    exploded = explode_checks(texts["checks"])
    found = _match(texts, exploded, vocabulary)
    families = read_families(texts["family"], found["family"])
    symptoms = read_symptoms(texts["symptom"], found["symptom"])
    suspects = read_suspects(texts["suspect"], found["suspect"])
    problems += [
        name_problem(families["sentence"], "unknown_family"),
        name_problem(symptoms["sentence"], "unknown_symptom"),
        name_problem(suspects["sentence"], "unknown_suspect"),
    ]
    values = values.assign(
        family=families["family"], symptom=symptoms["symptom"], suspects=suspects["suspects"], others=symptoms["others"]
    )
    checks = read_checks(exploded, found["check"])
    problems += find_check_problems(checks, texts.index)
    problems += find_contradictions(values, texts)
    gathered = gather_problems(problems, texts.index)
    good = ~texts.index.isin(gathered["line"])
    values, notes = _fill_blanks(values[good])
    return TicketRows(
        tickets=values.drop(columns=["suspects", "others"]).reset_index(names="line"),
        symptoms=_symptom_rows(values),
        suspects=_suspect_rows(values),
        checks=_check_rows(checks, line=texts.index[checks["row"]], tickets=values["ticket_id"]),
        problems=gathered,
        matches=_matches_frame(found),
        notes=(*([reading.note] if reading.note else []), *notes),
    )


def dates_in(texts: pd.DataFrame) -> DateReading:
    """How the dates of a whole file are read."""
    return find_date_reading([*texts["opened_on"].str.strip().unique(), *texts["closed_on"].str.strip().unique()])


def ticket_id(shop: str, ticket_number: str) -> str:
    """The same shop and number always give the same id."""
    return hashlib.sha256(f"{shop}\x1f{ticket_number}".encode()).hexdigest()[:32]


def _read_values(texts: pd.DataFrame, problems: list[pd.Series], *, today: date, reading: DateReading) -> pd.DataFrame:
    """Columns that need no vocabulary; adds to `problems`."""
    readers = {
        "opened_on": (date_reader("opened_on", reading, today), "bad_date"),
        "closed_on": (date_reader("closed_on", reading, today), "bad_date"),
        "built_year": (year_reader(today), "bad_year"),
        "result": (choice_reader("The result", RESULTS), "unknown_result"),
        "confirmation": (choice_reader("The confirmation", CONFIRMATIONS), "unknown_confirmation"),
        "minutes": (read_minutes, "bad_minutes"),
    }
    columns = {}
    for field, (read, reason_code) in readers.items():
        columns[field], sentences = read_distinct(texts[field], read)
        problems.append(name_problem(sentences, reason_code))
    ids = [ticket_id(shop, number) for shop, number in zip(texts["shop"], texts["ticket"], strict=True)]
    return pd.DataFrame(
        {
            "ticket_id": pd.array(ids, dtype="str"),
            "shop": texts["shop"],
            "ticket_number": texts["ticket"],
            "machine": texts["machine"].replace("", None),
            "complaint": texts["complaint"].replace("", None),
            "opened_on": pd.to_datetime(columns["opened_on"]),
            "closed_on": pd.to_datetime(columns["closed_on"]),
            "built_year": columns["built_year"].astype("Int32"),
            "result": columns["result"],
            "confirmation": columns["confirmation"],
            "minutes": columns["minutes"].astype("float64"),
        },
        index=texts.index,
    )


def _match(texts: pd.DataFrame, exploded: pd.DataFrame, vocabulary: Vocabulary) -> dict[str, Found]:
    books = phrase_books(vocabulary)
    return {
        "family": match_entries(texts["family"], books["family"], lambda cell: [cell] if cell else []),
        "symptom": match_entries(texts["symptom"], books["symptom"], symptom_names),
        "suspect": match_entries(texts["suspect"], books["suspect"], split_list),
        "check": match_entries(exploded["written"], books["check"], lambda name: [name]),
    }


def _fill_blanks(values: pd.DataFrame) -> tuple[pd.DataFrame, tuple[str, ...]]:
    """Result and confirmation where nothing was written, and the sentences that say so."""
    named = values["suspects"].map(len) > 0
    no_result = values["result"].isna()
    unsure = named & values["confirmation"].isna()
    idle = ~named & values["confirmation"].notna()
    result = values["result"].where(~no_result, np.where(named, "fixed", "not_fixed"))
    confirmation = values["confirmation"].where(named, None).mask(unsure, CONFIRMATION_IF_BLANK)
    notes = (
        ("Tickets without a result", no_result, "taken as fixed where a suspect is named, else as not_fixed"),
        ("Suspects without a word on how sure they are", unsure, f"taken as the least sure, {CONFIRMATION_IF_BLANK}"),
        ("Confirmations without a suspect", idle, "left out"),
    )
    told = tuple(f"{what}: {int(rows.sum()):,}; {done}." for what, rows, done in notes if rows.any())
    return values.assign(result=result.astype("str"), confirmation=confirmation.astype("str")), told


def _symptom_rows(values: pd.DataFrame) -> pd.DataFrame:
    rows = [
        (line, key, symptom, present)
        for line, key, others in zip(values.index, values["ticket_id"], values["others"], strict=True)
        for symptom, present in others.items()
    ]
    frame = pd.DataFrame(rows, columns=["line", "ticket_id", "symptom", "present"])
    return frame.astype({"line": "int64", "ticket_id": "str", "symptom": "str", "present": "bool"})


def _suspect_rows(values: pd.DataFrame) -> pd.DataFrame:
    rows = [
        (line, key, suspect)
        for line, key, suspects in zip(values.index, values["ticket_id"], values["suspects"], strict=True)
        for suspect in suspects
    ]
    frame = pd.DataFrame(rows, columns=["line", "ticket_id", "suspect"])
    return frame.astype({"line": "int64", "ticket_id": "str", "suspect": "str"})


def _check_rows(checks: pd.DataFrame, *, line: pd.Index, tickets: pd.Series) -> pd.DataFrame:
    """Checks of the lines that became tickets."""
    is_good = line.isin(tickets.index)
    kept = checks.loc[is_good, ["position", "check_code", "outcome", "minutes"]].reset_index(drop=True)
    kept.insert(0, "line", line[is_good].to_numpy())
    kept.insert(1, "ticket_id", tickets.loc[line[is_good]].to_numpy())
    return kept


def _matches_frame(found: dict[str, Found]) -> pd.DataFrame:
    rows = [
        (field, written, match.code, match.score, words.counts[written])
        for field, words in found.items()
        for written, match in words.matches.items()
        if match.code
    ]
    columns = ["field", "written", "code", "score", "row_count"]
    types = {"field": "str", "written": "str", "code": "str", "score": "float64", "row_count": "int64"}
    return pd.DataFrame(rows, columns=columns).astype(types)
