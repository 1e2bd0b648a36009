"""The vocabulary's CSV files <-> `Vocabulary`; files that contradict themselves are refused."""

import tempfile
from collections.abc import Iterable, Mapping
from pathlib import Path

from analytics.errors import InputError
from analytics.vocabulary import SOMETHING_ELSE, AccessGroup, AgeBand, Check, Suspect, Term, Vocabulary
from pipelines.catalogue_rules import find_contradictions
from pipelines.catalogue_tables import LIST_SEPARATOR, Problem, Row, Tables, read_tables, write_tables


def read_vocabulary(folder: Path) -> Vocabulary:
    """The vocabulary in a folder of CSV files with the columns of `seed_data/README.md`.

    `something_else` is added to the suspects and, with strength `rarely`, to every symptom that does not list it.

    Raises
    ------
    InputError
        When files, columns or rows contradict each other: one line for each problem, with file, line and what to do.
    """
    tables, problems = _read_checked(folder)
    if problems:
        advice = f"Correct the files in {folder}, then run `faultodds vocabulary check`."
        raise InputError("\n".join([*map(str, problems), advice]))
    return _build(tables)


def write_vocabulary(vocabulary: Vocabulary, folder: Path) -> None:
    """Write the vocabulary as CSV files; reading them gives back an equal vocabulary.

    The files are written aside and read back first, so that a vocabulary which contradicts itself, or cannot be
    written as CSV, leaves the folder as it was.

    Raises
    ------
    InputError
        When `read_vocabulary` would refuse the files or read something else from them.
    """
    folder.mkdir(parents=True, exist_ok=True)
    with tempfile.TemporaryDirectory(dir=folder, prefix=".writing-") as name:
        aside = Path(name)
        write_tables(_rows_of(vocabulary), aside)
        tables, problems = _read_checked(aside)
        if problems:
            raise InputError("\n".join([*map(str, problems), f"Nothing was written to {folder}."]))
        if _build(tables) != vocabulary:
            raise InputError(
                f"Nothing was written to {folder}: a text begins or ends with a blank, an alias contains "
                f"'{LIST_SEPARATOR}', or a hazard has an alias. Take that out and write again."
            )
        for path in sorted(aside.iterdir()):
            path.replace(folder / path.name)


def _read_checked(folder: Path) -> tuple[Tables, list[Problem]]:
    tables, problems = read_tables(folder)
    # Rows that could not be read would raise echoes ("no such check") all over the other files.
    return tables, problems or find_contradictions(tables)


def _build(tables: Tables) -> Vocabulary:
    return Vocabulary(
        families=_terms(tables["families.csv"], "family"),
        symptoms=_terms(tables["symptoms.csv"], "symptom"),
        components=_terms(tables["components.csv"], "component"),
        failure_modes=_terms(tables["failure_modes.csv"], "failure_mode"),
        suspects=_suspects(tables["suspects.csv"]),
        access_groups={row.cells["access_group"]: _access_group(row.cells) for row in tables["access_groups.csv"]},
        hazards=_terms(tables["hazards.csv"], "hazard"),
        checks=_checks(tables),
        links=_links(tables),
        age_bands=tuple(
            AgeBand(row.cells["age_band"], int(float(row.cells["from_age"])), int(float(row.cells["to_age"])))
            for row in tables["age_bands.csv"]
        ),
    )


def _terms(rows: Iterable[Row], column: str) -> dict[str, Term]:
    terms = {}
    for row in rows:
        aliases = row.items("aliases") if "aliases" in row.cells else ()
        terms[row.cells[column]] = Term(row.cells[column], row.cells["name"], aliases, row.cells["note"])
    return terms


def _suspects(rows: Iterable[Row]) -> dict[str, Suspect]:
    suspects = {}
    for row in rows:
        code, name, component, mode = (row.cells[c] for c in ("suspect", "name", "component", "failure_mode"))
        suspects[code] = Suspect(code, name, component, mode, row.items("aliases"))
    suspects.setdefault(SOMETHING_ELSE, Suspect(SOMETHING_ELSE, "Something else", "", ""))
    return suspects


