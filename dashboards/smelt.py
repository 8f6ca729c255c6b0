"""What wood out of the water smelt of, told where bare hands take hold of it: tar and what may be a gas that poisons.

A board sawn from a log smells of what its log did.
"""

from __future__ import annotations

from collections.abc import Sequence

from dashboards import display
from dashboards.situation import BoardNow
from kiln import reclaimed
from kiln.sentences import lower

TAR_AT_HAND = "Do not saw it until you have asked your authority; never indoors. Gloves."
FOUL_IS = "It smelt sour or sulphurous, and that gas can poison."
FOUL_AT_HAND = f"{FOUL_IS} {reclaimed.OUT_FIRST}"
TAR_SHORT, FOUL_SHORT = "Tar: gloves, no saw.", "Foul smell: nobody goes in alone."
NAMES = {reclaimed.FOUL_TOPIC: "Foul smell", reclaimed.TAR_TOPIC: "Tar"}  # the more pressing first
AT_HAND = {reclaimed.FOUL_TOPIC: FOUL_AT_HAND, reclaimed.TAR_TOPIC: TAR_AT_HAND}
SHORT = {reclaimed.FOUL_TOPIC: FOUL_SHORT, reclaimed.TAR_TOPIC: TAR_SHORT}


def topics(board: BoardNow) -> tuple[str, ...]:
    """Return the cautions that a board's smell calls for, by topic, the most pressing first; empty: none."""
    found = board.triage.topics if board.triage is not None else ()
    return tuple(topic for topic in NAMES if topic in found)


def in_short(board: BoardNow) -> str:
    """Return it for a list, in a few words; empty: it smelt of neither, or nobody said."""
    return " ".join(SHORT[topic] for topic in topics(board))


def by_topic(boards: Sequence[BoardNow]) -> dict[str, list[BoardNow]]:
    """Return the boards that each smell is told of, the most pressing first; a smell of none is absent."""
    found = {topic: [board for board in boards if topic in topics(board)] for topic in NAMES}
    return {topic: some for topic, some in found.items() if some}


def names(boards: Sequence[BoardNow]) -> str:
    """Name some boards, the first few of many."""
    return display.first_few([board.fact.name for board in boards])


def of_stack(boards: Sequence[BoardNow]) -> tuple[tuple[str, str], ...]:
    """Return name and sentence for a stack, once for each smell among its boards."""
    return tuple((NAMES[topic], f"{names(some)}: {lower(AT_HAND[topic])}") for topic, some in by_topic(boards).items())
