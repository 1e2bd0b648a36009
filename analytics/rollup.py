"""Counted tickets made coarser until every published cell is shared by enough tickets; none is ever dropped."""

from collections import Counter
from collections.abc import Mapping

import pandas as pd

from analytics.errors import InputError
from analytics.rollup_cells import (
    BUNDLE_COLUMNS,
    DEFAULT_THRESHOLD,
    FAMILY_COLUMNS,
    LEVELS,
    LOST,
    NAMED,
    PATH_LENGTH,
    UNKNOWN,
    UNRESOLVED,
    Cell,
    Path,
    RolledUp,
)
from analytics.rollup_groups import shown_children, shown_families, split_places, suspect_groups
from analytics.vocabulary import SOMETHING_ELSE, Vocabulary

# A family of a complaint, and an age within it, stands apart from so many times the threshold on: enough for nearly all
# its suspects to be told apart. Its size alone decides: were families shown where their suspects can be named, those
# with one common suspect would be chosen, and the model would learn that families differ more than they do. Below, the
# side by families tells nearly as much (`benchmarks/club_losses.py`).
STANDS_APART = {"family": 40, "age": 40}
# More checks can be made in more orders than anybody can count.
WITHOUT_LIMIT = 1_000_000


def roll_up(tickets: pd.DataFrame, vocabulary: Vocabulary, *, threshold: int = DEFAULT_THRESHOLD) -> RolledUp:
    """Merges cells below the threshold: age, then family, then suspect within its failure mode.

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
    Guarantee: every ticket is counted in exactly one published cell, and every published cell counts at least
    `threshold` tickets. So every sum or complement of published cells, the total included, is again 0 or at least
    `threshold`: nothing smaller can be got by subtracting. Of a suspect that was merged a reader who knows this rule
    learns no more than that it may hold 0 to threshold - 1 tickets or may have been pulled in from above it; merging
    goes on where the published sum would force a smaller one to be there (see `rollup_groups.is_settled`).

    `families` counts the tickets of a suspect that `cells` name without a family once more, by family, under the same
    rule; likewise the tickets of a complaint whose suspects were merged. Each ticket is there once at most. Of a
    suspect the reader then has two margins of the table (complaint, family), of a complaint's merged tickets two of the
    table (group of suspects, family), all made of cells of at least `threshold`. A cell inside can always hold
    min(row, column) tickets, at least `threshold`, and the rest can be filled up (Frechet's bound is reached:
    Hundepool et al., Statistical Disclosure Control, 2012, chapter 4), so no smaller one can be concluded.

    Not guaranteed: that those who share a cell differ. If all repairs of one cell had one suspect, whoever knows that
    a machine is among them knows its suspect too; and whoever knows all tickets of a shop but one can subtract them
    (only noise on all counts helps there). Each table must therefore count whole closed years once and for all.

    The tree is symptom, family, age, suspect. Families and ages stand apart from `STANDS_APART` thresholds on;
    the others are merged and go on down as one without family or age. Where the merged are too few together, the
    smallest of the others joins them.
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
    families = _family_side(cells, vocabulary, threshold)
    frame = pd.DataFrame([cell.row() for cell in cells], columns=list(BUNDLE_COLUMNS))
    frame = frame.groupby(list(BUNDLE_COLUMNS[:-1]), sort=True, as_index=False).sum()
    return RolledUp(frame, families, _levels(cells, families), threshold)


def _levels(cells: list[Cell], families: pd.DataFrame) -> dict[str, int]:
    lost = Counter(dict.fromkeys(LEVELS, 0))
    for cell in cells:
        lost[cell.lost] += cell.tickets
    told = int(families.loc[families["family"].ne("") & families["suspect"].ne(""), "tickets"].sum())
    lost["family"] -= told
    lost["sides"] += told
    return dict(lost)


def _family_side(cells: list[Cell], vocabulary: Vocabulary, threshold: int) -> pd.DataFrame:
    """Tickets that were counted without a family, by family."""
    totals: dict[tuple[str, str], Counter[str]] = {}
    for cell in cells:
        if any(cell.side):
            totals.setdefault(cell.side, Counter()).update(cell.by_family())
    rows: list[tuple[str, str, str, str, int]] = []
    for side, by_family in sorted(totals.items()):
        shown = shown_families(by_family, tuple(vocabulary.families), unknown=UNKNOWN["family"], threshold=threshold)
        rows += [(*side, code, "", by_family[code]) for code in shown]
        rest = sum(count for code, count in by_family.items() if code not in shown)
        if rest:
            possible = ";".join(sorted(set(vocabulary.families) - set(shown)))
            rows.append((*side, UNKNOWN["family"], possible, rest))
    return pd.DataFrame(rows, columns=list(FAMILY_COLUMNS)).astype({"tickets": int})


def _paths(tickets: pd.DataFrame, vocabulary: Vocabulary) -> Counter[Path]:
    """Tickets by their way through the tree; the last of a named one is the family that it came with."""
    counted: Counter[Path] = Counter()
    for symptom, family, age, suspect, _, results, others, count in tickets[list(BUNDLE_COLUMNS)].itertuples(
        index=False, name=None
    ):
        if suspect:
            listed = suspect if suspect in vocabulary.suspects_of(symptom) else SOMETHING_ELSE
            counted[NAMED, symptom, family, age, listed, family] += int(count)
        else:
            counted[UNRESOLVED, symptom, family, age, f"{results}|{others}"] += int(count)
    return counted


def _with_the_small_branch(counted: Counter[Path], threshold: int) -> Counter[Path]:
    """A branch too small to stand alone joins the other, its symptoms forgotten."""
    totals = {branch: sum(_below((branch,), counted).values()) for branch in (NAMED, UNRESOLVED)}
    for small, other in ((NAMED, UNRESOLVED), (UNRESOLVED, NAMED)):
        if 0 < totals[small] < threshold:
            kept = Counter(_below((other,), counted))
            kept[(other, *("" for _ in range(1, PATH_LENGTH[other])))] += totals[small]
            return kept
    return counted


def _below(node: Path, counted: Mapping[Path, int]) -> dict[Path, int]:
    return {path: count for path, count in counted.items() if path[: len(node)] == node}


def _published(node: Path, members: Mapping[Path, int], vocabulary: Vocabulary, threshold: int) -> list[Cell]:
    """Cells of one node whose total reaches the threshold."""
    branch, depth = node[0], len(node)
    if depth == len(LOST[branch]):
        return [Cell(node, (), members)]
    level, children = LOST[branch][depth - 1], _children(members, depth)
    if level in UNKNOWN:
        return _published_places(node, children, vocabulary, threshold)
    if level == "suspect":
        return _published_suspects(node, children, vocabulary, threshold)
    totals = {code: sum(paths.values()) for code, paths in children.items()}
    possible = len(vocabulary.symptoms) if level == "symptom" else WITHOUT_LIMIT
    shown = shown_children(totals, possible, threshold)
    cells = [cell for code in shown for cell in _published((*node, code), children[code], vocabulary, threshold)]
    merged = _merged(children, tuple(code for code in children if code not in shown))
    return [*cells, Cell(node, (), merged)] if merged else cells


def _published_suspects(
    node: Path, children: Mapping[str, Mapping[Path, int]], vocabulary: Vocabulary, threshold: int
) -> list[Cell]:
    """Suspects of one complaint, alone or as one of several."""
    totals = {code: sum(paths.values()) for code, paths in children.items()}
    listed = vocabulary.suspects_of(node[1]) if node[1] else tuple(children)
    mode_of = {code: vocabulary.suspects[code].failure_mode if code else "" for code in listed}
    cells: list[Cell] = []
    for group in suspect_groups(totals, mode_of, threshold):
        merged = _merged(children, group)
        if len(group) == 1 and merged:
            cells += _published((*node, *group), merged, vocabulary, threshold)
        elif merged:
            cells.append(Cell(node, group, merged))
    return cells


def _published_places(
    node: Path, children: Mapping[str, Mapping[Path, int]], vocabulary: Vocabulary, threshold: int
) -> list[Cell]:
    """Families, or ages, that can bear to stand apart; the others go on as one of which neither is known."""
    level = LOST[node[0]][len(node) - 1]
    unknown, fewest = UNKNOWN[level], STANDS_APART[level] * threshold
    totals = {code: sum(paths.values()) for code, paths in children.items()}
    shown = split_places(totals, unknown=unknown, fewest=fewest, threshold=threshold)
    rest: Counter[Path] = Counter()
    for path, count in _merged(children, tuple(code for code in children if code not in shown)).items():
        rest[_forget(path, len(node))] += count
    parts = [((*node, code), children[code]) for code in shown] + ([((*node, unknown), dict(rest))] if rest else [])
    return [cell for place, paths in parts for cell in _published(place, paths, vocabulary, threshold)]


def _children(members: Mapping[Path, int], depth: int) -> dict[str, dict[Path, int]]:
    children: dict[str, dict[Path, int]] = {}
    for path, count in members.items():
        children.setdefault(path[depth], {})[path] = count
    return children


def _merged(children: Mapping[str, Mapping[Path, int]], codes: tuple[str, ...]) -> dict[Path, int]:
    return {path: count for code in codes for path, count in children.get(code, {}).items()}


def _forget(path: Path, depth: int) -> Path:
    """The path without the family and age from `depth` on."""
    levels = ("branch", *LOST[path[0]])
    return tuple(UNKNOWN.get(levels[at], code) if at >= depth else code for at, code in enumerate(path))
