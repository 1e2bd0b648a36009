"""Counted cells made from tickets: the only thing the model sees. Evidence of several shops adds."""

from collections.abc import Sequence
from dataclasses import dataclass

import pandas as pd

CELL_COLUMNS = ("symptom", "family", "shop", "age_band", "suspect", "confirmation", "results", "others", "weight")
# How a cell that lost its suspect says which ones it may be: pairs "suspect:CODE=possible" among its results.
POSSIBLE, SUSPECT_MARK = "possible", "suspect:"


@dataclass(frozen=True)
class Evidence:
    """What tickets told, as counts.

    Parameters
    ----------
    families, shops : codes that occur, sorted; a cell without a family or shop holds "".
    cells : frame, one row a distinct kind of ticket
        symptom, family, shop, age_band (`unknown` when the year is missing), suspect ("" when unresolved),
        confirmation ("" when unresolved), results ("check=outcome;..." of an unresolved ticket, else ""),
        others ("symptom=present;symptom=absent" of an unresolved ticket, else ""), weight (tickets; a ticket with n
        confirmed suspects counts 1/n for each).
    check_counts : frame: check, suspect (confirmed), outcome, count
    check_minutes : frame: check, count, log_sum, log_square_sum (of log minutes)
    companions : frame: suspect (confirmed), symptom (another one looked for), present, count
    ticket_count : tickets behind the cells
    """

    families: tuple[str, ...]
    shops: tuple[str, ...]
    cells: pd.DataFrame
    check_counts: pd.DataFrame
    check_minutes: pd.DataFrame
    companions: pd.DataFrame
    ticket_count: int


def make_evidence(
    cells: pd.DataFrame,
    *,
    check_counts: pd.DataFrame,
    check_minutes: pd.DataFrame,
    companions: pd.DataFrame,
    ticket_count: int,
) -> Evidence:
    """Evidence from counted frames (columns as in `Evidence`); equal cells are added together."""
    cells = _add_up(cells, [column for column in CELL_COLUMNS if column != "weight"])
    return Evidence(
        families=tuple(sorted(set(cells["family"]) - {""})),
        shops=tuple(sorted(set(cells["shop"]) - {""})),
        cells=cells,
        check_counts=_add_up(check_counts, ["check", "suspect", "outcome"]),
        check_minutes=_add_up(check_minutes, ["check"]),
        companions=_add_up(companions, ["suspect", "symptom", "present"]),
        ticket_count=ticket_count,
    )


def add_evidence(parts: Sequence[Evidence]) -> Evidence:
    """The sum of several shops' evidence; the order of the parts does not matter."""
    return make_evidence(
        pd.concat([part.cells for part in parts]),
        check_counts=pd.concat([part.check_counts for part in parts]),
        check_minutes=pd.concat([part.check_minutes for part in parts]),
        companions=pd.concat([part.companions for part in parts]),
        ticket_count=sum(part.ticket_count for part in parts),
    )


def empty_evidence() -> Evidence:
    """No tickets at all: the fit then returns the priors."""
    return make_evidence(
        pd.DataFrame({column: pd.Series(dtype=float if column == "weight" else "str") for column in CELL_COLUMNS}),
        check_counts=_empty_counts("check", "suspect", "outcome", numbers=("count",)),
        check_minutes=_empty_counts("check", numbers=("count", "log_sum", "log_square_sum")),
        companions=_empty_counts("suspect", "symptom", "present", numbers=("count",)),
        ticket_count=0,
    )


def read_results(text: str) -> tuple[tuple[str, str], ...]:
    """The (check, outcome) or (symptom, presence) pairs of a cell's `results` or `others` text."""
    return tuple((name, value) for name, _, value in (pair.partition("=") for pair in text.split(";") if pair))


def write_possible(suspects: Sequence[str]) -> str:
    """`results` text of tickets that had one of these suspects, it is not said which."""
    return ";".join(f"{SUSPECT_MARK}{code}={POSSIBLE}" for code in sorted(suspects))


def read_possible(text: str) -> tuple[str, ...]:
    """The suspects that `write_possible` wrote; none when the text says nothing of them."""
    return tuple(name.removeprefix(SUSPECT_MARK) for name, value in read_results(text) if value == POSSIBLE)


def _empty_counts(*keys: str, numbers: Sequence[str]) -> pd.DataFrame:
    return pd.DataFrame(
        {**{key: pd.Series(dtype="str") for key in keys}, **{n: pd.Series(dtype=float) for n in numbers}}
    )


def _add_up(frame: pd.DataFrame, keys: list[str]) -> pd.DataFrame:
    return frame.groupby(keys, sort=True, as_index=False, observed=True).sum()
