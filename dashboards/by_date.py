"""Boards by the day on which they are as likely as not fit for their use."""

from __future__ import annotations

from dataclasses import dataclass, field

from dashboards import foretold
from dashboards.situation import BoardNow, Situation
from dashboards.yard_entries import DEFAULT_USE
from kiln.doubts import is_of_now
from kiln.records import Projection, Word
from shared import tables

NO_DATE = "no date now"
LATEST_MS = 2**62
# That the day is by the model alone: the word beside it also asks what was measured, and whether it is being harmed.
LEAD = (
    "The day on which each is as likely as not fit for its use, and the day by which 8 in 10 would be, if each stays "
    "where it is, or moves as planned. These days are by the forecast alone; the word beside them also goes by what "
    "was measured and by harm. What is STOP or CAN'T SAY has no day."
)


@dataclass(frozen=True)
class Due:
    """One board, and when it is likely fit."""

    name: str = field(metadata={"help": "What the board is called"})
    code: str = field(metadata={"help": "Its code"})
    use: str = field(metadata={"help": "What it is wanted for"})
    word: str = field(metadata={"help": "The word of its verdict now"})
    likely: str = field(metadata={"help": "The day on which it is as likely as not fit"})
    surer: str = field(metadata={"help": "The day by which 8 in 10 such boards would be"})


def boards(now: Situation) -> tuple[Due, ...]:
    """Return every board, the earliest first; those without a date last.

    A board whose projection is no longer of now has none: what was foretold from old air is not told as if of today.
    Nor has one that is STOP or CAN'T SAY: what is being harmed, or not known, is not on its way to a day.
    """
    return tuple(_due(one, now.now_ms) for one in sorted(now.boards, key=lambda one: _order(one, now.now_ms)))


def _order(board: BoardNow, now_ms: int) -> tuple[bool, int, int]:
    made = _dated(board, now_ms)
    if made is None:
        return True, LATEST_MS, LATEST_MS
    likely, surer, _ = made.ready_by_ms
    today = made.known_until_ms  # all that are fit by now are alike in that
    known = [LATEST_MS if one is None else max(one, today) for one in (likely, surer)]
    return False, known[0], known[1]


def _dated(board: BoardNow, now_ms: int) -> Projection | None:
    """Return the projection whose dates may be told; None of a board without one."""
    made = board.projection
    known = made is not None and is_of_now(made, now_ms) and board.verdict.word not in (Word.STOP, Word.CANT_SAY)
    return made if known else None


def _due(board: BoardNow, now_ms: int) -> Due:
    plan, made = board.plan, _dated(board, now_ms)
    use = tables.uses()[plan.use if plan else DEFAULT_USE].label
    likely, surer = NO_DATE, NO_DATE
    if made is not None:
        (_, likely), (_, surer), _ = foretold.dates_by_chance(made, now_ms)
    return Due(board.fact.name, board.subject.code, use, board.verdict.word.value, likely, surer)


def words(one: Due) -> str:
    """Return a board's dates as part of a sentence."""
    if one.likely != one.surer:
        return f"{one.likely} as likely as not, {one.surer} for 8 in 10"
    return f"{one.likely} for 8 in 10" if one.likely == "now" else one.likely
