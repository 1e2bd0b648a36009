"""What can hurt at the bench: cautions of a check, how long a capacitor stays charged, and the safer of two checks."""

from dataclasses import dataclass
from math import isfinite, log

from analytics.errors import InputError
from analytics.plan_answers import CheckChoice, PlanAnswer
from analytics.vocabulary import Check, Vocabulary

# Said with every answer, card and page.
DEFER = (
    "Local codes and licensed practice come before anything said here: unplug, discharge and prove dead first, never "
    "work on a live machine, and leave what you are not trained or licensed for to somebody who is."
)
# Hazards that can kill or maim. A check that names fewer of them is the safer one.
GRAVE_HAZARDS = ("mains_present", "stored_charge", "moving_mechanism")
# Minutes that a safer check may lose against the plan and still be preferred: about what a coin door takes to open.
# Common practice, no source.
TOLERANCE_MINUTES = 2.0
# A check that tells nothing loses just its own minutes, and a short one would always pass for as good. One that loses
# no more than this share of its minutes all but pays for itself. Common practice, no source.
UNPAID_SHARE = 0.25


@dataclass(frozen=True)
class ResidualLimit:
    """A published limit: the voltage left on parts, and the seconds after switching off in which it must be reached."""

    source: str
    volts: float
    seconds: float


# Read in summaries of the standards, not in the standards; the edition that binds a shop may say something else.
RESIDUAL_LIMITS = (
    ResidualLimit("IEC 60204-1, 6.2.4 (machinery)", 60.0, 5.0),
    ResidualLimit("NEC (NFPA 70) 460.6 (fixed capacitors up to 600 V)", 50.0, 60.0),
    ResidualLimit("California 8 CCR 2893 (high-voltage capacitors)", 50.0, 300.0),
)


@dataclass(frozen=True)
class SaferCheck:
    """A check that loses next to nothing and keeps clear of some of the hazards of the planned one."""

    choice: CheckChoice
    avoided: tuple[str, ...]


def discharge_seconds(volts: float, ohms: float, farads: float, safe_volts: float) -> float:
    """Seconds until a capacitor has fallen to `safe_volts` through a resistor; 0 when it is not above them.

    A figure for planning the wait, no proof: the resistor may be open. Measure before touching.

    Raises
    ------
    InputError
        When one of the four is not a number above 0.

    Notes
    -----
    V(t) = V0 exp(-t / RC), so t = RC ln(V0 / V).

    Examples
    --------
    >>> round(discharge_seconds(170.0, 100e3, 47e-6, 60.0), 3)
    4.895
    """
    for name, value in (("volts", volts), ("ohms", ohms), ("farads", farads), ("volts to reach", safe_volts)):
        if not (isfinite(value) and value > 0):
            raise InputError(f"{value:g} {name} cannot be reckoned with. Give a number above 0.")
    return max(0.0, ohms * farads * log(volts / safe_volts))


def cautions_for(check: Check, vocabulary: Vocabulary) -> tuple[str, ...]:
    """Cautions of one check in sentences, in the order in which the vocabulary lists its hazards."""
    return tuple(f"{vocabulary.hazards[code].name}: {vocabulary.hazards[code].note}" for code in check.hazards)


def grave_hazards(check: Check) -> frozenset[str]:
    """Those of `GRAVE_HAZARDS` that the check names."""
    return frozenset(check.hazards) & frozenset(GRAVE_HAZARDS)


def prefer_dead_machine(
    answer: PlanAnswer, vocabulary: Vocabulary, tolerance_minutes: float = TOLERANCE_MINUTES
) -> SaferCheck | None:
    """A check as good as the planned one that keeps clear of mains, stored charge or moving parts; None without one.

    A candidate loses at most `tolerance_minutes` and `UNPAID_SHARE` of its own; its grave hazards are some but not all
    of those of the planned check, and none besides. The one with the fewest wins, then the one that loses least.
    """
    if not answer.check:
        return None
    planned = grave_hazards(vocabulary.checks[answer.check])
    close = [
        choice
        for choice in answer.choices
        if choice.minutes_lost <= min(tolerance_minutes, UNPAID_SHARE * choice.minutes)
    ]
    safer = [choice for choice in close if grave_hazards(vocabulary.checks[choice.check]) < planned]
    if not safer:
        return None
    best = min(safer, key=lambda one: (len(grave_hazards(vocabulary.checks[one.check])), one.minutes_lost))
    avoided = planned - grave_hazards(vocabulary.checks[best.check])
    return SaferCheck(best, tuple(code for code in GRAVE_HAZARDS if code in avoided))
