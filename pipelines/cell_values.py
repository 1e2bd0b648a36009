"""Text of one cell -> date, year, minutes or choice; what cannot be one comes back as a sentence."""

import re
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from datetime import date
from typing import Any

import pandas as pd

# The oldest machines and tickets worth believing; the trade's machines are younger.
EARLIEST_YEAR = 1850
MOST_MINUTES = 10_000.0
DAY_FIRST, MONTH_FIRST = (3, 2, 1), (3, 1, 2)

_TIME = r"(?:[T ]+\d{1,2}:\d{2}\S*)?"
_ISO_DATE = re.compile(rf"(\d{{4}})[-/](\d{{1,2}})[-/](\d{{1,2}}){_TIME}")
_DOTTED_DATE = re.compile(rf"(\d{{1,2}})\. ?(\d{{1,2}})\. ?(\d{{4}}){_TIME}")
_SLASH_DATE = re.compile(rf"(\d{{1,2}})/(\d{{1,2}})/(\d{{4}}){_TIME}")
_YEAR = re.compile(r"(?:circa|ca|c|about|approx|around|~)?\.?\s*(\d{4})(?:\.0+)?\s*\??", re.IGNORECASE)
_NO_YEAR = re.compile(r"[?.\-–]*|unknown|unk|not known|n/?a|none", re.IGNORECASE)
_MINUTES = re.compile(r"(-?\d{1,9}(?:[.,]\d{1,20})?) ?(?:min(?:ute)?s?\.?)?", re.IGNORECASE)

# Value and "", or None and the sentence that says what is wrong.
Reading = tuple[Any, str]


@dataclass(frozen=True)
class DateReading:
    """How 03/04/2024 is read in one file: positions of year, month and day, and a note that says so ("" for none)."""

    slash_order: tuple[int, int, int]
    note: str


def find_date_reading(texts: Iterable[str]) -> DateReading:
    """Day or month first, decided by the dates of the file that can be read one way only; day first in doubt."""
    day_first, month_first, slashes = "", "", 0
    for text in texts:
        found = _SLASH_DATE.fullmatch(text)
        if found:
            slashes += 1
            day_first = text if int(found[1]) > 12 else day_first
            month_first = text if int(found[2]) > 12 else month_first
    if month_first and not day_first:
        return DateReading(MONTH_FIRST, f"Dates with / were read as month/day/year, as '{month_first}' shows.")
    if month_first:
        return DateReading(DAY_FIRST, f"Dates with / were read as day/month/year; '{month_first}' cannot be one.")
    if slashes and not day_first:
        return DateReading(DAY_FIRST, "Dates with / were read as day/month/year; no date in this file shows the order.")
    return DateReading(DAY_FIRST, "Dates with / were read as day/month/year." if slashes else "")


def date_reader(field: str, reading: DateReading, today: date) -> Callable[[str], Reading]:
    """Function from text to a date from `EARLIEST_YEAR` to today; blank is None."""

    def read(text: str) -> Reading:
        if not text:
            return None, ""
        day = _find_day(text, reading)
        if day is None:
            return None, f"{field} '{text}' is not a date. Write it like 2024-03-31, 31.03.2024 or 31/03/2024."
        if day > today:
            return None, f"{field} '{text}' is after today, {today.isoformat()}. Correct the date."
        if day.year < EARLIEST_YEAR:
            return None, f"{field} '{text}' is before {EARLIEST_YEAR}. Correct the date."
        return day, ""

    return read


def year_reader(today: date) -> Callable[[str], Reading]:
    """Function from text ("1962", "ca. 1962", "?") to a year or None."""

    def read(text: str) -> Reading:
        found = _YEAR.fullmatch(text)
        if found and EARLIEST_YEAR <= int(found[1]) <= today.year:
            return int(found[1]), ""
        if _NO_YEAR.fullmatch(text):
            return None, ""
        years = f"{EARLIEST_YEAR} to {today.year}"
        return None, f"built_year '{text}' is not a year from {years}. Write it like 1962, or leave it blank."

    return read


def read_minutes(text: str) -> Reading:
    """Minutes from 0 to `MOST_MINUTES`; blank is None."""
    if not text:
        return None, ""
    found = _MINUTES.fullmatch(text)
    if not found:
        return None, f"'{text}' is not a number of minutes. Write it like 12 or 12.5, or leave it blank."
    minutes = float(found[1].replace(",", "."))
    if not 0 <= minutes <= MOST_MINUTES:
        return None, f"{text} minutes are not possible. Allowed: 0 to {MOST_MINUTES:,.0f}."
    return minutes, ""


def choice_reader(field: str, allowed: tuple[str, ...]) -> Callable[[str], Reading]:
    """Function from text to one of `allowed`, whatever its case, blanks and hyphens; blank is None."""

    def read(text: str) -> Reading:
        code = re.sub(r"[\s_-]+", "_", text.casefold())
        if code in ("", *allowed):
            return code or None, ""
        return None, f"{field} '{text}' is not known. Allowed: {', '.join(allowed)}."

    return read


def read_distinct(texts: pd.Series, read: Callable[[str], Reading]) -> tuple[pd.Series, pd.Series]:
    """Values and sentences of a column, same index; each distinct text is read once."""
    readings = {text: read(text) for text in texts.unique()}
    values = texts.map({text: value for text, (value, _) in readings.items()}.get)
    return values, texts.map({text: sentence for text, (_, sentence) in readings.items()}.get)


def _find_day(text: str, reading: DateReading) -> date | None:
    orders = ((_ISO_DATE, (1, 2, 3)), (_DOTTED_DATE, DAY_FIRST), (_SLASH_DATE, reading.slash_order))
    for pattern, order in orders:
        found = pattern.fullmatch(text)
        if found:
            try:
                return date(*(int(found[at]) for at in order))
            except ValueError:
                return None
    return None
