"""Counted tickets made coarser until every published cell is shared by enough tickets; none is ever dropped."""

from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass

import pandas as pd

from analytics.errors import InputError
from analytics.evidence import write_possible
from analytics.vocabulary import CONFIRMATIONS, SOMETHING_ELSE, UNKNOWN_AGE, Vocabulary

BUNDLE_COLUMNS = ("symptom", "family", "age_band", "suspect", "confirmation", "results", "others", "tickets")
DEFAULT_THRESHOLD = 5
# A cell of several grades counts as the middle one: taken for sure it would be trusted too far.
MIXED_GRADE = CONFIRMATIONS[1]
NAMED, UNRESOLVED = "named", "unresolved"
# What the merged children of a node have lost, by branch and depth of the node; the last depth has lost nothing.
LOST = {
    NAMED: ("symptom", "family", "age", "suspect", "suspect", "grade", "nothing"),
    UNRESOLVED: ("symptom", "family", "age", "checks", "nothing"),
}
# A family, and an age within it, stands apart from so many times the threshold on: enough for its suspects to be told
# apart. Its size alone decides. Were families shown where their suspects can be named, those with one common suspect
# would be chosen, and the model would learn that families differ more than they do. The multiples are those at which
# a new shop gained most in benchmarks/club.py (families 1 to 8 were tried; what is known of ages hardly matters).
STANDS_APART = {"family": 4, "age": 8}
LEVELS = ("nothing", "grade", "checks", "age", "family", "suspect", "symptom")
# Places of the failure mode and the suspect in a path of named tickets; what an unknown family and age are called.
_MODE, _SUSPECT = 4, 5
UNKNOWN = {"family": "", "age": UNKNOWN_AGE}
# More checks can be made in more orders than anybody can count.
WITHOUT_LIMIT = 1_000_000

type Path = tuple[str, ...]


@dataclass(frozen=True, eq=False)
class RolledUp:
    """Cells fit to leave the shop.

    cells : frame of `BUNDLE_COLUMNS`; symptom, family "" and age_band `unknown` where rolled up; `results` of a cell
        whose suspect was rolled up names the suspects it may be (see `evidence.write_possible`); tickets >= threshold
    rolled_up : level of `LEVELS` -> tickets whose coarsest loss is this one (`nothing`: published as they are); a
        family or year that was never known counts as lost
    """

    cells: pd.DataFrame
    rolled_up: Mapping[str, int]
    threshold: int

    @property
    def ticket_count(self) -> int:
        """Tickets behind the cells, the same as before rolling up."""
        return int(self.cells["tickets"].sum())


@dataclass(frozen=True)
class _Cell:
    """One published cell: where in the tree, which children of that node are published apart, and its tickets."""

    node: Path
    shown: tuple[str, ...]
    tickets: int


def roll_up(tickets: pd.DataFrame, vocabulary: Vocabulary, *, threshold: int = DEFAULT_THRESHOLD) -> RolledUp:
    """Merges cells below the threshold: grade, then age, then family, then suspect within its failure mode.

    Parameters
    ----------
    tickets : frame of `BUNDLE_COLUMNS`, every ticket in exactly one row, whole counts
    vocabulary : tells how many children a cell may have, and the failure mode of each suspect
    threshold : fewest tickets that may share a published cell, at least 2

    Raises
    ------
    InputError
        When there are fewer tickets than the threshold in all.

    Notes
    -----
    Guarantee, for one table: every ticket is counted in exactly one published cell, and every published cell counts
    at least `threshold` tickets. So every sum or complement of published cells, the total included, is again 0 or at
    least `threshold`: nothing smaller can be got by subtracting. Of a suspect that was merged a reader who knows this
    rule learns no more than that it may hold 0 to threshold - 1 tickets or may have been pulled in from above it;
    merging goes on where the published sum would force a smaller one to be there (see `_is_settled`). Of a merged
    family or age the reader learns nothing: tickets without either are among the same cells.

    Not guaranteed: that those who share a cell differ. If all repairs of one cell had one suspect, whoever knows that
    a machine is among them knows its suspect too; and whoever knows all tickets of a shop but one can subtract them
    (only noise helps there: `noise.add_noise`). Each table must therefore count whole closed years once and for all.

    The tree is symptom, family, age, failure mode, suspect, grade. Families and ages stand apart from `STANDS_APART`
    thresholds on; the others are merged and go on down as one without family or age. Suspects below the
    threshold are merged within their failure mode, those still too few with each other. Where the merged are too few
    together, the smallest of the others joins them.
    """
    if threshold < 2:
        raise InputError(f"A threshold of {threshold} hides nothing. Give 2 or more; {DEFAULT_THRESHOLD} is usual.")
    counted = _with_the_small_branch(_paths(tickets, vocabulary), threshold)
    total = sum(counted.values())
    if total < threshold:
        raise InputError(
            f"Only {total} tickets could go into the bundle, and it takes {threshold} to hide one among the others. "
            "Wait until there are more."
        )
    cells = [
        cell
        for branch in (NAMED, UNRESOLVED)
        for members in (_below((branch,), counted),)
        if members
        for cell in _published((branch,), members, vocabulary, threshold)
    ]
    lost = Counter(dict.fromkeys(LEVELS, 0))
    for cell in cells:
        lost[_lost(cell)] += cell.tickets
    frame = pd.DataFrame([_row(cell, vocabulary) for cell in cells], columns=list(BUNDLE_COLUMNS))
    keys = list(BUNDLE_COLUMNS[:-1])
    return RolledUp(frame.groupby(keys, sort=True, as_index=False).sum(), dict(lost), threshold)


