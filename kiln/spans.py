"""Lengths of time, in words."""

from __future__ import annotations

from shared.units import MS_PER_MINUTE


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
