"""Finishes for which air is no answer: isocyanates, what gives off formaldehyde, second parts, peroxides.

They are told by their names and CAS numbers, as ``name_patterns`` does.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

from shared.errors import BadInput
from shared.tables.loading import rows
from shared.tables.name_patterns import Pattern, Typed, pattern_of


@dataclass(frozen=True)
class NoDilution:
    """A group of ingredients for which no amount of air is worked out, and what is asked for instead."""

    group: str
    sentence: str
    source: str
    status: str


def no_dilution_group(text: str) -> NoDilution | None:
    """Return the group that a name or CAS number falls into, or None.

    "poly-isocyanate" and "HDI trimer" are caught; "isocyanate-free" is caught too, and is for a person to decide.
    """
    typed = Typed(text)
    return next((found for pattern, found in _patterns() if pattern.tells(typed)), None)


@cache
def _patterns() -> tuple[tuple[Pattern, NoDilution], ...]:
    groups = {
        row["group"]: NoDilution(row["group"], row["sentence"], row["source"], row["status"])
        for row in rows("no_dilution")
        if row["sentence"]
    }
    return tuple(
        _pattern(f"no_dilution.csv row {k}", row, groups) for k, row in enumerate(rows("no_dilution"), start=2)
    )


def _pattern(where: str, row: dict[str, str], groups: dict[str, NoDilution]) -> tuple[Pattern, NoDilution]:
    if row["group"] not in groups:
        raise BadInput(f"{where} group", row["group"], "a group with its sentence in one row")
    return pattern_of(where, row), groups[row["group"]]
