"""What a finish told of that makes people ill or sets fire, and that a correction takes away: asked back, and told of.

Isocyanate, formaldehyde and a drying oil, by a tick or by the words of its name and ingredients.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise

from dashboards import data_sheet, display, fields, finish_versions
from shared.errors import BadInput
from shared.store.records import FinishFact
from shared.units import MS_PER_DAY

TOLD_DAYS = 30  # so long the page of a finish tells of it
FLAGS = data_sheet.WORDS_TELL
READ = "section 3 and 15 of its data sheet"


def ask_back(before: FinishFact, after: FinishFact, sure: data_sheet.Said) -> None:
    """Raise BadInput where a correction takes away what a finish told of, unless somebody has read its sheet."""
    gone = _gone(before, after)
    if gone and not fields.yes(sure):
        typed = data_sheet.sheet_says(getattr(finish_versions.as_judged(after), gone[0]))
        accepted = (
            f"yes, as it told of {FLAGS[gone[0]]} until now, unless you have read {READ} and say that it names none"
        )
        raise BadInput(FLAGS[gone[0]].removeprefix("a "), typed, accepted)


def lines(rows: Sequence[FinishFact], now_ms: int) -> tuple[str, ...]:
    """Say who took such a thing away in the last days, and that the sheet must be read: the newest first."""
    stood = finish_versions.newest_since(rows, now_ms - TOLD_DAYS * MS_PER_DAY)
    changes = [(one, _gone(before, one)) for before, one in pairwise(stood)]
    return tuple(
        f"It told of {display.listed([FLAGS[flag] for flag in gone])} until {one.entered_by} changed that at "
        f"{display.moment(one.entered_at_ms)}. Read {READ} before it is opened."
        for one, gone in reversed(changes)
        if gone
    )


def _gone(before: FinishFact, after: FinishFact) -> list[str]:
    told, now = finish_versions.as_judged(before), finish_versions.as_judged(after)
    return [flag for flag in FLAGS if getattr(told, flag) is True and getattr(now, flag) is not True]
