"""Which children of a node are published apart and which are merged, so that nothing small is left over."""

from collections.abc import Mapping, Sequence


def shown_children(totals: Mapping[str, int], possible: int, threshold: int) -> list[str]:
    """Children that stand apart; the others are merged.

    Parameters
    ----------
    totals : child -> tickets
    possible : children a reader must reckon with, the empty ones included
    """
    shown = [code for total, code in sorted((total, code) for code, total in totals.items()) if total >= threshold]
    small = sum(total for total in totals.values() if total < threshold)
    if is_settled(small, possible - len(shown), threshold):
        return sorted(shown)
    # the smallest of the large ones is pulled in: with it the sum surely reaches the threshold
    return sorted(shown[1:])


def is_settled(small: int, hidden: int, threshold: int) -> bool:
    """Whether a merged sum is large enough, and so small that each of the hidden children may still be empty."""
    return small == 0 or threshold <= small <= (hidden - 1) * (threshold - 1)


def suspect_groups(
    totals: Mapping[str, int], mode_of: Mapping[str, str], threshold: int
) -> tuple[tuple[str, ...], ...]:
    """Groups of suspects that are published as one, single ones first; together they hold all listed suspects.

    Parameters
    ----------
    totals : suspect -> tickets; in all at least `threshold`
    mode_of : every suspect of the list -> its failure mode

    Notes
    -----
    Suspects from the threshold on stand alone. The others are merged within their failure mode where that is settled
    (`is_settled`), the rest with each other. Where the rest is not settled, the smallest group joins it, and at last
    the smallest suspect that stood alone: less is lost than by merging whole failure modes.
    """
    alone = sorted((k for k in mode_of if totals.get(k, 0) >= threshold), key=lambda k: (totals[k], k))
    hidden = [k for k in mode_of if k not in alone]
    groups = _settled_modes(hidden, totals, mode_of, threshold)
    rest = [k for k in hidden if not any(k in group for group in groups)]
    while groups and not _holds(rest, totals, threshold):
        smallest = min(groups, key=lambda group: (_sum(group, totals), group))
        groups.remove(smallest)
        rest += smallest
    if alone and not _holds(rest, totals, threshold):
        rest.append(alone.pop(0))
    return (*((k,) for k in sorted(alone)), *groups, *([tuple(sorted(rest))] if rest else []))


def split_places(totals: Mapping[str, int], *, unknown: str, fewest: int, threshold: int) -> tuple[str, ...]:
    """Places (families, ages) of at least `fewest` tickets, without the smallest where the others would be too few."""
    shown = sorted((code for code in totals if code != unknown and totals[code] >= fewest), key=lambda c: totals[c])
    together = sum(total for code, total in totals.items() if code not in shown)
    while shown and 0 < together < threshold:
        smallest = min(shown, key=lambda code: (totals[code], code))
        shown.remove(smallest)
        together += totals[smallest]
    return tuple(sorted(shown))


def shown_families(
    totals: Mapping[str, int], families: Sequence[str], *, unknown: str, threshold: int
) -> tuple[str, ...]:
    """Families of a suspect that stand apart: those from the threshold on, but for the smallest where the sum of the
    others, and of the `unknown`, would be too small or would force one of them to be there (`is_settled`).
    """
    shown = sorted((f for f in families if totals.get(f, 0) >= threshold), key=lambda f: (totals[f], f))
    rest = [f for f in families if f not in shown]
    while shown and not _hides(rest, totals, totals.get(unknown, 0), threshold):
        rest.append(shown.pop(0))
    return tuple(sorted(shown))


def _hides(rest: Sequence[str], totals: Mapping[str, int], unknown: int, threshold: int) -> bool:
    """Whether a sum is settled; tickets of no known family may be all of it."""
    return _sum(rest, totals) + unknown >= threshold if unknown else _holds(rest, totals, threshold)


def _settled_modes(
    hidden: Sequence[str], totals: Mapping[str, int], mode_of: Mapping[str, str], threshold: int
) -> list[tuple[str, ...]]:
    groups = [tuple(sorted(k for k in hidden if mode_of[k] == mode)) for mode in sorted({mode_of[k] for k in hidden})]
    return [group for group in groups if _sum(group, totals) and _holds(group, totals, threshold)]


def _holds(group: Sequence[str], totals: Mapping[str, int], threshold: int) -> bool:
    return is_settled(_sum(group, totals), len(group), threshold)


def _sum(group: Sequence[str], totals: Mapping[str, int]) -> int:
    return sum(totals.get(code, 0) for code in group)
