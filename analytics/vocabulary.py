"""The words a shop uses: families, symptoms, components, failure modes, suspects, checks and how they hang together."""

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property

from analytics.errors import InputError

SOMETHING_ELSE = "something_else"

# How strongly a symptom points to a suspect before any ticket was read, as relative weights: one "often" is worth
# eight "rarely". Common practice, no source; the tickets overrule it.
STRENGTH_WEIGHTS: Mapping[str, float] = {"often": 8.0, "sometimes": 3.0, "rarely": 1.0, "hardly_ever": 0.25}

KINDS = ("inspection", "measurement", "split_test", "swap", "substitution", "remedy")
OUTCOMES = ("fault_found", "clear", "inconclusive", "cured", "not_cured")
CONFIRMATIONS = ("reproduced_and_cured", "cured", "symptom_went_away")
RESULTS = ("fixed", "not_fixed", "no_fault_found", "handed_on")


@dataclass(frozen=True)
class Term:
    """A family, symptom, component, failure mode, access group or hazard: code, name in words, other spellings."""

    code: str
    name: str
    aliases: tuple[str, ...] = ()
    note: str = ""


@dataclass(frozen=True)
class Suspect:
    """One component with one failure mode; `something_else` has neither."""

    code: str
    name: str
    component: str
    failure_mode: str
    aliases: tuple[str, ...] = ()


@dataclass(frozen=True)
class AccessGroup:
    """What must be opened or pulled first; `inside` is the group that must be open before this one ("" for none)."""

    code: str
    name: str
    open_minutes: float
    close_minutes: float
    inside: str = ""
    must_close_for_retest: int = 0


@dataclass(frozen=True)
class Check:
    """An inspection, measurement, split test, swap, substitution or remedy.

    `reveals` maps a suspect to P(fault_found | suspect), `cures` maps a suspect to P(cured | suspect);
    `false_alarm` is P(fault_found | a suspect that the check does not reveal).
    """

    code: str
    name: str
    kind: str
    minutes: float
    access_group: str
    hazards: tuple[str, ...]
    false_alarm: float
    reveals: Mapping[str, float]
    cures: Mapping[str, float]
    instruction: str = ""
    part: str = ""
    tool: str = ""
    aliases: tuple[str, ...] = ()

    @property
    def is_remedy(self) -> bool:
        """Whether the check can cure at all."""
        return bool(self.cures)


@dataclass(frozen=True)
class AgeBand:
    """Ages in whole years, both ends included; `to_age` of the last band is open."""

    code: str
    from_age: int
    to_age: int


@dataclass(frozen=True)
class Vocabulary:
    """Everything in `seed_data/vocabulary`, checked. Mappings are keyed by code and keep the order of the files.

    `links` maps (symptom, suspect) to a strength of `STRENGTH_WEIGHTS`; every symptom lists `something_else`.
    """

    families: Mapping[str, Term]
    symptoms: Mapping[str, Term]
    components: Mapping[str, Term]
    failure_modes: Mapping[str, Term]
    suspects: Mapping[str, Suspect]
    access_groups: Mapping[str, AccessGroup]
    hazards: Mapping[str, Term]
    checks: Mapping[str, Check]
    links: Mapping[tuple[str, str], str]
    age_bands: tuple[AgeBand, ...]

    @cached_property
    def suspects_by_symptom(self) -> Mapping[str, tuple[str, ...]]:
        """Symptom code -> codes of its suspects, in the order of the link table, `something_else` last."""
        lists: dict[str, list[str]] = {symptom: [] for symptom in self.symptoms}
        for symptom, suspect in self.links:
            if suspect != SOMETHING_ELSE:
                lists[symptom].append(suspect)
        return {symptom: (*codes, SOMETHING_ELSE) for symptom, codes in lists.items()}

    def suspects_of(self, symptom: str) -> tuple[str, ...]:
        """Codes of the suspects of one symptom; InputError for a symptom nobody knows."""
        try:
            return self.suspects_by_symptom[symptom]
        except KeyError:
            known = ", ".join(self.symptoms)
            raise InputError(f"No symptom is called '{symptom}'. Known symptoms: {known}.") from None

    def checks_for(self, symptom: str) -> tuple[Check, ...]:
        """Checks that reveal or cure at least one suspect of the symptom, in the order of the files."""
        listed = set(self.suspects_of(symptom))
        return tuple(check for check in self.checks.values() if listed & (set(check.reveals) | set(check.cures)))

    def age_band_of(self, age_years: int | None) -> str:
        """Code of the band an age falls into; `unknown` when the year of manufacture is not known."""
        if age_years is None:
            return UNKNOWN_AGE
        for band in self.age_bands:
            if age_years <= band.to_age:
                return band.code
        return self.age_bands[-1].code


UNKNOWN_AGE = "unknown"
