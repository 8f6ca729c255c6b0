"""Boards by the day they are likely fit, a line or two each: the mark of its word, its name, and the day."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

from markupsafe import Markup

from dashboards import by_date, display, marks
from dashboards.by_date import Due
from dashboards.yard_entries import DEFAULT_USE
from kiln.records import Word
from shared import tables


@dataclass(frozen=True)
class DueLine:
    """One board, and when it is likely fit."""

    name: str = field(metadata={"help": "What the board is called"})
    code: str = field(metadata={"help": "Its code"})
    word: str = field(metadata={"help": "The word of its verdict now"})
    key: str = field(metadata={"help": "That word as a style"})
    mark: Markup = field(metadata={"help": "The joint mark of that word"})
    when: str = field(metadata={"help": "The days, with the use where one was chosen; empty beside STOP and CAN'T SAY"})


def lines(due: Sequence[Due]) -> tuple[DueLine, ...]:
    """Return these boards as lines."""
    return tuple(_line(one) for one in due)


def _line(one: Due) -> DueLine:
    word = Word(one.word)
    return DueLine(one.name, one.code, one.word, marks.WORD_KEYS[word], marks.joint(word), _when(one))


def _when(one: Due) -> str:
    """Return the days in short: "by 9 Jan (8 in 10 by 10 Apr)"."""
    if one.likely == by_date.NO_DATE:
        return "" if one.word in (Word.STOP, Word.CANT_SAY) else by_date.NO_DATE
    days = one.likely if one.likely == one.surer else f"{one.likely} (8 in 10 {one.surer})"
    chosen = "" if one.use == tables.uses()[DEFAULT_USE].label else f"{one.use}: "
    return f"{chosen}{days}"


def first_due(due: Sequence[Due]) -> str:
    """Say how many are likely fit now, and which comes next."""
    now = sum(one.likely == "now" for one in due)
    dated = next((one for one in due if one.likely.startswith("by ")), None)
    told = [f"{now} now"] if now else []
    told += [f"{dated.name} {dated.likely}"] if dated else []
    return display.listed(told) or "none within a year"
