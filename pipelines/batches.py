"""Many cases from a CSV file, and their answers as CSV, JSON or Parquet."""

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import date
from pathlib import Path

import pandas as pd

from analytics.case import Case, CheckResult, validate_case
from analytics.errors import InputError
from analytics.evidence import read_results
from analytics.many_cases import rank_many
from analytics.posterior import Posterior
from analytics.vocabulary import Vocabulary
from pipelines.matching import Match, match_spellings, phrase_books
from pipelines.readers import read_raw
from pipelines.spreadsheet_cells import defuse_frame

COLUMNS = ("case", "symptom", "family", "shop", "built_year", "complaint", "results", "others")
OLDEST_YEAR = 1850


@dataclass(frozen=True)
class CaseList:
    """Cases in the order of the file, with the names they have there."""

    names: tuple[str, ...]
    cases: tuple[Case, ...]


@dataclass(frozen=True)
class Answers:
    """rows: case, suspect, probability, low_90, high_90; best suspect of each case first."""

    rows: pd.DataFrame

    def as_json(self) -> str:
        """A list of rows."""
        return str(self.rows.to_json(orient="records", indent=2))

    def write(self, path: Path) -> str:
        """Writes by the file's ending and says so."""
        writers: dict[str, Callable[[], object]] = {
            ".csv": lambda: defuse_frame(self.rows).to_csv(path, index=False),
            ".json": lambda: path.write_text(self.as_json(), encoding="utf-8"),
            ".parquet": lambda: self.rows.to_parquet(path, index=False),
        }
        if path.suffix not in writers:
            raise InputError(f"'{path.name}' ends in '{path.suffix}'. Allowed: {', '.join(writers)}.")
        writers[path.suffix]()
        return f"{self.rows['case'].nunique():,} cases with {len(self.rows):,} suspects written to {path}."


def read_cases(path: Path, vocabulary: Vocabulary, *, today: date) -> CaseList:
    """Cases from a CSV or XLSX file with the columns case, symptom and, where known, the others of `COLUMNS`.

    Raises
    ------
    InputError
        For the first rows that cannot be understood, with their lines: an answer to half a list would mislead.
    """
    frame = read_raw(path).frame
    missing = {"case", "symptom"} - set(frame.columns)
    if missing:
        raise InputError(
            f"{path.name} has no column {', '.join(sorted(missing))}; it has: {', '.join(map(str, frame.columns))}. "
            f"Known columns: {', '.join(COLUMNS)}."
        )
    table = frame.reindex(columns=[*COLUMNS]).fillna("").astype(str)
    books = phrase_books(vocabulary)
    symptoms = match_spellings(table["symptom"], books["symptom"])
    families = match_spellings([name for name in table["family"] if name], books["family"])
    problems = list(_problems(table, symptoms, today=today))
    if problems:
        raise InputError(f"{path.name}: " + " ".join(problems[:3]))
    cases = tuple(
        Case(
            symptom=symptoms[row.symptom].code,
            family=families[row.family].code or row.family if row.family else "",
            shop=row.shop,
            age_years=today.year - int(row.built_year) if row.built_year else None,
            results=tuple(CheckResult(check, outcome) for check, outcome in read_results(row.results)),
            also_present=tuple(code for code, state in read_results(row.others) if state == "present"),
            also_absent=tuple(code for code, state in read_results(row.others) if state == "absent"),
            complaint=row.complaint,
        )
        for row in table.itertuples(index=False)
    )
    for case in dict.fromkeys(cases):
        validate_case(case, vocabulary)
    return CaseList(tuple(table["case"]), cases)


def answer_cases(posterior: Posterior, listed: CaseList, vocabulary: Vocabulary) -> Answers:
    """Suspects of all cases, with the file's names of the cases."""
    rows = rank_many(posterior, listed.cases, vocabulary)
    rows["case"] = pd.Series(listed.names).iloc[rows["case"]].to_numpy()
    return Answers(rows)


def _problems(table: pd.DataFrame, symptoms: dict[str, Match], *, today: date) -> Iterator[str]:
    for line, row in enumerate(table.itertuples(index=False), start=2):
        match = symptoms[row.symptom]
        if not match.code:
            yield f"line {line}: no symptom is called '{row.symptom}' (closest: {', '.join(match.closest)})."
        if row.built_year and not (row.built_year.isdecimal() and OLDEST_YEAR <= int(row.built_year) <= today.year):
            yield f"line {line}: '{row.built_year}' is not a year from {OLDEST_YEAR} to {today.year}."
