"""What bears on the verdict of a board or a set and was entered about it: overrides, its lifting, its joints."""

from __future__ import annotations

from dataclasses import dataclass

from shared.store import Connection, Store, facts
from shared.store.records import Joint, Lifted, Override, Subject, SubjectKind


@dataclass(frozen=True)
class BoardSaid:
    """Of a board: who went ahead whatever the verdict, and how it came out of the water; in order of time."""

    overrides: list[Override]
    liftings: list[Lifted]


@dataclass(frozen=True)
class JointSaid:
    """A joint with the codes of its two boards."""

    joint: Joint
    a: str
    b: str


@dataclass(frozen=True)
class SetSaid:
    """Of a set: who went ahead whatever the verdict, and its joints; in order of time."""

    overrides: list[Override]
    joints: list[JointSaid]


NOTHING_OF_A_BOARD = BoardSaid([], [])
NOTHING_OF_A_SET = SetSaid([], [])


def of_board(store: Store, board: Subject) -> BoardSaid:
    """Read what was said of a board."""
    with store.reading() as connection:
        overrides = facts.standing(connection, Override, board.id)
        return BoardSaid(overrides, facts.standing(connection, Lifted, board.id))


def of_set(store: Store, matched: Subject) -> SetSaid:
    """Read what was said of a set."""
    with store.reading() as connection:
        return SetSaid(facts.standing(connection, Override, matched.id), joints(connection, matched))


def joints(connection: Connection, matched: Subject) -> list[JointSaid]:
    """Return the joints of a set that stand."""
    codes = {one.id: one.code for one in facts.subjects(connection, SubjectKind.BOARD)}
    found = facts.standing(connection, Joint, matched.id)
    return [JointSaid(one, codes[one.a_board_id], codes[one.b_board_id]) for one in found]
