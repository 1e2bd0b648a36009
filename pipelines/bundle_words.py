"""Two shops' words meet: which codes of a bundle are unknown here, what they may be, and the mapping that says so."""

import csv
import hashlib
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path

import pandas as pd
from rapidfuzz import fuzz, process

from analytics.errors import InputError
from analytics.evidence import read_possible, read_results, write_possible
from analytics.rollup_cells import BUNDLE_COLUMNS, FAMILY_COLUMNS
from analytics.rollup_checks import CHECK_COLUMNS, add_minutes
from analytics.vocabulary import SOMETHING_ELSE, UNKNOWN_AGE, Vocabulary
from pipelines.bundle_tables import Counts
from pipelines.matching import match_spellings, phrase_books
from pipelines.spreadsheet_cells import defuse, restore

type Here = Callable[..., str]

FIELDS = ("family", "symptom", "suspect", "check")
MAPPING_COLUMNS = ("field", "code", "name", "maps_to", "likeness")


@dataclass(frozen=True)
class Proposal:
    """A code of the bundle that is unknown here, its name there, and what it may be here ("" = no guess)."""

    field: str
    code: str
    name: str
    maps_to: str
    likeness: float


def vocabulary_hash(vocabulary: Vocabulary) -> str:
    """Equal for two shops that use the same words in the same places."""
    told = (
        *(sorted(group) for group in (vocabulary.families, vocabulary.symptoms, vocabulary.checks)),
        sorted((code, suspect.failure_mode) for code, suspect in vocabulary.suspects.items()),
        sorted(vocabulary.links),
        [(band.code, band.from_age, band.to_age) for band in vocabulary.age_bands[:-1]],
    )
    return hashlib.sha256(repr(told).encode()).hexdigest()[:16]


def terms_used(counts: Counts, vocabulary: Vocabulary) -> dict[str, dict[str, str]]:
    """Field -> code -> name of the words that the counts use, and the limits of the age bands."""
    names = _names(vocabulary)
    used = {field: {code: names[field][code] for code in sorted(_codes(counts, field)) if code in names[field]}
            for field in FIELDS}  # fmt: skip
    return {**used, "age_band": _band_limits(vocabulary)}


def unknown_words(
    counts: Counts, terms: Mapping[str, Mapping[str, str]], vocabulary: Vocabulary
) -> tuple[Proposal, ...]:
    """Codes that this vocabulary lacks, each with the closest code by name."""
    books, names, found = phrase_books(vocabulary), _names(vocabulary), []
    for field in FIELDS:
        for code in sorted(_codes(counts, field) - set(names[field])):
            name = terms.get(field, {}).get(code, code.replace("_", " "))
            match = match_spellings([name], books[field])[name]
            guess, likeness = match.code, match.score
            if not guess:
                # no sure match: still offer the closest for a person to judge
                _, likeness, guess = process.extractOne(name, names[field], scorer=fuzz.token_sort_ratio)
            found.append(Proposal(field, code, name, guess, round(float(likeness), 1)))
    return tuple(found)


def write_mapping(path: Path, proposals: tuple[Proposal, ...]) -> None:
    """The proposals as a CSV for a person to correct."""
    with path.open("w", newline="", encoding="utf-8") as file:
        writer = csv.writer(file)
        writer.writerow(MAPPING_COLUMNS)
        rows = ((p.field, p.code, p.name, p.maps_to, p.likeness) for p in proposals)
        # names of another shop, opened in a spreadsheet here
        writer.writerows(map(defuse, row) for row in rows)


def read_mapping(path: Path, vocabulary: Vocabulary) -> dict[tuple[str, str], str]:
    """(field, code there) -> code here; "" for what this shop does not have."""
    if not path.is_file():
        raise InputError(f"There is no mapping file '{path}'. `faultodds bundle read` writes one to correct.")
    names, mapping = _names(vocabulary), {}
    with path.open(newline="", encoding="utf-8") as file:
        for line, row in enumerate(csv.DictReader(file), start=2):
            field, code, to = (restore(str(row.get(name) or "").strip()) for name in ("field", "code", "maps_to"))
            if field not in FIELDS or (to and to not in names[field]):
                raise InputError(
                    f"{path.name} line {line}: '{to or field}' is not known here. Allowed fields: {', '.join(FIELDS)}; "
                    "maps_to takes a code of your own vocabulary, or nothing when you have no such thing."
                )
            mapping[field, code] = to
    return mapping


