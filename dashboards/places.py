"""Dates and numbers as they are written where the reader sits; the words stay in the language of the pages."""

from datetime import UTC, date, datetime
from functools import cache
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

import streamlit as st
from babel import Locale, UnknownLocaleError
from babel.dates import format_date, format_datetime
from babel.numbers import format_decimal

from dashboards.sentences import LANGUAGE


def say_number(value: float, *, digits: int = 0) -> str:
    """A number with so many digits after the comma: "1,234", "1.234" or "1 234"."""
    return str(
        format_decimal(round(value, digits), format=f"#,##0.{'0' * digits}" if digits else "#,##0", locale=_here())
    )


def say_date(day: date) -> str:
    """A day, "25 Nov 2026"."""
    return str(format_date(day, format="medium", locale=_here()))


def say_moment(moment: datetime) -> str:
    """A UTC instant by the reader's clock, "25 Nov 2026, 17:34"; in UTC, and called so, where that is not known."""
    zone = _zone()
    at = moment.replace(tzinfo=UTC).astimezone(zone or UTC)
    day, time = say_date(at.date()), format_datetime(at, format="short", locale=_here()).split(", ")[-1]
    return f"{day}, {time}" if zone else f"{day}, {time} UTC"


def counted(count: int, one: str, many: str = "") -> str:
    """A number with its noun: "1 ticket", "no tickets", "1,200 tickets"; `many` where -s is not enough."""
    if count == 1:
        return f"1 {one}"
    return f"{say_number(count) if count else 'no'} {many or f'{one}s'}"


def _zone() -> ZoneInfo | None:
    try:
        return ZoneInfo(st.context.timezone) if st.context.timezone else None
    except ZoneInfoNotFoundError:
        return None


def _here() -> Locale:
    return _locale(st.context.locale or "")


@cache
def _locale(asked: str) -> Locale:
    """The pages' language as written in the reader's country ("de-CH" reads English with Swiss numbers)."""
    territory = asked.replace("_", "-").split("-")[-1].upper()
    try:
        return Locale.parse(f"{LANGUAGE}_{territory}") if len(territory) == 2 and "-" in asked else _plain()
    except (UnknownLocaleError, ValueError):
        return _plain()


def _plain() -> Locale:
    return Locale.parse(f"{LANGUAGE}_GB") if LANGUAGE == "en" else Locale.parse(LANGUAGE)
