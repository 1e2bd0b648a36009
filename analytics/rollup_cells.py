"""The published cell of a roll-up: its place in the tree, its tickets, and the row that is written of it."""

from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass

import pandas as pd

from analytics.evidence import write_possible
from analytics.vocabulary import CONFIRMATIONS, UNKNOWN_AGE

BUNDLE_COLUMNS = ("symptom", "family", "age_band", "suspect", "confirmation", "results", "others", "tickets")
FAMILY_COLUMNS = ("symptom", "suspect", "family", "possible", "tickets")
DEFAULT_THRESHOLD = 5
# How sure a suspect was is not told: it would be shown of common suspects and hidden of rare ones, which would then be
# taken for guesses. All count as the middle grade: taken for sure they would be trusted too far.
MIXED_GRADE = CONFIRMATIONS[1]
NAMED, UNRESOLVED = "named", "unresolved"
# What the merged children of a node have lost, by branch and depth of the node; at the last depth, what all have lost.
LOST = {
    NAMED: ("symptom", "family", "age", "suspect", "grade"),
    UNRESOLVED: ("symptom", "family", "age", "checks", "nothing"),
}
LEVELS = ("nothing", "grade", "checks", "age", "sides", "family", "suspect", "symptom")
# What an unknown family and age are called.
UNKNOWN = {"family": "", "age": UNKNOWN_AGE}
# Places in a path of named tickets; behind the suspect stands the family that the ticket came with, for the sides.
_FAMILY, _AGE, _SUSPECT, _CAME_WITH = 2, 3, 4, 5
PATH_LENGTH = {NAMED: 6, UNRESOLVED: 5}

type Path = tuple[str, ...]


@dataclass(frozen=True, eq=False)
class RolledUp:
    """Counts fit to leave the shop.

    cells : frame of `BUNDLE_COLUMNS`; symptom, family "" and age_band `unknown` where rolled up; `results` of a cell
        whose suspect was rolled up names the suspects it may be (see `evidence.write_possible`); tickets >= threshold
    families : frame of `FAMILY_COLUMNS`, the same tickets from another side: those that `cells` count without a family,
        by family. Tickets of a known suspect are told by suspect (symptom ""), those whose suspect was merged by
        symptom (suspect ""). family "" counts the families that are not told apart (`possible`, codes joined by ";")
        and the unknown; tickets >= threshold, and those of a suspect or symptom add up to what `cells` count of it
    rolled_up : level of `LEVELS` -> tickets whose coarsest loss is this one (`nothing`: published as they are;
        `sides`: only which complaint went with which family); a family or year never known counts as lost
    """

    cells: pd.DataFrame
    families: pd.DataFrame
    rolled_up: Mapping[str, int]
    threshold: int

    @property
    def ticket_count(self) -> int:
        """Tickets behind the cells, the same as before rolling up."""
        return int(self.cells["tickets"].sum())


@dataclass(frozen=True, eq=False)
class Cell:
    """One published cell: its node in the tree, the suspects it may hold where it has lost them, its paths."""

    node: Path
    possible: tuple[str, ...]
    members: Mapping[Path, int]

    @property
    def tickets(self) -> int:
        """Tickets in it."""
        return sum(self.members.values())

    @property
    def suspect(self) -> str:
        """The suspect all its tickets share, or ""."""
        is_known = self.node[0] == NAMED and len(self.node) > _SUSPECT
        return self.node[_SUSPECT] if is_known else ""

    @property
    def lost(self) -> str:
        """The coarsest loss of its tickets."""
        here = LOST[self.node[0]][len(self.node) - 1]
        if here in ("symptom", "suspect"):
            return here
        if self.node[_FAMILY] == UNKNOWN["family"]:
            return "family"
        return "age" if self.node[_AGE] == UNKNOWN["age"] else here

    @property
    def side(self) -> tuple[str, str]:
        """(symptom, suspect), one of them "": where its tickets are told by family; both "" where they are not."""
        if self.node[0] == NAMED and len(self.node) > _FAMILY and self.node[_FAMILY] == UNKNOWN["family"]:
            return ("", self.suspect) if self.suspect else (self.node[1], "")
        return "", ""

    def by_family(self) -> Counter[str]:
        """Tickets by the family that they came with."""
        count: Counter[str] = Counter()
        for path, tickets in self.members.items():
            count[path[_CAME_WITH]] += tickets
        return count

    def row(self) -> tuple[str | int, ...]:
        """The cell in `BUNDLE_COLUMNS`; what its children have lost is unknown."""
        branch, known = self.node[0], self.node[1:]
        symptom, family, age = _filled(known[:3], ("", "", UNKNOWN_AGE))
        if branch == UNRESOLVED:
            (checks,) = _filled(known[3:4], ("|",))
            results, _, others = checks.partition("|")
            return symptom, family, age, "", "", results, others, self.tickets
        if self.suspect:
            return symptom, family, age, self.suspect, MIXED_GRADE, "", "", self.tickets
        results = write_possible(self.possible) if symptom else ""
        return symptom, family, age, "", "", results, "", self.tickets


def _filled(known: Path, unknown: Path) -> Path:
    return (*known, *unknown[len(known) :])
