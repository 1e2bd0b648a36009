"""Rules of thumb and handbook ratios from tables a shop can edit; rows that cannot be used are refused by line."""

from collections import defaultdict
from collections.abc import Iterator, Mapping
from pathlib import Path

from analytics.elicitation import Rule, beta_from_rule
from analytics.errors import InputError
from analytics.vocabulary import Vocabulary
from pipelines.catalogue import read_vocabulary
from pipelines.catalogue_tables import LIST_SEPARATOR, Problem
from pipelines.readers import read_raw
from pipelines.settings import seed_folder
from pipelines.spreadsheet_cells import restore

RULE_COLUMNS = ("symptom", "suspect", "about_in_ten", "low_in_ten", "high_in_ten", "worth_tickets", "who")
RATIO_COLUMNS = ("component_kind", "failure_mode", "ratio", "component", "our_failure_mode", "source")
# Shares typed by hand do not add up to the last digit.
ROUNDING = 1e-6

_Rows = list[tuple[int, Mapping[str, str]]]


def read_rules(path: Path, vocabulary: Vocabulary) -> tuple[Rule, ...]:
    """Rules of thumb in a CSV or XLSX file with `RULE_COLUMNS`: what somebody expects among ten tickets of a symptom.

    `low_in_ten` with `high_in_ten`, or `worth_tickets`, may be blank.

    Raises
    ------
    InputError
        One line for each row that cannot be used, with its line number and what to do.
    """
    problems: list[Problem] = []
    rules: list[tuple[int, Rule]] = []
    for line, cells in _read_table(path, RULE_COLUMNS):
        try:
            rules.append((line, _rule(cells, vocabulary)))
        except InputError as error:
            problems.append(Problem(path.name, line, str(error)))
    problems += _contradictions(rules, path.name)
    _refuse(problems)
    return tuple(rule for _, rule in rules)


def read_ratios(path: Path, vocabulary: Vocabulary) -> tuple[tuple[str, str, float], ...]:
    """(component, failure mode, ratio) from a table of handbook ratios with `RATIO_COLUMNS`.

    A row with a blank `component` belongs to no component of ours and only completes its kind; rows of one component
    that share a failure mode are added up.

    Raises
    ------
    InputError
        One line for each row that cannot be used and each kind whose ratios do not sum to 1.
    """
    problems: list[Problem] = []
    total: dict[str, float] = defaultdict(float)
    shares: dict[tuple[str, str], float] = defaultdict(float)
    for line, cells in _read_table(path, RATIO_COLUMNS):
        try:
            ratio = _number(cells, "ratio", most=1.0)
            total[cells["component_kind"]] += ratio
            for pair in _our_pairs(cells, vocabulary):
                shares[pair] += ratio
        except InputError as error:
            problems.append(Problem(path.name, line, str(error)))
    if not problems:
        problems += [
            Problem(path.name, 0, f"the ratios of '{kind}' sum to {whole:g}, not to 1. Correct them.")
            for kind, whole in total.items()
            if abs(whole - 1.0) > ROUNDING
        ]
    _refuse(problems)
    return tuple((component, mode, ratio) for (component, mode), ratio in shares.items())


def read_handbook(vocabulary: Vocabulary) -> tuple[tuple[str, str, float], ...]:
    """Ratios of the shipped handbook table for the components and failure modes that the vocabulary has.

    The table speaks the seeded vocabulary; a shop with words of its own has fewer of its components, or none.
    """
    ratios = read_ratios(seed_folder() / "handbook_ratios.csv", read_vocabulary(seed_folder() / "vocabulary"))
    return tuple(
        (component, mode, ratio)
        for component, mode, ratio in ratios
        if component in vocabulary.components and mode in vocabulary.failure_modes
    )


def _read_table(path: Path, columns: tuple[str, ...]) -> _Rows:
    """(line, header -> text without outer blanks) of every row."""
    table = read_raw(path)
    needs = f"It needs the columns {', '.join(columns)}."
    if set(table.frame.columns) != set(columns):
        odd = sorted(set(columns) ^ set(table.frame.columns))
        raise InputError(f"{path.name}: missing or unknown column {', '.join(repr(name) for name in odd)}. {needs}")
    if table.odd_rows:
        line, cells = next(iter(table.odd_rows.items()))
        reason = f"it has {len(cells)} cells, the header has {len(columns)}"
        raise InputError(str(Problem(path.name, line, f'{reason}. Put text with a comma between double quotes (").')))
    rows = table.all_cells()
    return [(line, {name: restore(cells.get(name, "").strip()) for name in columns}) for line, cells in rows]


def _rule(cells: Mapping[str, str], vocabulary: Vocabulary) -> Rule:
    symptom, suspect = cells["symptom"], cells["suspect"]
    listed = vocabulary.suspects_of(symptom)
    if suspect not in listed:
        raise InputError(f"'{suspect}' is no suspect of '{symptom}'. Its suspects: {', '.join(listed)}.")
    low, high = (
        _number(cells, name, most=10.0) / 10.0 if cells[name] else None for name in ("low_in_ten", "high_in_ten")
    )
    rule = Rule(
        symptom=symptom,
        suspect=suspect,
        best=_number(cells, "about_in_ten", most=10.0) / 10.0,
        low=low,
        high=high,
        tickets=_number(cells, "worth_tickets") if cells["worth_tickets"] else None,
        who=cells["who"],
    )
    beta_from_rule(rule.best, rule.low, rule.high, tickets=rule.tickets)
    return rule


def _number(cells: Mapping[str, str], column: str, *, most: float = float("inf")) -> float:
    allowed = f"from 0 to {most:g}" if most < float("inf") else "above 0"
    try:
        value = float(cells[column])
    except ValueError:
        value = float("nan")
    if not 0.0 <= value <= most:
        raise InputError(f"{column} is '{cells[column]}'. Allowed: a number {allowed}, with a point, like 0.5.")
    return value


def _contradictions(rules: list[tuple[int, Rule]], file: str) -> Iterator[Problem]:
    """The same person twice on one suspect, or with more than ten in ten."""
    first_line: dict[tuple[str, str, str], int] = {}
    total: dict[tuple[str, str], float] = defaultdict(float)
    for line, rule in rules:
        before = first_line.setdefault((rule.who, rule.symptom, rule.suspect), line)
        whose = f"of {rule.who or 'nobody'} for '{rule.symptom}'"
        if before != line:
            yield Problem(file, line, f"a rule {whose} and '{rule.suspect}' is already in line {before}. Keep one.")
        total[rule.who, rule.symptom] += rule.best
        if total[rule.who, rule.symptom] > 1.0 + ROUNDING:
            whole = f"{10 * total[rule.who, rule.symptom]:.3g}"
            yield Problem(file, line, f"the rules {whose} add up to {whole} in 10. Lower some of them to 10 in all.")


def _our_pairs(cells: Mapping[str, str], vocabulary: Vocabulary) -> list[tuple[str, str]]:
    components = [code.strip() for code in cells["component"].split(LIST_SEPARATOR) if code.strip()]
    mode = cells["our_failure_mode"]
    for code in components:
        if code not in vocabulary.components:
            raise InputError(f"component '{code}' is not in components.csv. Correct it or take it out.")
    if components and mode not in vocabulary.failure_modes:
        raise InputError(f"our_failure_mode '{mode}' is not in failure_modes.csv. Correct it or leave component blank.")
    return [(code, mode) for code in components]


def _refuse(problems: list[Problem]) -> None:
    if problems:
        raise InputError("\n".join(map(str, problems)))
