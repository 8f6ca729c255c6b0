"""How much wood there is, net: at the sizes that boards have now, and at those that they came in."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from dashboards import display
from dashboards.situation import StackNow
from shared.store import Connection, Store, facts
from shared.store.records import BoardCut, BoardFact, Outcome, OutcomeKind

SAME_SHARE = 1e-6  # of a volume: what differs by less has not changed


@dataclass(frozen=True)
class Volume:
    """A board's net volume, and what it had when it came, or was sawn off another."""

    now_m3: float
    came_m3: float
    dry_thickness_m: float | None  # the measured thickness that it goes by; None: the sizes entered
    from_board_id: int | None  # the board that it was sawn off


def of_board(store: Store, board_id: int, now_ms: int) -> Volume:
    """Return a board's volume at ``now_ms`` (UTC ms)."""
    with store.reading() as connection:
        return _of(connection, board_id, now_ms)


def _of(connection: Connection, board_id: int, now_ms: int) -> Volume:
    sizes = facts.standing(connection, BoardFact, board_id)
    held = facts.at(sizes, now_ms) or sizes[0]
    dry_m = _dry_m(facts.standing(connection, Outcome, board_id), held, now_ms)
    sawn = [one.from_board_id for one in facts.standing(connection, BoardCut, board_id) if one.from_board_id]
    thick_m = held.thickness_m if dry_m is None else dry_m
    return Volume(thick_m * held.width_m * held.length_m, sizes[0].volume_m3, dry_m, sawn[0] if sawn else None)


def _dry_m(outcomes: Sequence[Outcome], held: BoardFact, now_ms: int) -> float | None:
    """The newest measured thickness of a board in the sizes that it has; None: none was measured."""
    since = [
        one.thickness_m
        for one in outcomes
        if one.kind is OutcomeKind.THICKNESS and held.true_at_ms <= one.true_at_ms <= now_ms
    ]
    return since[-1] if since else None


def board_words(found: Volume) -> str:
    """Say a board's net volume, and what it was where that has changed."""
    dry = found.dry_thickness_m
    by = "" if dry is None else f" by its measured thickness of {display.millimetres(dry)} mm"
    came = "sawn off another" if found.from_board_id is not None else "entered"
    was = f"; {display.volume(found.came_m3)} when it was {came}" if _changed(found.now_m3, found.came_m3) else ""
    return f"Net volume {display.volume(found.now_m3)}{by}{was}"


def stack_words(store: Store, stack: StackNow, now_ms: int) -> str:
    """Say the net volume of a stack's boards, and what it was where that has changed; empty without boards.

    A piece that was sawn off a board of the same stack came as a part of that.
    """
    if not stack.boards:
        return ""
    with store.reading() as connection:
        found = {one.subject.id: _of(connection, one.subject.id, now_ms) for one in stack.boards}
    now_m3 = sum(one.now_m3 for one in found.values())
    came_m3 = sum(one.came_m3 for one in found.values() if one.from_board_id not in found)
    was = f"; {display.volume(came_m3)} when they came" if _changed(now_m3, came_m3) else ""
    entered = " of those entered" if (stack.fact.boards_in_all or 0) > len(stack.boards) else ""
    return f"Net volume{entered} {display.volume(now_m3)}{was}"


def _changed(now_m3: float, came_m3: float) -> bool:
    return abs(now_m3 - came_m3) > SAME_SHARE * came_m3