def _paths(tickets: pd.DataFrame, vocabulary: Vocabulary) -> Counter[Path]:
    """Tickets by their way through the tree."""
    counted: Counter[Path] = Counter()
    for symptom, family, age, suspect, grade, results, others, count in tickets[list(BUNDLE_COLUMNS)].itertuples(
        index=False, name=None
    ):
        if suspect:
            listed = suspect if suspect in vocabulary.suspects_of(symptom) else SOMETHING_ELSE
            mode = vocabulary.suspects[listed].failure_mode
            counted[NAMED, symptom, family, age, mode, listed, grade] += int(count)
        else:
            counted[UNRESOLVED, symptom, family, age, f"{results}|{others}"] += int(count)
    return counted


def _with_the_small_branch(counted: Counter[Path], threshold: int) -> Counter[Path]:
    """A branch too small to stand alone joins the other, its symptoms forgotten."""
    totals = {branch: sum(_below((branch,), counted).values()) for branch in (NAMED, UNRESOLVED)}
    for small, other in ((NAMED, UNRESOLVED), (UNRESOLVED, NAMED)):
        if 0 < totals[small] < threshold:
            kept = Counter(_below((other,), counted))
            kept[(other, *("" for _ in LOST[other][1:]))] += totals[small]
            return kept
    return counted


def _below(node: Path, counted: Mapping[Path, int]) -> dict[Path, int]:
    return {path: count for path, count in counted.items() if path[: len(node)] == node}


def _published(node: Path, members: Mapping[Path, int], vocabulary: Vocabulary, threshold: int) -> list[_Cell]:
    """Cells of one node whose total reaches the threshold."""
    branch, depth = node[0], len(node)
    if depth == len(LOST[branch]):
        return [_Cell(node, (), sum(members.values()))]
    children = _children(members, depth)
    level = LOST[branch][depth - 1]
    if level in UNKNOWN:
        return _published_places(node, children, vocabulary, threshold)
    totals = {code: sum(paths.values()) for code, paths in children.items()}
    shown = _shown_children(totals, _possible_children(node, vocabulary), threshold)
    cells = [cell for code in shown for cell in _published((*node, code), children[code], vocabulary, threshold)]
    merged = sum(total for code, total in totals.items() if code not in shown)
    return [*cells, _Cell(node, tuple(shown), merged)] if merged else cells


def _published_places(
    node: Path, children: Mapping[str, Mapping[Path, int]], vocabulary: Vocabulary, threshold: int
) -> list[_Cell]:
    """Families, or ages, that can bear to stand apart; the others go on as one of which neither is known."""
    level = LOST[node[0]][len(node) - 1]
    unknown, fewest = UNKNOWN[level], STANDS_APART[level] * threshold
    totals = {code: sum(paths.values()) for code, paths in children.items()}
    shown = [code for code in sorted(totals) if code != unknown and totals[code] >= fewest]
    together = sum(total for code, total in totals.items() if code not in shown)
    if 0 < together < threshold:
        shown.remove(min(shown, key=lambda code: (totals[code], code)))
    rest: Counter[Path] = Counter()
    for code, paths in children.items():
        for path, count in paths.items() if code not in shown else ():
            rest[_forget(path, len(node))] += count
    parts = [((*node, code), children[code]) for code in shown] + ([((*node, unknown), dict(rest))] if rest else [])
    return [cell for place, paths in parts for cell in _published(place, paths, vocabulary, threshold)]


