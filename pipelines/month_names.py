"""Months by number (January of year 0 = 0): their days, first day and names."""

from datetime import date

import numpy as np

from analytics.arrivals import MONTHS, Months

NAMES = (
    "January",
    "February",
    "March",
    "April",
    "May",
    "June",
    "July",
    "August",
    "September",
    "October",
    "November",
    "December",
)


def calendar_months(at: np.ndarray) -> Months:
    """Whole months by number (January of year 0 = 0)."""
    edges = np.append(at, at[-1] + 1) - 1970 * MONTHS
    days = np.diff(edges.astype("datetime64[M]").astype("datetime64[D]")).astype(int)
    return Months(np.asarray(at, dtype=int), days)


def one_month(months: Months, k: int) -> Months:
    """One of them."""
    return Months(months.number[k : k + 1], months.days[k : k + 1])


def first_day(at: int) -> date:
    """First day of a month by number."""
    return date(at // MONTHS, at % MONTHS + 1, 1)


def month_name(at: int) -> str:
    """ "2026-11", which sorts and reads alike everywhere."""
    return f"{at // MONTHS}-{at % MONTHS + 1:02d}"


def span(months: Months) -> str:
    """ "November 2026 to January 2027"."""
    return " to ".join(f"{NAMES[int(at) % MONTHS]} {int(at) // MONTHS}" for at in (months.number[0], months.number[-1]))
