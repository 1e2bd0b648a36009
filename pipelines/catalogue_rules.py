"""What makes vocabulary files contradict themselves, one rule a function; each yields `Problem`s."""

import math
import re
from collections.abc import Callable, Iterable, Iterator

from analytics.vocabulary import KINDS, SOMETHING_ELSE, STRENGTH_WEIGHTS, UNKNOWN_AGE
from pipelines.catalogue_tables import COLUMNS, Problem, Row, Tables

_CODE_PATTERN = re.compile(r"[a-z][a-z0-9]*(_[a-z0-9]+)*")

# File -> the column that holds its own code.
_CODE_COLUMNS = {file: columns[0] for file, columns in COLUMNS.items() if file not in ("links.csv", "reveals.csv")}
# (file, column) -> the file that must know the code. Blank cells are judged by the rules about blanks.
_REFERENCES = {
    ("suspects.csv", "component"): "components.csv",
    ("suspects.csv", "failure_mode"): "failure_modes.csv",
    ("access_groups.csv", "inside"): "access_groups.csv",
    ("checks.csv", "access_group"): "access_groups.csv",
    ("checks.csv", "hazards"): "hazards.csv",
    ("links.csv", "symptom"): "symptoms.csv",
    ("links.csv", "suspect"): "suspects.csv",
    ("reveals.csv", "check"): "checks.csv",
    ("reveals.csv", "suspect"): "suspects.csv",
}
_MAY_BE_BLANK = {
    *(("access_groups.csv", "inside"), ("checks.csv", "part"), ("checks.csv", "tool"), ("checks.csv", "hazards")),
    *(("reveals.csv", "detection"), ("reveals.csv", "cure")),
    *((file, column) for file in COLUMNS for column in ("aliases", "note", "instruction")),
}
_CHOICES = {("checks.csv", "kind"): KINDS, ("links.csv", "strength"): tuple(STRENGTH_WEIGHTS)}

_NumberRule = tuple[Callable[[float], bool], str]
_NOT_NEGATIVE: _NumberRule = (lambda value: value >= 0, "a number of minutes, 0 or more")
# A check that takes no time at all would always be worth making.
_POSITIVE: _NumberRule = (lambda value: value > 0, "a number of minutes above 0")
_PROBABILITY: _NumberRule = (lambda value: 0 <= value <= 1, "a probability from 0 to 1")
_CHANCE: _NumberRule = (lambda value: 0 < value <= 1, "a probability above 0 and up to 1, or blank for none")
_AGE: _NumberRule = (lambda value: value >= 0 and value == int(value), "a whole number of years, 0 or more")
_FLAG: _NumberRule = (lambda value: value in (0, 1), "0 or 1")
_NUMBERS = {
    ("access_groups.csv", "open_minutes"): _NOT_NEGATIVE,
    ("access_groups.csv", "close_minutes"): _NOT_NEGATIVE,
    ("access_groups.csv", "must_close_for_retest"): _FLAG,
    ("checks.csv", "minutes"): _POSITIVE,
    ("checks.csv", "false_alarm"): _PROBABILITY,
    ("reveals.csv", "detection"): _CHANCE,
    ("reveals.csv", "cure"): _CHANCE,
    ("age_bands.csv", "from_age"): _AGE,
    ("age_bands.csv", "to_age"): _AGE,
}


def find_contradictions(tables: Tables) -> list[Problem]:
    """Every contradiction in the rows, in the order of files and lines. Needs all files of `COLUMNS`."""
    problems = [problem for rule in _RULES for problem in rule(tables)]
    order = {file: position for position, file in enumerate(COLUMNS)}
    return sorted(problems, key=lambda problem: (order[problem.file], problem.line))


def _problem(row: Row, reason: str) -> Problem:
    return Problem(row.file, row.line, reason)


def _codes(tables: Tables, file: str) -> set[str]:
    codes = {row.cells[_CODE_COLUMNS[file]] for row in tables[file]}
    return codes | {SOMETHING_ELSE} if file == "suspects.csv" else codes