def _lost(cell: _Cell) -> str:
    """The coarsest loss of a cell's tickets."""
    known = cell.node[1:]
    if LOST[cell.node[0]][len(known)] in ("symptom", "suspect"):
        return LOST[cell.node[0]][len(known)]
    if known[1] == UNKNOWN["family"]:
        return "family"
    return "age" if known[2] == UNKNOWN["age"] else LOST[cell.node[0]][len(known)]


def _children(members: Mapping[Path, int], depth: int) -> dict[str, dict[Path, int]]:
    children: dict[str, dict[Path, int]] = {}
    for path, count in members.items():
        children.setdefault(path[depth], {})[path] = count
    return children


def _forget(path: Path, depth: int) -> Path:
    """The path without the family and age from `depth` on."""
    levels = LOST[path[0]]
    return tuple(UNKNOWN.get(levels[at - 1], code) if at >= depth and at > 0 else code for at, code in enumerate(path))


def _shown_children(totals: Mapping[str, int], possible: int, threshold: int) -> list[str]:
    """Children that stand apart; the others are merged."""
    shown = [code for total, code in sorted((total, code) for code, total in totals.items()) if total >= threshold]
    small = sum(total for total in totals.values() if total < threshold)
    if _is_settled(small, possible - len(shown), threshold):
        return sorted(shown)
    # the smallest of the large ones is pulled in: with it the sum surely reaches the threshold
    return sorted(shown[1:])


def _is_settled(small: int, hidden: int, threshold: int) -> bool:
    """Whether a merged sum is large enough, and so small that each of the hidden children may still be empty."""
    return small == 0 or threshold <= small <= (hidden - 1) * (threshold - 1)


def _possible_children(node: Path, vocabulary: Vocabulary) -> int:
    """How many children a reader must reckon with."""
    level = LOST[node[0]][len(node) - 1]
    if level == "symptom":
        return len(vocabulary.symptoms)
    if level == "suspect":
        modes = [vocabulary.suspects[code].failure_mode for code in vocabulary.suspects_of(node[1])]
        return modes.count(node[_MODE]) if len(node) > _MODE else len(set(modes))
    return len(CONFIRMATIONS) if level == "grade" else WITHOUT_LIMIT


def _row(cell: _Cell, vocabulary: Vocabulary) -> tuple[str | int, ...]:
    """The cell in `BUNDLE_COLUMNS`; what its children have lost is unknown."""
    branch, known = cell.node[0], cell.node[1:]
    symptom, family, age = _filled(known[:3], ("", "", UNKNOWN_AGE))
    if branch == UNRESOLVED:
        (checks,) = _filled(known[3:], ("|",))
        results, _, others = checks.partition("|")
        return symptom, family, age, "", "", results, others, cell.tickets
    if len(cell.node) > _SUSPECT:
        (grade,) = _filled(known[5:], (MIXED_GRADE,))
        return symptom, family, age, cell.node[_SUSPECT], grade, "", "", cell.tickets
    results = write_possible(_possible_suspects(cell, vocabulary)) if symptom else ""
    return symptom, family, age, "", "", results, "", cell.tickets


def _filled(known: Path, unknown: Path) -> Path:
    return (*known, *unknown[len(known) :])


def _possible_suspects(cell: _Cell, vocabulary: Vocabulary) -> tuple[str, ...]:
    """Suspects of the symptom that the cell may hold: those of the node's failure mode that do not stand apart."""
    found = []
    for code in vocabulary.suspects_of(cell.node[1]):
        mode = vocabulary.suspects[code].failure_mode
        if len(cell.node) > _MODE:
            is_inside = mode == cell.node[_MODE] and code not in cell.shown
        else:
            is_inside = mode not in cell.shown
        if is_inside:
            found.append(code)
    return tuple(found)