def _access_group(cells: Mapping[str, str]) -> AccessGroup:
    return AccessGroup(
        code=cells["access_group"],
        name=cells["name"],
        open_minutes=float(cells["open_minutes"]),
        close_minutes=float(cells["close_minutes"]),
        inside=cells["inside"],
        must_close_for_retest=int(float(cells["must_close_for_retest"])),
    )


def _checks(tables: Tables) -> dict[str, Check]:
    chances: dict[str, dict[str, dict[str, float]]] = {"detection": {}, "cure": {}}
    for row in tables["reveals.csv"]:
        for column, by_check in chances.items():
            if row.cells[column]:
                by_check.setdefault(row.cells["check"], {})[row.cells["suspect"]] = float(row.cells[column])
    reveals, cures = chances["detection"], chances["cure"]
    codes = [(row.cells["check"], row) for row in tables["checks.csv"]]
    return {code: _check(row, reveals.get(code, {}), cures.get(code, {})) for code, row in codes}


def _check(row: Row, reveals: Mapping[str, float], cures: Mapping[str, float]) -> Check:
    cells = row.cells
    return Check(
        code=cells["check"],
        name=cells["name"],
        kind=cells["kind"],
        minutes=float(cells["minutes"]),
        access_group=cells["access_group"],
        hazards=row.items("hazards"),
        false_alarm=float(cells["false_alarm"]),
        reveals=reveals,
        cures=cures,
        instruction=cells["instruction"],
        part=cells["part"],
        tool=cells["tool"],
        aliases=row.items("aliases"),
    )


def _links(tables: Tables) -> dict[tuple[str, str], str]:
    links = {(row.cells["symptom"], row.cells["suspect"]): row.cells["strength"] for row in tables["links.csv"]}
    for row in tables["symptoms.csv"]:
        links.setdefault((row.cells["symptom"], SOMETHING_ELSE), "rarely")
    return links


def _rows_of(vocabulary: Vocabulary) -> dict[str, list[dict[str, str]]]:
    return {
        "families.csv": _term_rows(vocabulary.families, "family"),
        "symptoms.csv": _term_rows(vocabulary.symptoms, "symptom"),
        "components.csv": _term_rows(vocabulary.components, "component"),
        "failure_modes.csv": _term_rows(vocabulary.failure_modes, "failure_mode"),
        "suspects.csv": [_cells_of(suspect, "suspect") for suspect in vocabulary.suspects.values()],
        "access_groups.csv": [_cells_of(group, "access_group") for group in vocabulary.access_groups.values()],
        "hazards.csv": _hazard_rows(vocabulary.hazards),
        "checks.csv": [_cells_of(check, "check") for check in vocabulary.checks.values()],
        "links.csv": [
            {"symptom": symptom, "suspect": suspect, "strength": strength}
            for (symptom, suspect), strength in vocabulary.links.items()
        ],
        "reveals.csv": [row for check in vocabulary.checks.values() for row in _reveal_rows(check)],
        "age_bands.csv": [_cells_of(band, "age_band") for band in vocabulary.age_bands],
    }


def _term_rows(terms: Mapping[str, Term], column: str) -> list[dict[str, str]]:
    return [_cells_of(term, column) for term in terms.values()]


def _hazard_rows(hazards: Mapping[str, Term]) -> list[dict[str, str]]:
    # hazards.csv has no aliases: nobody writes a hazard into a ticket.
    return [{"hazard": hazard.code, "name": hazard.name, "note": hazard.note} for hazard in hazards.values()]


def _cells_of(item: Term | Suspect | AccessGroup | Check | AgeBand, code_column: str) -> dict[str, str]:
    cells = {code_column: item.code}
    for field, value in vars(item).items():
        if field not in ("code", "reveals", "cures"):
            cells[field] = LIST_SEPARATOR.join(value) if isinstance(value, tuple) else _text(value)
    return cells


def _reveal_rows(check: Check) -> list[dict[str, str]]:
    return [
        {
            "check": check.code,
            "suspect": suspect,
            "detection": _text(check.reveals.get(suspect, "")),
            "cure": _text(check.cures.get(suspect, "")),
        }
        for suspect in dict.fromkeys([*check.reveals, *check.cures])
    ]


def _text(value: str | float) -> str:
    """Shortest text that reads back as the same value: 3 rather than 3.0."""
    return str(int(value)) if isinstance(value, float) and value.is_integer() else str(value)
