"""What a check costs in minutes by what is open: opening first, closing again where a retest needs it."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from analytics.errors import InputError
from analytics.vocabulary import AccessGroup, Check

# The table has 2 ** groups columns; a symptom of a real shop needs three to six groups.
MAX_GROUPS = 14


@dataclass(frozen=True)
class Access:
    """Minutes and open groups as tables over every set of open groups (bit g of a mask = group g is open).

    groups : labels, (group,)
    need : (check,) mask of the groups a check needs, what they lie inside of included
    volatile : mask of the groups that every retest finds closed
    retests : (check,) whether the check ends in a retest of the whole machine
    minutes : (check, mask) minutes of making the check when `mask` is open: opening, the check, closing for a retest
    after : (check, mask) what is open afterwards
    closing : (mask,) minutes of closing what a retest finds closed
    """

    groups: tuple[str, ...]
    need: np.ndarray
    volatile: int
    retests: np.ndarray
    minutes: np.ndarray
    after: np.ndarray
    closing: np.ndarray


def build_access(
    checks: Sequence[Check],
    access_groups: Mapping[str, AccessGroup],
    *,
    minutes: Sequence[float],
    open_groups: frozenset[str],
    closed_for_retest: frozenset[str] | None,
) -> tuple[Access, int]:
    """Access tables of some checks, and the mask of `open_groups`."""
    paths = {code: group_path(code, access_groups) for code in access_groups}
    wanted = {check.access_group for check in checks if check.access_group}
    used = {code for group in wanted for code in paths[group]}
    # Only what can cost something needs a bit; "outside" costs nothing to open.
    groups = tuple(g for g in access_groups if g in used and not _is_free(access_groups[g]))
    must_close = frozenset(g for g in groups if access_groups[g].must_close_for_retest)
    if closed_for_retest is not None:
        must_close = closed_for_retest
    volatile = [g for g in groups if must_close & set(paths[g])]
    open_now = {code for group in open_groups for code in paths[group]}
    access = tabulate_access(
        groups,
        minutes=np.array(minutes, dtype=float),
        need=np.array([_mask(paths.get(check.access_group, ()), groups) for check in checks], dtype=np.int64),
        opening_closing=np.array([[access_groups[g].open_minutes, access_groups[g].close_minutes] for g in groups]),
        # Exchanging for a part known to be good tells nothing until the machine is tried, so a swap retests too.
        retesting=(np.array([c.is_remedy or c.kind == "swap" for c in checks], dtype=bool), _mask(volatile, groups)),
    )
    return access, _mask(open_now, groups)


def tabulate_access(
    groups: tuple[str, ...],
    *,
    minutes: np.ndarray,
    need: np.ndarray,
    opening_closing: np.ndarray,
    retesting: tuple[np.ndarray, int],
) -> Access:
    """Access tables from arrays.

    Parameters
    ----------
    groups : labels, (group,)
    minutes : (check,) minutes of the check alone
    need : (check,) masks, what the groups lie inside of included
    opening_closing : (group, 2) minutes of opening and of closing
    retesting : (check,) whether a check ends in a retest; mask of the groups that must then be closed
    """
    if len(groups) > MAX_GROUPS:
        raise InputError(
            f"{len(groups)} access groups are needed for one symptom; {MAX_GROUPS} can be planned with. "
            "Join groups that are always opened together."
        )
    retests, volatile = retesting
    masks = np.arange(2 ** len(groups), dtype=np.int64)
    bits = (masks[:, None] >> np.arange(len(groups))) & 1
    opening, closing = (bits @ opening_closing.reshape(-1, 2)).T
    touched = masks[None, :] | need[:, None]
    closes = np.where(retests[:, None], touched & volatile, 0)
    return Access(
        groups=groups,
        need=need,
        volatile=volatile,
        retests=retests,
        minutes=minutes[:, None] + opening[need[:, None] & ~masks] + closing[closes],
        after=touched & ~closes,
        closing=closing[masks & volatile],
    )


def group_path(code: str, access_groups: Mapping[str, AccessGroup]) -> tuple[str, ...]:
    """The group and those it lies inside of, inner ones first; InputError for a group that is not there or loops."""
    path: list[str] = []
    while code:
        if code not in access_groups or code in path:
            raise InputError(f"Access group '{code}' is unknown, or lies inside itself. Correct access_groups.csv.")
        path.append(code)
        code = access_groups[code].inside
    return tuple(path)


def _is_free(group: AccessGroup) -> bool:
    return group.open_minutes == 0 and group.close_minutes == 0


def _mask(codes: Sequence[str] | set[str] | tuple[str, ...], groups: tuple[str, ...]) -> int:
    return sum(1 << at for at, group in enumerate(groups) if group in codes)
