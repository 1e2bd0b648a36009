"""Dates and numbers by locale. Expected values: Unicode CLDR, as the babel package carries it."""

from datetime import date, datetime

import pytest
import streamlit as st

from dashboards import places


class Reader:
    """What a browser says of its reader."""

    def __init__(self, locale: str | None, timezone: str | None) -> None:
        self.locale, self.timezone = locale, timezone


@pytest.fixture
def reader(request: pytest.FixtureRequest, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(st, "context", Reader(*request.param))


@pytest.mark.parametrize(
    ("reader", "number", "day", "moment"),
    [
        (("en-GB", "Europe/London"), "12,345.6", "5 Nov 2026", "5 Nov 2026, 17:04"),
        (("de-DE", "Europe/Berlin"), "12.345,6", "5 Nov 2026", "5 Nov 2026, 18:04"),
        (("en-US", "America/New_York"), "12,345.6", "Nov 5, 2026", "Nov 5, 2026, 12:04\u202fPM"),
        (("xx", "Nowhere/Land"), "12,345.6", "5 Nov 2026", "5 Nov 2026, 17:04 UTC"),
        ((None, None), "12,345.6", "5 Nov 2026", "5 Nov 2026, 17:04 UTC"),
    ],
    indirect=["reader"],
)
@pytest.mark.usefixtures("reader")
def test_the_reader_meets_dates_and_numbers_as_at_home(number: str, day: str, moment: str) -> None:
    assert places.say_number(12345.6, digits=1) == number
    assert places.say_date(date(2026, 11, 5)) == day
    assert places.say_moment(datetime(2026, 11, 5, 17, 4)) == moment  # noqa: DTZ001 - instants of the store are UTC


@pytest.mark.parametrize("reader", [("de-CH", None)], indirect=True)
@pytest.mark.usefixtures("reader")
def test_counts_carry_their_noun() -> None:
    assert [places.counted(count, "ticket") for count in (0, 1, 5_088)] == ["no tickets", "1 ticket", "5’088 tickets"]
