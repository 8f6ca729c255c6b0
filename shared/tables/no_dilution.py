"""Finishes for which air is no answer: isocyanates, what gives off formaldehyde, second parts, peroxides.

They are told by parts of names, whole words, beginnings of words, parts with up to two letters wrong, and CAS numbers.
A name that is caught wrongly does less harm than one that is missed.
"""

from __future__ import annotations

import re
import unicodedata
from dataclasses import dataclass
from functools import cache

from shared.errors import BadInput
from shared.tables.loading import rows
from shared.tables.substances import cas_numbers, is_cas_number

KINDS = ("part", "start", "word", "near", "cas")
LONGEST_WORDS = 3  # of a pattern of the kind "word"
WRONG_LETTERS = 2  # left out, put in or mistyped, in one of the kind "near"


@dataclass(frozen=True)
class NoDilution:
    """A group of ingredients for which no amount of air is worked out, and what is asked for instead."""

    group: str
    sentence: str
    source: str
    status: str


def no_dilution_group(text: str) -> NoDilution | None:
    """Return the group that a name or CAS number falls into, or None.

    Letters are compared without capitals, accents, spaces and hyphens, so that "poly-isocyanate" and "HDI trimer" are
    caught; "isocyanate-free" is caught too, and is for a person to decide.
    """
    numbers = set(cas_numbers(text))
    together, words = _plain(text)
    runs = {"".join(words[k : k + n]) for n in range(1, LONGEST_WORDS + 1) for k in range(len(words))}
    tests = {
        "cas": lambda pattern: pattern in numbers,
        "part": lambda pattern: pattern in together,
        "word": lambda pattern: pattern in runs,
        "near": lambda pattern: wrong_letters(pattern, together) <= WRONG_LETTERS,
        "start": lambda pattern: any(word.startswith(pattern) for word in words),
    }
    return next((found for kind, pattern, found in _patterns() if tests[kind](pattern)), None)


def wrong_letters(pattern: str, text: str) -> int:
    """Return how many letters of ``pattern`` are left out, put in or mistyped where ``text`` comes nearest to it."""
    row = [0] * (len(text) + 1)  # a match may begin anywhere
    for length, letter in enumerate(pattern, start=1):
        before, row = row, [length]
        for k, other in enumerate(text, start=1):
            row.append(min(before[k - 1] + (letter != other), before[k] + 1, row[k - 1] + 1))
    return min(row)


@cache
def _patterns() -> tuple[tuple[str, str, NoDilution], ...]:
    groups = {
        row["group"]: NoDilution(row["group"], row["sentence"], row["source"], row["status"])
        for row in rows("no_dilution")
        if row["sentence"]
    }
    return tuple(_pattern(number, row, groups) for number, row in enumerate(rows("no_dilution"), start=2))


def _pattern(number: int, row: dict[str, str], groups: dict[str, NoDilution]) -> tuple[str, str, NoDilution]:
    where = f"no_dilution.csv row {number}"
    if row["kind"] not in KINDS:
        raise BadInput(f"{where} kind", row["kind"], f"one of {', '.join(KINDS)}")
    if row["kind"] == "cas" and not is_cas_number(row["pattern"]):
        raise BadInput(f"{where} pattern", row["pattern"], "a CAS number whose last digit checks the others")
    if row["group"] not in groups:
        raise BadInput(f"{where} group", row["group"], "a group with its sentence in one row")
    pattern = row["pattern"] if row["kind"] == "cas" else _plain(row["pattern"])[0]
    if not pattern:
        raise BadInput(f"{where} pattern", row["pattern"], "something to look for")
    return row["kind"], pattern, groups[row["group"]]


def _plain(text: str) -> tuple[str, tuple[str, ...]]:
    """Return the letters and digits of a text, together and word by word."""
    apart = unicodedata.normalize("NFKD", text).casefold()
    bare = "".join(letter for letter in apart if not unicodedata.combining(letter))
    words = tuple(re.findall(r"[^\W_]+", bare))
    return "".join(words), words
