"""Rules of thumb and handbook ratios turned into priors: what a person knows before the tickets do."""

import math
from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
from scipy.optimize import brentq, minimize_scalar
from scipy.stats import beta

from analytics.errors import InputError

# What "surely between" is taken to mean: wrong once in twenty.
SURELY = 0.95
# Whoever knows more than this has tickets, not a rule of thumb.
MOST_TICKETS = 1000.0
# The interval and the stake are two ways to say one thing; nobody can say it closer than to a factor of two.
TOLERATED_FACTOR = 2.0


@dataclass(frozen=True)
class Rule:
    """What somebody says of a symptom: its suspect's share `best` of the tickets, surely between `low` and `high`,
    worth `tickets` tickets. Shares are from 0 to 1; None where nothing was said (then `tickets`, or the interval, is).
    """

    symptom: str
    suspect: str
    best: float
    low: float | None
    high: float | None
    tickets: float | None
    who: str = ""


def beta_from_rule(
    best: float, low: float | None, high: float | None, *, mass: float = SURELY, tickets: float | None
) -> tuple[float, float]:
    """Beta distribution of a share that is about `best`, surely between `low` and `high`, worth so many tickets.

    Parameters
    ----------
    best : most plausible share, 0 to 1
    low, high : the share lies between them with probability `mass`; both None when only `tickets` was said
    mass : what "surely" means
    tickets : how many tickets the rule is worth; None when only the interval was said. When both are said, they must
        agree within a factor of two, and the more modest one counts.

    Returns
    -------
    (a, b), both at least 1

    Raises
    ------
    InputError
        For a wish that cannot be met; the message names the nearest one that can.

    Notes
    -----
    Mode `best`: a = 1 + n best, b = 1 + n (1 - best), as if n tickets had been added to knowing nothing. The interval
    fixes n by P(low < share < high) = mass.

    Examples
    --------
    >>> a, b = beta_from_rule(0.8, 0.5, 0.95, tickets=None)
    >>> round(a, 2), round(b, 2), round(a + b - 2, 1)  # worth 9.8 tickets
    (8.84, 2.96, 9.8)
    """
    if not 0 <= best <= 1:
        raise InputError(f"About {_in_ten(best)} in 10 is not possible. Say a number from 0 to 10.")
    if tickets is not None and not 0 < tickets <= MOST_TICKETS:
        raise InputError(
            f"A rule cannot be worth {tickets:g} tickets. Allowed: more than 0, up to {MOST_TICKETS:g}; the nearest "
            f"possible is {1 if tickets <= 0 else MOST_TICKETS:g}."
        )
    if low is None or high is None:
        if tickets is None or low is not high:
            raise InputError("Say both ends of 'surely between', or what the rule is worth in tickets, or all three.")
        return _beta_worth(best, tickets)
    worth = _tickets_of_interval(best, low, high, mass=mass)
    if tickets is None:
        return _beta_worth(best, worth)
    if max(worth / tickets, tickets / worth) > TOLERATED_FACTOR:
        wish, told = _words(best, low, high), _ticket_words(worth)
        nearest = f"worth {told}, or surely between {_interval_worth(best, tickets, mass=mass)}"
        raise InputError(f"{wish}, is worth {told}, not {tickets:g}. The nearest possible: {nearest}.")
    return _beta_worth(best, min(worth, tickets))


def rule_priors(rules: Iterable[Rule]) -> tuple[tuple[str, str, float, float], ...]:
    """(symptom, suspect, a, b) of every rule: the suspect's share of the symptom's tickets is Beta(a, b).

    Raises
    ------
    InputError
        As `beta_from_rule`.
    """
    return tuple(
        (rule.symptom, rule.suspect, *beta_from_rule(rule.best, rule.low, rule.high, tickets=rule.tickets))
        for rule in rules
    )


def _beta_worth(best: float, tickets: float) -> tuple[float, float]:
    return 1.0 + tickets * best, 1.0 + tickets * (1.0 - best)


def _tickets_of_interval(best: float, low: float, high: float, *, mass: float) -> float:
    """Tickets n at which the Beta with that mode has the mass between low and high."""
    wish = _words(best, low, high)
    if not 0 <= low < high <= 1:
        raise InputError(f"{wish}, is not possible. Say two different numbers from 0 to 10, the smaller one first.")

    def excess(tickets: float) -> float:
        return float(np.diff(beta.cdf([low, high], *_beta_worth(best, tickets)))[0]) - mass

    if excess(0.0) >= 0:
        reason = "says nothing"
    elif not low <= best <= high:
        reason = "contradicts itself"
    elif excess(MOST_TICKETS) < 0:
        reason = "cannot be met: the ends are too near to what is most plausible"
    else:
        return float(brentq(excess, 0.0, MOST_TICKETS))
    tickets = _tickets_as_sure(best, high - low, mass=mass)
    nearest = f"{_interval_worth(best, tickets, mass=mass)}, worth {_ticket_words(tickets)}"
    raise InputError(f"{wish}, {reason}. The nearest possible: surely between {nearest}.")


def _tickets_as_sure(best: float, width: float, *, mass: float) -> float:
    """Tickets, from 1 to the most allowed, whose narrowest interval around `best` is about so wide."""

    def excess(log_tickets: float) -> float:
        low, high = _narrowest_interval(best, math.exp(log_tickets), mass=mass)
        return high - low - width

    if excess(0.0) <= 0:
        return 1.0
    most = math.log(MOST_TICKETS)
    return MOST_TICKETS if excess(most) >= 0 else math.exp(brentq(excess, 0.0, most))


def _narrowest_interval(best: float, tickets: float, *, mass: float) -> tuple[float, float]:
    """It always holds the mode; the interval with equal tails may not."""
    share = beta(*_beta_worth(best, tickets))
    tail = minimize_scalar(
        lambda tail: share.ppf(tail + mass) - share.ppf(tail), bounds=(0.0, 1.0 - mass), method="bounded"
    ).x
    return float(share.ppf(tail)), float(share.ppf(tail + mass))


def _interval_worth(best: float, tickets: float, *, mass: float) -> str:
    """The narrowest interval that so many tickets allow, in words, rounded outwards to tenths in ten."""
    low, high = _narrowest_interval(best, tickets, mass=mass)
    return f"{_in_ten(math.floor(100 * low) / 100)} and {_in_ten(math.ceil(100 * high) / 100)}"


def _words(best: float, low: float, high: float) -> str:
    return f"About {_in_ten(best)} in 10, surely between {_in_ten(low)} and {_in_ten(high)}"


def _in_ten(share: float) -> str:
    return f"{10 * share:.3g}"


def _ticket_words(tickets: float) -> str:
    return "1 ticket" if tickets == 1 else f"about {float(f'{tickets:.2g}'):g} tickets"
