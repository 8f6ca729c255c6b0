"""Which entry says how a board lies at a moment, and which what is on its faces."""

from __future__ import annotations

from collections.abc import Sequence

from shared.store.records import BoardCoat, BoardPosition, BoardRest


def rest_at(rests: Sequence[BoardRest], positions: Sequence[BoardPosition], at_ms: int) -> BoardRest | None:
    """Return how a board lies at a moment (UTC ms); None: nobody said since it was last moved.

    ``rests`` and ``positions`` are the standing entries about one board, in order of the time they are true from.
    A move of its whole stack is not one of its ``positions`` and leaves it lying in the stack as it did.
    """
    said = next((one for one in reversed(rests) if one.true_at_ms <= at_ms), None)
    moved = next((one for one in reversed(positions) if one.true_at_ms <= at_ms), None)
    if said is None or (moved is not None and said.true_at_ms < moved.true_at_ms):
        return None
    return said


def coat_at(coats: Sequence[BoardCoat], at_ms: int) -> BoardCoat | None:
    """Return what is on a board's ends and faces at a moment (UTC ms); None: nobody said.

    ``coats`` are the standing entries about one board, in order of the time they are true from.
    """
    return next((one for one in reversed(coats) if one.true_at_ms <= at_ms), None)
