"""Which planned moves still lie ahead, which were done, and which were never carried out."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from shared.store.records import BoardPosition, PlannedMove, StackPosition

Positions = Sequence[BoardPosition] | Sequence[StackPosition]


@dataclass(frozen=True)
class PlanTold:
    """A planned move, whether it still lies ahead, and when it was carried out (UTC ms); None: it was not."""

    move: PlannedMove
    ahead: bool
    done_ms: int | None


def told(moves: Sequence[PlannedMove], positions: Positions, now_ms: int) -> list[PlanTold]:
    """Return the standing plans of one board or stack in order of their moments, each as it stands at ``now_ms``.

    ``positions`` are the standing positions of the same board or stack. A plan is carried out by the first move to
    its place that is true from after the plan was entered on, be it before or after the day that was planned.
    """
    found = []
    for one in moves:
        done_ms = next((at.true_at_ms for at in positions if _carries_out(at, one, now_ms)), None)
        found.append(PlanTold(one, one.true_at_ms > now_ms and done_ms is None, done_ms))
    return found


def _carries_out(position: BoardPosition | StackPosition, plan: PlannedMove, now_ms: int) -> bool:
    return position.place_id == plan.place_id and plan.entered_at_ms <= position.true_at_ms <= now_ms


def ahead(moves: Sequence[PlannedMove], positions: Positions, now_ms: int) -> PlannedMove | None:
    """Return the next planned move of one board or stack that still lies ahead at ``now_ms`` (UTC ms)."""
    return next((one.move for one in told(moves, positions, now_ms) if one.ahead), None)
