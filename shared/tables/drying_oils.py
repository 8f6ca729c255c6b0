"""Drying oils by name: rags, pads and dust with them heat themselves and burn hours later.

They are told by their names and CAS numbers, as ``name_patterns`` does.
"""

from __future__ import annotations

from functools import cache

from shared.tables.loading import rows
from shared.tables.name_patterns import Pattern, Typed, pattern_of


def drying_oil(text: str) -> bool:
    """Return whether a name or CAS number tells of a drying oil; that it does not shows nothing."""
    typed = Typed(text)
    return any(pattern.tells(typed) for pattern in _patterns())


@cache
def _patterns() -> tuple[Pattern, ...]:
    return tuple(pattern_of(f"drying_oils.csv row {k}", row) for k, row in enumerate(rows("drying_oils"), start=2))
