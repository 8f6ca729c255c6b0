"""Warnings of the finish rooms as a page shows them: the word, where, what to do; then what each is about.

Warnings that ask for the same are one line, so that of several rooms the first screen tells which, and what to do.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

from markupsafe import Markup

from dashboards import control_marks, display
from dashboards.page_warnings import Warning
from kiln.sentences import capital

MORE = {
    "vapour": "its limits, over time",
    "surface": "surface and dew point",
    "devices": "say that it is so",
    "rags": "what to do with them",
    "taken back": "what was sprayed",
}


@dataclass(frozen=True)
class About:
    """What one warning is about."""

    short: str = field(metadata={"help": "What and where, in a few words"})
    sentence: str = field(metadata={"help": "What it is about, where, and why"})
    then: str = field(metadata={"help": "What is tested, and from when on at the earliest; empty: nothing of the kind"})
    to: str = field(metadata={"help": "Path of the page that tells more"})
    more: str = field(metadata={"help": "What that page tells"})
    since: str = field(metadata={"help": "How long ago that began which it is about"})


@dataclass(frozen=True)
class WarningLine:
    """One warning, or several of one word that ask for the same."""

    key: str = field(metadata={"help": "Its word as a style: over, cant-say, not-shown"})
    mark: Markup = field(metadata={"help": "The mark of its word"})
    word: str = field(metadata={"help": "OVER, CAN'T SAY or NOT SHOWN TO BE UNDER CONTROL"})
    where: str = field(metadata={"help": "What and where, of all of them"})
    acts: tuple[str, ...] = field(metadata={"help": "What to do, the first thing first"})
    about: tuple[About, ...] = field(metadata={"help": "What each is about"})


def lines(found: Sequence[Warning], now_ms: int) -> tuple[WarningLine, ...]:
    """Return these warnings as lines, in their order; those that ask for the same stand with the first of them."""
    alike: dict[tuple[object, ...], list[Warning]] = {}
    for one in found:
        alike.setdefault((one.control, one.kind, one.acts), []).append(one)
    return tuple(_line(some, now_ms) for some in alike.values())


def _line(some: Sequence[Warning], now_ms: int) -> WarningLine:
    first = some[0]
    return WarningLine(
        key=control_marks.KEYS[first.control],
        mark=control_marks.drawn(first.control),
        word=control_marks.WORDS[first.control],
        where=capital(display.listed(list(dict.fromkeys(one.short for one in some)))),
        acts=first.acts,
        about=tuple(_about(one, now_ms) for one in some),
    )


def _about(one: Warning, now_ms: int) -> About:
    more = f"{capital(one.short)}: {MORE[one.kind]}"
    return About(one.short, one.sentence, one.then, one.path, more, display.age(one.at_ms, now_ms))
