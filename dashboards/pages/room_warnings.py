"""Warnings of the finish rooms as a page shows them: the word, what it is about, what to do."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

from markupsafe import Markup

from dashboards import control_marks, display
from dashboards.page_warnings import Warning


@dataclass(frozen=True)
class WarningLine:
    """One warning."""

    key: str = field(metadata={"help": "Its word as a style: over, cant-say, not-shown"})
    mark: Markup = field(metadata={"help": "The mark of its word"})
    word: str = field(metadata={"help": "OVER, CAN'T SAY or NOT SHOWN TO BE UNDER CONTROL"})
    short: str = field(metadata={"help": "What and where, in a few words"})
    sentence: str = field(metadata={"help": "What it is about, where, and why"})
    doing: str = field(metadata={"help": "What to do"})
    to: str = field(metadata={"help": "Path of the page that tells more"})
    since: str = field(metadata={"help": "How long ago that began which it is about"})


def lines(found: Sequence[Warning], now_ms: int) -> tuple[WarningLine, ...]:
    """Return these warnings as lines, in their order."""
    return tuple(
        WarningLine(
            key=control_marks.KEYS[one.control],
            mark=control_marks.drawn(one.control),
            word=control_marks.WORDS[one.control],
            short=one.short,
            sentence=one.sentence,
            doing=one.what_to_do,
            to=one.path,
            since=display.age(one.at_ms, now_ms),
        )
        for one in found
    )
