"""Lengths of time, in words."""

from __future__ import annotations

from datetime import UTC, datetime

from shared.units import MS_PER_DAY, MS_PER_MINUTE, MS_PER_S

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


def days_to(moment_ms: int | None, now_ms: int) -> int | None:
    """How many days lie ahead of a moment, never less than nought; None of one that does not come."""
    return None if moment_ms is None else max(0, round((moment_ms - now_ms) / MS_PER_DAY))


def month(moment_ms: int) -> str:
    """The month of a moment, by UTC."""
    return MONTHS[datetime.fromtimestamp(moment_ms / MS_PER_S, UTC).month - 1]