def _number_of(row: Row, column: str) -> float | None:
    """The number in a cell; None when it is blank or no finite number."""
    try:
        value = float(row.cells[column])
    except ValueError:
        return None
    return value if math.isfinite(value) else None


def _empty_tables(tables: Tables) -> Iterator[Problem]:
    """Files without a row; a trade without hazards is the only thing that can be thought of."""
    for file, rows in tables.items():
        if not rows and file != "hazards.csv":
            yield Problem(file, 0, "there is no row below the header. Write at least one.")


def _blank_cells(tables: Tables) -> Iterator[Problem]:
    """Cells that must say something."""
    for file, column in ((file, column) for file, columns in COLUMNS.items() for column in columns):
        for row in tables[file]:
            names_nothing = column in ("component", "failure_mode") and row.cells.get("suspect") == SOMETHING_ELSE
            if not row.cells[column] and (file, column) not in _MAY_BE_BLANK and not names_nothing:
                yield _problem(row, f"'{column}' is blank. Fill it in or take the row out.")


def _bad_codes(tables: Tables) -> Iterator[Problem]:
    """Codes that are not lower-case words joined by `_`, and codes that are given twice."""
    for file, column in _CODE_COLUMNS.items():
        first_line: dict[str, int] = {}
        for row in tables[file]:
            code = row.cells[column]
            if code and not _CODE_PATTERN.fullmatch(code):
                yield _problem(
                    row, f"'{code}' is not a code. A code is lower-case words joined by _, like coin_switch."
                )
            if code in first_line:
                yield _problem(row, f"the {column} '{code}' is already in line {first_line[code]}. Codes are unique.")
            first_line.setdefault(code, row.line)


def _ambiguous_words(tables: Tables) -> Iterator[Problem]:
    """Names and aliases that mean two things within one file."""
    for file, column in _CODE_COLUMNS.items():
        owner: dict[str, str] = {}
        for row in tables[file]:
            words = [row.cells["name"]] if "name" in row.cells else []
            words += row.items("aliases") if "aliases" in row.cells else ()
            for word in words:
                code = owner.setdefault(word.casefold(), row.cells[column])
                if word and code != row.cells[column]:
                    yield _problem(
                        row, f"'{word}' already means '{code}'. One spelling, one meaning: change one of them."
                    )


def _unknown_references(tables: Tables) -> Iterator[Problem]:
    """Codes that the file they point to does not have."""
    for (file, column), target in _REFERENCES.items():
        known = _codes(tables, target)
        for row in tables[file]:
            for code in row.items(column):
                if code not in known:
                    yield _problem(row, f"{column} '{code}' is not in {target}. Correct the code or add it there.")


def _bad_choices(tables: Tables) -> Iterator[Problem]:
    """Kinds and strengths that are none."""
    for (file, column), allowed in _CHOICES.items():
        for row in tables[file]:
            given = row.cells[column]
            if given and given not in allowed:
                yield _problem(row, f"'{given}' is no {column}. Allowed: {', '.join(allowed)}.")


def _bad_numbers(tables: Tables) -> Iterator[Problem]:
    """Numbers that are none or out of range."""
    for (file, column), (is_allowed, words) in _NUMBERS.items():
        for row in tables[file]:
            value = _number_of(row, column)
            if row.cells[column] and (value is None or not is_allowed(value)):
                yield _problem(row, f"{column} is '{row.cells[column]}'. Allowed: {words}.")


def _repeated_pairs(tables: Tables) -> Iterator[Problem]:
    """The same link, the same reveal or the same component with failure mode twice."""
    pairs = {"links.csv": ("symptom", "suspect"), "reveals.csv": ("check", "suspect")}
    pairs["suspects.csv"] = ("component", "failure_mode")
    for file, (left, right) in pairs.items():
        first_line: dict[tuple[str, str], int] = {}
        for row in tables[file]:
            pair = (row.cells[left], row.cells[right])
            if all(pair) and pair in first_line:
                words = f"{left} '{pair[0]}' with {right} '{pair[1]}'"
                yield _problem(row, f"{words} is already in line {first_line[pair]}. Keep one of them.")
            first_line.setdefault(pair, row.line)


