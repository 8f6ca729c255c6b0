"""Lengths of time as people count them: days by the calendar of this machine, not by 24 hours."""

import time
from datetime import datetime

import pytest

from kiln.spans import calendar_days, date_words


@pytest.fixture(params=["UTC", "Europe/Berlin", "Pacific/Auckland"])
def zone(request, monkeypatch):
    monkeypatch.setenv("TZ", request.param)
    time.tzset()
    yield
    monkeypatch.undo()
    time.tzset()


def ms(*when):
    return int(datetime(*when).astimezone().timestamp() * 1000)


@pytest.mark.parametrize("hour", [0, 9, 23])
def test_monday_is_two_days_from_saturday_at_any_hour_of_both(zone, hour):
    """28 November 2026 is a Saturday, 30 November a Monday (any calendar)."""
    for then in (0, 12, 23):
        assert calendar_days(ms(2026, 11, 30, then), ms(2026, 11, 28, hour, 39)) == 2


def test_a_date_names_its_year_only_where_it_is_another(zone):
    now = ms(2026, 11, 28, 12)
    assert date_words(ms(2026, 12, 8, 12), now) == "8 Dec"
    assert date_words(ms(2027, 1, 24, 12), now) == "24 Jan 2027"
