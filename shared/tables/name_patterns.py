"""Telling what an ingredient may be by its name: parts of names, whole words, CAS numbers, as a table lists them.

A name that is caught wrongly does less harm than one that is missed: letters are compared without capitals, accents,
spaces and hyphens.
"""

from __future__ import annotations

import re
import unicodedata
from dataclasses import dataclass
from functools import cached_property

from shared.errors import BadInput
from shared.tables.substances import cas_numbers, is_cas_number

KINDS = ("part", "start", "word", "near", "cas")
LONGEST_WORDS = 3  # of a pattern of the kind "word"
WRONG_LETTERS = 2  # left out, put in or mistyped, in one of the kind "near"


@dataclass(frozen=True)
class Typed:
    """A name or number as somebody wrote it, as patterns are held against it."""

    text: str

    @cached_property
    def numbers(self) -> frozenset[str]:
        """The CAS numbers in it."""
        return frozenset(cas_numbers(self.text))

    @cached_property
    def words(self) -> tuple[str, ...]:
        """Its letters and digits, word by word."""
        apart = unicodedata.normalize("NFKD", self.text).casefold()
        return tuple(re.findall(r"[^\W_]+", "".join(one for one in apart if not unicodedata.combining(one))))

    @cached_property
    def together(self) -> str:
        """Its letters and digits without what parts them."""
        return "".join(self.words)

    @cached_property
    def runs(self) -> frozenset[str]:
        """Its words, and those that stand beside each other as one."""
        lengths = range(1, LONGEST_WORDS + 1)
        return frozenset("".join(self.words[k : k + n]) for n in lengths for k in range(len(self.words)))


@dataclass(frozen=True)
class Pattern:
    """One row of such a table."""

    kind: str
    plain: str  # letters and digits together; a CAS number as it is

    def tells(self, typed: Typed) -> bool:
        """Return whether it catches what somebody wrote."""
        if self.kind == "cas":
            return self.plain in typed.numbers
        if self.kind == "word":
            return self.plain in typed.runs
        if self.kind == "start":
            return any(word.startswith(self.plain) for word in typed.words)
        if self.kind == "near":
            return wrong_letters(self.plain, typed.together) <= WRONG_LETTERS
        return self.plain in typed.together


def pattern_of(where: str, row: dict[str, str]) -> Pattern:
    """Return the pattern of a row; ``where``: the row, as a refusal names it. Raises BadInput."""
    kind, written = row["kind"], row["pattern"]
    if kind not in KINDS:
        raise BadInput(f"{where} kind", kind, f"one of {', '.join(KINDS)}")
    if kind == "cas" and not is_cas_number(written):
        raise BadInput(f"{where} pattern", written, "a CAS number whose last digit checks the others")
    plain = written if kind == "cas" else Typed(written).together
    if not plain:
        raise BadInput(f"{where} pattern", written, "something to look for")
    return Pattern(kind, plain)


def wrong_letters(pattern: str, text: str) -> int:
    """Return how many letters of ``pattern`` are left out, put in or mistyped where ``text`` comes nearest to it."""
    row = [0] * (len(text) + 1)  # a match may begin anywhere
    for length, letter in enumerate(pattern, start=1):
        before, row = row, [length]
        for k, other in enumerate(text, start=1):
            row.append(min(before[k - 1] + (letter != other), before[k] + 1, row[k - 1] + 1))
    return min(row)