def _idle_checks(tables: Tables) -> Iterator[Problem]:
    """Checks that tell and mend nothing, remedies that mend nothing, claims about `something_else`."""
    used = {row.cells["check"] for row in tables["reveals.csv"] if row.cells["detection"] or row.cells["cure"]}
    curing = {row.cells["check"] for row in tables["reveals.csv"] if row.cells["cure"]}
    for row in tables["checks.csv"]:
        code = row.cells["check"]
        if code not in used:
            yield _problem(row, f"the check '{code}' reveals and cures nothing. Give it a row in reveals.csv.")
        elif row.cells["kind"] == "remedy" and code not in curing:
            yield _problem(row, f"the remedy '{code}' cures nothing. Give it a cure in reveals.csv or another kind.")
    for row in tables["reveals.csv"]:
        if not row.cells["detection"] and not row.cells["cure"]:
            yield _problem(row, "neither detection nor cure is given. Fill in one of them or take the row out.")
        if row.cells["suspect"] == SOMETHING_ELSE:
            yield _problem(row, f"'{SOMETHING_ELSE}' is what no check knows. Name a suspect or take the row out.")


def _loose_ends(tables: Tables) -> Iterator[Problem]:
    """Symptoms without suspects, suspects without a remedy, suspects without an item."""
    linked = {row.cells["symptom"] for row in tables["links.csv"] if row.cells["suspect"] != SOMETHING_ELSE}
    for row in tables["symptoms.csv"]:
        if row.cells["symptom"] not in linked:
            yield _problem(row, f"the symptom '{row.cells['symptom']}' has no suspects. Give it some in links.csv.")
    cured = {row.cells["suspect"] for row in tables["reveals.csv"] if row.cells["cure"]}
    for row in tables["suspects.csv"]:
        code = row.cells["suspect"]
        if code != SOMETHING_ELSE and code not in cured:
            yield _problem(row, f"no check cures the suspect '{code}'. Give a remedy a cure for it in reveals.csv.")
        if code == SOMETHING_ELSE and (row.cells["component"] or row.cells["failure_mode"]):
            yield _problem(row, f"'{SOMETHING_ELSE}' has no component and no failure mode. Leave both blank.")


def _access_circles(tables: Tables) -> Iterator[Problem]:
    """Access groups that are inside themselves."""
    inside = {row.cells["access_group"]: row.cells["inside"] for row in tables["access_groups.csv"]}
    for row in tables["access_groups.csv"]:
        path = [row.cells["access_group"]]
        while inside.get(path[-1]) and inside[path[-1]] not in path:
            path.append(inside[path[-1]])
        if inside.get(path[-1]) == path[0]:
            circle = " is inside ".join(f"'{code}'" for code in (*path, path[0]))
            yield _problem(row, f"{circle}: a circle nobody can open. Leave 'inside' blank for the outermost.")


def _bad_age_bands(tables: Tables) -> Iterator[Problem]:
    """Bands that run backwards, overlap, leave a gap, do not begin at 0, or take the code for an unknown year."""
    next_age = 0
    for row in tables["age_bands.csv"]:
        first, last = _number_of(row, "from_age"), _number_of(row, "to_age")
        if row.cells["age_band"] == UNKNOWN_AGE:
            yield _problem(row, f"'{UNKNOWN_AGE}' stands for machines without a year. Choose another code.")
        if first is None or last is None:
            continue
        if first != next_age:
            what = "overlaps the one before" if first < next_age else "leaves a gap"
            yield _problem(row, f"the band begins at {first:g} and {what}; it must begin at {next_age}.")
        if last < first:
            yield _problem(row, f"the band ends at {last:g}, before it begins at {first:g}. Swap the two ages.")
        next_age = int(last) + 1


_RULES: Iterable[Callable[[Tables], Iterator[Problem]]] = (
    *(
        _empty_tables,
        _blank_cells,
        _bad_codes,
        _ambiguous_words,
        _unknown_references,
        _bad_choices,
        _bad_numbers,
        _repeated_pairs,
    ),
    *(_idle_checks, _loose_ends, _access_circles, _bad_age_bands),
)
