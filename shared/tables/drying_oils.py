"""Drying oils by name: rags, pads and dust with them heat themselves and burn hours later.

They are told by parts of names, whole words and CAS numbers, as ``no_dilution`` tells its groups: a name that is caught
wrongly does less harm than one that is missed.
"""

from __future__ import annotations

import re
import unicodedata
from dataclasses import dataclass
from functools import cache

from shared.errors import BadInput
from shared.tables.loading import rows
from shared.tables.substances import cas_numbers, folded, is_cas_number

KINDS = ("part", "word", "cas")


@dataclass(frozen=True)
class DryingOil:
    """By which word or number a drying oil was told."""

    word: str
    source: str
    status: str


def drying_oil(text: str) -> DryingOil | None:
    """Return by what a name or CAS number tells of a drying oil; None: it does not, which shows nothing."""
    together, numbers = folded(text), set(cas_numbers(text))
    words = set(re.findall(r"[^\W_]+", unicodedata.normalize("NFKC", text).casefold()))
    for kind, pattern, found in _patterns():
        held = {"part": pattern in together, "word": pattern in words, "cas": pattern in numbers}
        if held[kind]:
            return found
    return None


@cache
def _patterns() -> tuple[tuple[str, str, DryingOil], ...]:
    return tuple(_pattern(number, row) for number, row in enumerate(rows("drying_oils"), start=2))


def _pattern(number: int, row: dict[str, str]) -> tuple[str, str, DryingOil]:
    where = f"drying_oils.csv row {number}"
    kind, word = row["kind"], row["pattern"]
    if kind not in KINDS:
        raise BadInput(f"{where} kind", kind, f"one of {', '.join(KINDS)}")
    if kind == "cas" and not is_cas_number(word):
        raise BadInput(f"{where} pattern", word, "a CAS number whose last digit checks the others")
    pattern = word if kind == "cas" else folded(word)
    if not pattern:
        raise BadInput(f"{where} pattern", word, "something to look for")
    return kind, pattern, DryingOil(word, row["source"], row["status"])
