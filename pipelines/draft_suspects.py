"""What a shop writes as suspect, taken apart into component and failure mode."""

import re
from collections.abc import Mapping
from dataclasses import dataclass, replace

from analytics.vocabulary import SOMETHING_ELSE, Suspect, Term, Vocabulary
from pipelines.matching import tidy
from pipelines.spelling_groups import Group, Groups, make_code

# Note of the failure mode of a suspect whose words name none that the base vocabulary knows.
UNSTATED_NOTE = "The tickets do not say in which way it failed."
UNSTATED_COMPONENT = "Part not named"

_ModePhrases = list[tuple[list[str], Term]]


@dataclass(frozen=True)
class DraftSuspects:
    """Components, failure modes and suspects by code, and the suspect of every spelling; without `something_else`."""

    components: Mapping[str, Term]
    failure_modes: Mapping[str, Term]
    suspects: Mapping[str, Suspect]
    code_of: Mapping[str, str]


def draft_suspects(written: Groups, base: Vocabulary) -> DraftSuspects:
    """Suspects in the shop's words; failure modes are those of `base`, found as words of the suspect.

    A suspect that names none gets one of its own: shops and ages move suspects by failure mode, and what nobody has
    stated is no mode that two suspects could share.

    "Coil open" and "coil open circuit" are one component with one failure mode: one suspect, and an alias.
    """
    phrases = _mode_phrases(base)
    vague = _vague_phrases(base)
    components: dict[str, Term] = {}
    modes: dict[str, Term] = {}
    suspects: dict[tuple[str, str], Suspect] = {}
    suspect_of_group: dict[str, str] = {}
    for group in written.groups.values():
        if tidy(group.name) in vague:
            suspect_of_group[group.code] = SOMETHING_ELSE
            continue
        mode, rest = _find_mode(group.name, phrases)
        component = _component_code(rest, components)
        mode = mode or Term(f"{component}_faulty", f"Faulty ({components[component].name})", (), UNSTATED_NOTE)
        modes.setdefault(mode.code, mode)
        pair = (component, mode.code)
        suspects[pair] = _add_spellings(suspects.get(pair), group, pair=pair, vague=vague)
        suspect_of_group[group.code] = suspects[pair].code
    return DraftSuspects(
        components=components,
        failure_modes=modes,
        suspects={suspect.code: suspect for suspect in suspects.values()},
        code_of={spelling: suspect_of_group[group] for spelling, group in written.code_of.items()},
    )


def _vague_phrases(base: Vocabulary) -> set[str]:
    """Tidied ways to write that it was none of the suspects."""
    other = base.suspects[SOMETHING_ELSE]
    return {tidy(phrase) for phrase in (other.code, other.name, *other.aliases)}


def _mode_phrases(base: Vocabulary) -> _ModePhrases:
    """Words of each failure mode's names, longest first: "open circuit" is looked for before "open"."""
    modes = base.failure_modes.values()
    phrases = [(_words(phrase), mode) for mode in modes for phrase in (mode.name, *mode.aliases)]
    return sorted(phrases, key=lambda entry: (-len(entry[0]), -len(" ".join(entry[0]))))


def _find_mode(name: str, phrases: _ModePhrases) -> tuple[Term | None, str]:
    """Failure mode named in a suspect, if any, and the words left for the component."""
    written = name.split()
    plain = [" ".join(_words(word)) for word in written]
    for words, mode in phrases:
        for start in range(len(plain) - len(words) + 1):
            if plain[start : start + len(words)] == words:
                rest = " ".join([*written[:start], *written[start + len(words) :]]).strip(" ,;:/-")
                return mode, rest or UNSTATED_COMPONENT
    return None, name


def _component_code(text: str, components: dict[str, Term]) -> str:
    """Code of the component of this name; adds it when it is new."""
    for code, component in components.items():
        if tidy(component.name) == tidy(text):
            return code
    code = make_code(text, components)
    components[code] = Term(code, text)
    return code


def _add_spellings(first: Suspect | None, group: Group, *, pair: tuple[str, str], vague: set[str]) -> Suspect:
    aliases = tuple(alias for alias in group.aliases if tidy(alias) not in vague)
    if first is None:
        return Suspect(group.code, group.name, *pair, aliases)
    return replace(first, aliases=(*first.aliases, group.name, *aliases))


def _words(text: str) -> list[str]:
    return re.findall(r"\w+", text.casefold())
