"""Lengths of time, in words."""

from __future__ import annotations

from datetime import UTC, datetime

from shared.units import MS_PER_DAY, MS_PER_MINUTE, MS_PER_S

YEAR_DAYS = 365
NEAR_A_YEAR_DAYS = 7  # a forecast by weeks ends a day short of one
MONTHS = (
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


def days_words(count: int) -> str:
    """A number of days in words."""
    return "1 day" if count == 1 else f"{count} days"


def span_words(age_ms: float) -> str:
    """A length of time [ms] in words."""
    minutes = max(0.0, age_ms) / MS_PER_MINUTE
    if minutes < 1:
        return "less than a minute"
    if minutes < 90:
        return f"{minutes:.0f} min"
    if minutes < 48 * 60:
        return f"{minutes / 60:.0f} h"
    return f"{minutes / 1440:.0f} days"


def ahead_words(days: float) -> str:
    """How far is looked ahead, in words: a year, or so many days."""
    return "a year" if abs(days - YEAR_DAYS) <= NEAR_A_YEAR_DAYS else days_words(round(days))


def calendar_days(moment_ms: int, now_ms: int) -> int:
    """How many midnights of this machine's clock lie between now and a moment: Monday is two days from Saturday."""
    return (_local(moment_ms).date() - _local(now_ms).date()).days


def date_words(moment_ms: int, now_ms: int) -> str:
    """A moment's date as "24 Jan", by this machine's clock; with the year where it is not this one."""
    when = _local(moment_ms)
    short = f"{when.day} {MONTHS[when.month - 1][:3]}"
    return short if when.year == _local(now_ms).year else f"{short} {when.year}"


def _local(moment_ms: int) -> datetime:
    return datetime.fromtimestamp(moment_ms / MS_PER_S).astimezone()


def days_to(moment_ms: int | None, now_ms: int) -> int | None:
    """How many days lie ahead of a moment, never less than nought; None of one that does not come."""
    return None if moment_ms is None else max(0, round((moment_ms - now_ms) / MS_PER_DAY))


def month(moment_ms: int) -> str:
    """The month of a moment, by UTC."""
    return MONTHS[datetime.fromtimestamp(moment_ms / MS_PER_S, UTC).month - 1]
