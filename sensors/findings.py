"""What the doctor says: one sentence, and one remedy."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum


class Level(StrEnum):
    """How much a finding matters."""

    FINE = "fine"
    CARE = "care"  # it works, and something can be lost or seen by others
    WRONG = "wrong"  # readings are being lost, or would be


@dataclass(frozen=True)
class Finding:
    """One thing that was looked at: what was found, and what mends it; nothing to mend: an empty remedy."""

    level: Level
    sentence: str
    remedy: str = ""


def time_words(days: float) -> str:
    """Return a length of time in days as text, in the unit that suits it."""
    if days * 24 < 2:
        return f"{max(1, round(days * 1440))} minutes"
    if days < 3:
        return f"{days * 24:.0f} hours"
    if days < 2 * 365:
        return f"{days:.0f} days"
    return f"{days / 365:.0f} years"