def translate(
    counts: Counts,
    terms: Mapping[str, Mapping[str, str]],
    vocabulary: Vocabulary,
    mapping: Mapping[tuple[str, str], str],
) -> Counts:
    """The counts in this shop's words; totals stay, what has no word here becomes unknown or something else.

    A check that this shop does not have tells it nothing: its outcomes and minutes are left out.
    """
    names = _names(vocabulary)

    def here(field: str, code: str, otherwise: str = "") -> str:
        return code if not code or code in names[field] else mapping.get((field, code), "") or otherwise

    families = counts.families.assign(
        symptom=[here("symptom", code) for code in counts.families["symptom"]],
        suspect=[here("suspect", code, SOMETHING_ELSE) for code in counts.families["suspect"]],
        family=[here("family", code) for code in counts.families["family"]],
        possible=[_families_here(text, here) for text in counts.families["possible"]],
    )
    checks, minutes = (
        frame.assign(check=[here("check", code) for code in frame["check"]]).query("check != ''")
        for frame in (counts.checks, counts.minutes)
    )
    return Counts(
        _translate_cells(counts.cells, terms, vocabulary, here),
        # of a complaint that this shop does not know, families tell nothing
        families.query("symptom != '' or suspect != ''")
        .groupby(list(FAMILY_COLUMNS[:-1]), as_index=False)["tickets"]
        .sum(),
        checks.groupby(list(CHECK_COLUMNS[:-1]), as_index=False)["tickets"].sum(),
        add_minutes(minutes),
    )


def _translate_cells(
    cells: pd.DataFrame, terms: Mapping[str, Mapping[str, str]], vocabulary: Vocabulary, here: Here
) -> pd.DataFrame:
    limits = _band_limits(vocabulary)
    bands = {code for code, limit in terms.get("age_band", {}).items() if limits.get(code) == limit}
    rows = []
    for symptom, family, age, suspect, grade, results, others, tickets in cells[list(BUNDLE_COLUMNS)].itertuples(
        index=False, name=None
    ):
        known = here("symptom", symptom)
        suspect_here = here("suspect", suspect, SOMETHING_ELSE) if known else ""
        told = _results_here(results, vocabulary, known, here) if known else ""
        rows.append(
            (known, here("family", family), age if age in bands else UNKNOWN_AGE, suspect_here,
             grade if suspect_here else "", told, _others_here(others, here) if known else "", tickets)
        )  # fmt: skip
    frame = pd.DataFrame(rows, columns=list(BUNDLE_COLUMNS))
    return frame.groupby(list(BUNDLE_COLUMNS[:-1]), sort=True, as_index=False).sum()


def _results_here(results: str, vocabulary: Vocabulary, symptom: str, here: Here) -> str:
    possible = read_possible(results)
    if possible:
        listed = vocabulary.suspects_of(symptom)
        codes = {here("suspect", code, SOMETHING_ELSE) for code in possible}
        return write_possible([*{code if code in listed else SOMETHING_ELSE for code in codes}])
    pairs = [(here("check", check), outcome) for check, outcome in read_results(results)]
    return ";".join(sorted(f"{check}={outcome}" for check, outcome in pairs if check))


def _families_here(possible: str, here: Here) -> str:
    return ";".join(sorted({here("family", code) for code in possible.split(";")} - {""}))


def _others_here(others: str, here: Here) -> str:
    pairs = [(here("symptom", code), presence) for code, presence in read_results(others)]
    return ";".join(sorted(f"{code}={presence}" for code, presence in pairs if code))


def _codes(counts: Counts, field: str) -> set[str]:
    cells = counts.cells
    if field == "check":
        pairs = (pair for text in cells["results"].unique() for pair in read_results(text))
        return {name for name, _ in pairs if ":" not in name} | {*counts.checks["check"], *counts.minutes["check"]}
    codes = set(cells[field])
    if field == "suspect":
        codes |= {code for text in cells["results"].unique() for code in read_possible(text)}
    if field == "symptom":
        codes |= {code for text in cells["others"].unique() for code, _ in read_results(text)}
    if field == "family":
        codes |= {code for text in counts.families["possible"].unique() for code in text.split(";")}
        codes |= set(counts.families["family"])
    return codes - {""}


def _names(vocabulary: Vocabulary) -> dict[str, dict[str, str]]:
    return {
        "family": {code: term.name for code, term in vocabulary.families.items()},
        "symptom": {code: term.name for code, term in vocabulary.symptoms.items()},
        "suspect": {code: suspect.name for code, suspect in vocabulary.suspects.items()},
        "check": {code: check.name for code, check in vocabulary.checks.items()},
    }


def _band_limits(vocabulary: Vocabulary) -> dict[str, str]:
    """The last band is open upwards, whatever its upper limit says."""
    last = vocabulary.age_bands[-1].code
    return {b.code: f"{b.from_age}-{'' if b.code == last else b.to_age}" for b in vocabulary.age_bands}
