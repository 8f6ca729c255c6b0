"""Where a board or a stack is to be moved, and when: a plan for the forecast, not a position."""

from __future__ import annotations

from dashboards import display, entering, fields, planning
from dashboards.entering import Connection, Entered, Hand, hand
from shared.errors import BadInput, Refused
from shared.store import facts
from shared.store import records as r
from shared.store.records import SubjectKind

POSITIONS = {SubjectKind.BOARD: r.BoardPosition, SubjectKind.STACK: r.StackPosition}


def plan_move(
    connection: Connection,
    code: str,
    *,
    place: str,
    day: str | int | None,
    by: str,
    now_ms: int,
    kind: str = "board",
) -> Entered:
    """Say on which day ahead (typed, or UTC ms) a board or a stack is to be moved to a place.

    The plan that still lies ahead of it, if there is one, gives way to this one.
    """
    at = hand(connection, by, now_ms)
    if kind not in ("board", "stack"):
        raise BadInput("kind", kind, "board or stack")
    about = entering.board(connection, code)[0] if kind == "board" else entering.stack(connection, code)
    where = entering.open_place(connection, place)
    planned = Hand(connection, at.by, now_ms, fields.ahead_ms("day of the move", day, now_ms))
    before = _ahead(connection, about, now_ms)
    made = planned.write(r.PlannedMove, about, supersedes=before.id if before else None, place_id=where.id)
    instead = "" if before is None else f", instead of {_to(connection, before, now_ms)}"
    told = f"planned: {_to(connection, facts.get(connection, r.PlannedMove, made), now_ms)}{instead}"
    return Entered(about, "planned-move", made, f"{about.kind.value.capitalize()} {about.code}: {told}.")


def _ahead(connection: Connection, about: r.Subject, now_ms: int) -> r.PlannedMove | None:
    moves = facts.standing(connection, r.PlannedMove, about.id)
    return planning.ahead(moves, facts.standing(connection, POSITIONS[about.kind], about.id), now_ms)


def _to(connection: Connection, plan: r.PlannedMove, now_ms: int) -> str:
    names = {fact.subject_id: fact.name for fact in facts.standing(connection, r.PlaceFact)}
    return move_words(plan, names.get(plan.place_id, ""), now_ms)


def move_words(plan: r.PlannedMove, place_name: str, now_ms: int) -> str:
    """Return a planned move as the end of a sentence that begins with "planned:"."""
    return f"to {place_name} on {display.day_ahead(plan.true_at_ms, now_ms)}"


def refuse_planned_to(connection: Connection, place: r.Subject, now_ms: int) -> None:
    """Raise Refused, naming what is to go there, when a move to a place still lies ahead."""
    wanted = []
    for kind in POSITIONS:
        for one in entering.in_use(connection, kind):
            plan = _ahead(connection, one, now_ms)
            if plan is not None and plan.place_id == place.id:
                wanted.append(f"{kind} {one.code} on {display.day_ahead(plan.true_at_ms, now_ms)}")
    if wanted:
        raise Refused(f"Moves to the place {place.code} are planned: {', '.join(wanted)}; take those back first.")


def refuse_second(connection: Connection, about: r.Subject, entry: r.PlannedMove, now_ms: int) -> None:
    """Raise Refused when a plan that was taken back is put back while another lies ahead."""
    plan = _ahead(connection, about, now_ms)
    if entry.withdrawn and plan is not None:
        told = _to(connection, plan, now_ms)
        raise Refused(f"Another move of {about.kind} {about.code} is planned by now, {told}: take that back first.")
