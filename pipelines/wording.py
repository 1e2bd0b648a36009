"""How numbers are said to a person: shares in tens, times in minutes, small counts with a warning."""

from collections.abc import Sequence

from analytics.errors import InputError

# (share up to which it is said so, one of so many). Nearest on a log scale, so that rare things keep their size.
_RARE = ((0.014, 100), (0.03, 50), (0.075, 20))
_FEW_TICKETS, _MANY_TICKETS = 10, 30
_TIMES = {1: "once", 2: "twice"}


def in_ten(share: float) -> str:
    """A share as one would say it; finer near nothing and near all.

    Raises
    ------
    InputError
        When the share is not a number from 0 to 1.

    Examples
    --------
    >>> in_ten(0.38), in_ten(0.06), in_ten(0.98)
    ('about 4 in 10', 'about 1 in 20', 'about 49 in 50')
    """
    part, whole = _fraction(share)
    if part == 0:
        return f"fewer than 1 in {whole}"
    if part == whole:
        return f"more than {whole - 1} in {whole}"
    return f"about {part} in {whole}"


def odds_phrase(share: float, low: float, high: float) -> str:
    """A share with its interval, "about 4 in 10 (between 3 and 5)"; no brackets where all three are said alike."""
    told, low, high = in_ten(share), min(low, share), max(high, share)
    if in_ten(low) == in_ten(high):
        return told
    (from_part, from_whole), (to_part, to_whole) = _fraction(low), _fraction(high)
    if from_part == 0:
        return f"{told} ({'could be anything' if to_part == to_whole else f'at most {_bare(high)}'})"
    if to_part == to_whole:
        return f"{told} (at least {_bare(low)})"
    if from_whole == to_whole == _fraction(share)[1] == 10:
        return f"{told} (between {from_part} and {to_part})"
    return f"{told} (between {_bare(low)} and {_bare(high)})"


def change_phrase(before: float, after: float) -> str:
    """From one share to another, "from about 2 in 10 to about 3 in 10"; a change too small to say is called small."""
    first, second = in_ten(before), in_ten(after)
    if first != second:
        return f"from {first} to {second}"
    return f"a little {'up' if after > before else 'down'}, still {second}"


def salt_phrase(count: int) -> str:
    """How far to trust an answer that so many like tickets stand behind."""
    if count <= 0:
        return "we have not seen this before: the odds come from the list and from other tickets"
    if count < _FEW_TICKETS:
        seen = _TIMES.get(count, f"only {count} times")
        return f"we have seen this {seen}, so take it with salt"
    if count < _MANY_TICKETS:
        return f"we have seen this {count} times, so the odds may still move"
    return f"we have seen this {count:,} times"


def minutes_phrase(minutes: float) -> str:
    """Working time: "about 12 min", "about 1 h 20 min" (to five minutes from an hour on)."""
    if minutes < 0 or minutes != minutes:
        raise InputError(f"{minutes:g} minutes is no time. Give a number that is not below 0.")
    if round(minutes) < 1:
        return "less than a minute"
    if round(minutes) < 60:
        return f"about {round(minutes)} min"
    hours, rest = divmod(5 * round(minutes / 5), 60)
    return f"about {hours} h {rest} min" if rest else f"about {hours} h"


def counted(count: int, one: str, many: str = "") -> str:
    """A number with its noun: "1 ticket", "2 tickets", "no tickets", "1,200 tickets"; `many` where -s is not enough."""
    if count == 1:
        return f"1 {one}"
    return f"{f'{count:,}' if count else 'no'} {many or f'{one}s'}"


def listed(items: Sequence[str]) -> str:
    """Names in a row: "a", "a and b", "a, b and c"."""
    return " and ".join(filter(None, (", ".join(items[:-1]), *items[-1:])))


def _fraction(share: float) -> tuple[int, int]:
    """Part and whole; (0, 100) for less than a hundredth, (100, 100) for more than all but one."""
    if not 0.0 <= share <= 1.0:
        raise InputError(f"{share:g} is not a share. Give a number from 0 to 1.")
    # 1 - 0.925 is not 0.075 to the last digit; both are to be said alike
    share = round(share, 9)
    if share > 0.5:
        part, whole = _fraction(1.0 - share)
        return whole - part, whole
    if share < 0.01:
        return 0, 100
    for limit, whole in _RARE:
        if share < limit:
            return 1, whole
    return int(10 * share + 0.5), 10


def _bare(share: float) -> str:
    return in_ten(share).removeprefix("about ")
