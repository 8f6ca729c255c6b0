"""The three words for what can hurt someone: over, can't say, not shown to be under control. There is no fourth.

A reckoning can show that a limit is passed. That a room will hurt nobody is nothing that it can show: the most that it
leaves is "not shown to be under control".
"""

from __future__ import annotations

from enum import StrEnum


class Control(StrEnum):
    """What can be said of a hazard, the worst first."""

    OVER = "over"
    CANT_SAY = "can't say"
    NOT_SHOWN = "not shown to be under control"


WORST_FIRST = tuple(Control)


def worst(*controls: Control) -> Control:
    """Return the worst of some: over before can't say before not shown. Of none at all nothing can be said."""
    return min(controls, key=WORST_FIRST.index, default=Control.CANT_SAY)
