"""Spellings of the same thing gathered into groups: the most used one gives the name, the others become aliases."""

import re
import unicodedata
from collections.abc import Mapping
from dataclasses import dataclass

from rapidfuzz import fuzz, process

from pipelines.matching import digits_of, tidy

# Likeness (0..100, letters of the tidied text) from which a rare spelling joins a common one, and how much rarer it
# must be: two words that are both used often are two things. Judged by eye on misspelt seeded phrases.
SAME_THING = 88.0
RARER_BY = 3


@dataclass(frozen=True)
class Group:
    """One thing: code, name (its commonest spelling) and the other spellings."""

    code: str
    name: str
    aliases: tuple[str, ...]


@dataclass(frozen=True)
class Groups:
    """Groups by code, commonest first, and the code of every spelling."""

    groups: Mapping[str, Group]
    code_of: Mapping[str, str]


def group_spellings(counts: Mapping[str, int]) -> Groups:
    """Spellings of the same thing together; a rare one joins a common one that is much alike.

    Parameters
    ----------
    counts : spelling -> rows that use it; spellings that are the same when tidied are one from the start
    """
    variants: dict[str, list[str]] = {}
    for spelling in sorted(counts, key=lambda spelling: (-counts[spelling], spelling)):
        variants.setdefault(tidy(spelling), []).append(spelling)
    totals = {key: sum(counts[spelling] for spelling in spellings) for key, spellings in variants.items()}
    members: dict[str, list[str]] = {}
    for key in sorted(totals, key=lambda key: (-totals[key], key)):
        leader = _leader_of(key, list(members), totals)
        members.setdefault(leader, []).extend(variants[key])
    return _name_groups(list(members.values()))


def make_code(text: str, taken: Mapping[str, object]) -> str:
    """A code made of the words of a text: lower-case words joined by `_`, not yet taken."""
    plain = unicodedata.normalize("NFKD", text.casefold().replace("ß", "ss"))
    words = re.findall(r"[a-z0-9]+", "".join(sign for sign in plain if not unicodedata.combining(sign)))
    code = "_".join(words[:6]) or "unnamed"
    code = code if code[0].isalpha() else f"no_{code}"
    number = next(n for n in range(1, len(taken) + 2) if (code if n == 1 else f"{code}_{n}") not in taken)
    return code if number == 1 else f"{code}_{number}"


def _leader_of(key: str, leaders: list[str], totals: Mapping[str, int]) -> str:
    alike = [leader for leader in leaders if digits_of(leader) == digits_of(key)]
    found = process.extractOne(key, alike, scorer=fuzz.ratio, score_cutoff=SAME_THING)
    is_rare = found is not None and totals[key] * RARER_BY <= totals[found[0]]
    return found[0] if found is not None and is_rare else key


def _name_groups(spellings: list[list[str]]) -> Groups:
    groups: dict[str, Group] = {}
    code_of: dict[str, str] = {}
    for members in spellings:
        code = make_code(members[0], groups)
        # Aliases that differ in case or blanks only are one alias to the vocabulary.
        aliases = {_as_alias(member).casefold(): _as_alias(member) for member in members[1:]}
        aliases.pop(_as_alias(members[0]).casefold(), None)
        groups[code] = Group(code, _as_alias(members[0]), tuple(aliases.values()))
        code_of.update(dict.fromkeys(members, code))
    return Groups(groups, code_of)


def _as_alias(text: str) -> str:
    """The text as a vocabulary file can hold it: `|` separates aliases there."""
    return " ".join(text.replace("|", "/").split())
