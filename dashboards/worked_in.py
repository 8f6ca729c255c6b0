"""What is told while an entry is being worked in: when it was entered, and what was told last before it."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from kiln.doubts import MOMENT
from shared.store import Connection, verdicts
from shared.store.records import Fact
from shared.units import MS_PER_DAY

LOOKED_BACK_MS = 90 * MS_PER_DAY  # for what was told last; ours


def entered_ms(entries: object, after_ms: int) -> int | None:
    """Return when the newest of what is entered of a board was entered, if after its projection was made; else None.

    What was taken back stands no more, so that nothing tells when that was.
    """
    newest = max((one.entered_at_ms for one in _facts(vars(entries).values())), default=None)
    return newest if newest is not None and newest >= after_ms else None


def _facts(values: Iterable[object]) -> Iterator[Fact]:
    for value in values:
        if isinstance(value, Fact):
            yield value
        elif isinstance(value, list):
            yield from _facts(value)


def told_before(connection: Connection, subject_id: int, now_ms: int) -> str:
    """Return the word and number told last of a board or set but for such waiting: "READY, 7.9 %"; empty: none."""
    rows = verdicts.history(connection, subject_id, now_ms - LOOKED_BACK_MS)
    last = next((row for row in reversed(rows) if row.number != MOMENT), None)
    if last is None or not last.word:
        return ""
    return f"{last.word}, {last.number}" if last.number else last.word
