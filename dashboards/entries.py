"""Every act of a user, checked in one place for the web forms and the terminal alike.

Each function takes an open write transaction, what was typed (text or numbers), who enters it (``by``),
the time now and, where it matters, the time from which it is true (``true_at_ms``; None: now). It raises
BadInput or Refused with one sentence and leaves the store as it was; it returns what was entered, said
in a sentence. What is entered about a board's wood is in ``board_entries``, how it lies in ``lying_entries``,
what was planed or sawn off it in ``cutting_entries`` and ``sawing_entries``, what water came to it in
``water_entries``, what became of it in ``outcome_entries``, where it is to go in ``planning_entries``, what it is
wanted for in ``use_entries``, as which piece of a set in ``piece_entries`` and ``joint_entries``, out of which water in
``lifted_entries``, a verdict overridden in ``override_entries``, a limit of the yard's own in ``limit_entries``, a
place's usual months in ``climate_entries``, about instruments in ``instrument_entries``; all are offered here too.
"""

from __future__ import annotations

from typing import Any

from dashboards import entering, fields, planning_entries
from dashboards.board_entries import (
    add_board,
    add_oven_dry,
    add_pin_reading,
    add_weigh_in,
    correct_board,
    move_board,
)
from dashboards.climate_entries import say_climate
from dashboards.cutting_entries import plane_board, resaw_board
from dashboards.entering import Connection, Entered, hand
from dashboards.instrument_entries import add_bag_test, add_meter, add_meter_pair, check_hygrometer
from dashboards.joint_entries import add_joint
from dashboards.lifted_entries import say_lifted
from dashboards.limit_entries import set_limit
from dashboards.lying_entries import say_coat, say_rest
from dashboards.outcome_entries import add_outcome
from dashboards.override_entries import add_override
from dashboards.piece_entries import put_in_set
from dashboards.planning_entries import plan_move
from dashboards.regrouping import Into
from dashboards.sawing_entries import crosscut_board, rip_board, trim_board
from dashboards.undoing import UNDOABLE, puts_back, undo
from dashboards.use_entries import plan_use
from dashboards.water_entries import add_water
from shared.errors import BadInput, Refused
from shared.store import facts
from shared.store import records as r
from shared.store.records import SubjectKind

__all__ = [
    "UNDOABLE",
    "Entered",
    "Into",
    "add_bag_test",
    "add_board",
    "add_joint",
    "add_meter",
    "add_meter_pair",
    "add_outcome",
    "add_oven_dry",
    "add_override",
    "add_pin_reading",
    "add_place",
    "add_probe",
    "add_set",
    "add_stack",
    "add_water",
    "add_weigh_in",
    "change_place",
    "change_stack",
    "check_hygrometer",
    "close_place",
    "correct_board",
    "crosscut_board",
    "move_board",
    "move_probe",
    "move_stack",
    "name_probe",
    "plan_move",
    "plan_use",
    "plane_board",
    "put_in_set",
    "puts_back",
    "resaw_board",
    "rip_board",
    "say_climate",
    "say_coat",
    "say_lifted",
    "say_rest",
    "set_limit",
    "trim_board",
    "undo",
]

ALTITUDE_M = (-430.0, 5000.0)
AIR_SPEED_M_S = (0.0, 5.0)
TOPIC_LENGTH = 200
MOST_BOARDS = 100_000


def add_place(
    connection: Connection,
    code: str,
    *,
    by: str,
    now_ms: int,
    name: str = "",
    kind: str = "room",
    altitude_m: str | float = 0.0,
    air_speed_m_s: str | float | None = None,
    in_sun: bool = False,
    true_at_ms: int | None = None,
) -> Entered:
    """Enter a place with its own air: yard, shed, room, kiln or finish room; altitude in m.

    ``air_speed_m_s`` is what was measured over the wood (m/s; empty: not known), ``in_sun`` whether sun reaches it.
    """
    at = hand(connection, by, now_ms, true_at_ms)
    entering.checked_code(SubjectKind.PLACE, code)
    values = _place_values(name or code, kind, altitude_m, air_speed_m_s) | {"in_sun": in_sun}
    place = entering.new_subject(connection, SubjectKind.PLACE, code)
    made = at.write(r.PlaceFact, place, closed=False, **values)
    return Entered(place, "place", made, f"Place {place.code} is entered.")


def change_place(
    connection: Connection,
    code: str,
    *,
    by: str,
    now_ms: int,
    name: str,
    kind: str,
    altitude_m: str | float,
    air_speed_m_s: str | float | None = None,
    in_sun: bool | None = None,
) -> Entered:
    """Correct what a place is called and what it is, for the whole time since it was entered.

    None leaves the speed of its air (m/s; empty: not known) and its sun as they were.
    """
    place = facts.subject(connection, SubjectKind.PLACE, code)
    before = entering.described(connection, r.PlaceFact, place)
    at = hand(connection, by, now_ms, before.true_at_ms)
    speed = before.air_speed_m_s if air_speed_m_s is None else air_speed_m_s
    values = _place_values(name, kind, altitude_m, speed)
    values["in_sun"] = before.in_sun if in_sun is None else in_sun
    made = at.write(r.PlaceFact, place, supersedes=before.id, closed=before.closed, **values)
    return Entered(place, "place", made, f"Place {place.code} is corrected.")


def _place_values(name: str, kind: str, altitude_m: str | float, air_speed_m_s: str | float | None) -> dict[str, Any]:
    known = air_speed_m_s is not None and str(air_speed_m_s).strip() != ""
    return {
        "name": fields.text("name", name, entering.NAME_LENGTH, needed=True),
        "kind": fields.choice("kind of place", kind, r.PlaceKind),
        "altitude_m": fields.number("altitude", altitude_m, *ALTITUDE_M, "m"),
        "air_speed_m_s": fields.number("speed of the air", air_speed_m_s, *AIR_SPEED_M_S, "m/s") if known else None,
    }


def close_place(connection: Connection, code: str, *, by: str, now_ms: int) -> Entered:
    """Close a place; raises Refused, naming what is there, while a probe, stack or board is still in it."""
    place = facts.subject(connection, SubjectKind.PLACE, code)
    before = entering.described(connection, r.PlaceFact, place)
    at = hand(connection, by, now_ms)
    if before.closed:
        raise Refused(f"The place {place.code} is closed already.")
    entering.refuse_in_use(place, entering.contents(connection, place, now_ms))
    planning_entries.refuse_planned_to(connection, place, now_ms)
    made = at.write(r.PlaceFact, place, **facts.own_values(before) | {"closed": True})
    return Entered(place, "place", made, f"Place {place.code} is closed; its history stays.")


def add_probe(
    connection: Connection,
    code: str,
    *,
    topic: str,
    by: str,
    now_ms: int,
    name: str = "",
    place: str = "",
    true_at_ms: int | None = None,
) -> Entered:
    """Enter a probe before it is first heard: the topic that it publishes on, and its place if it has one."""
    at = hand(connection, by, now_ms, true_at_ms)
    entering.checked_code(SubjectKind.PROBE, code)
    listened = _topic(connection, topic)
    named = fields.text("name", name or code, entering.NAME_LENGTH, needed=True)
    where = entering.open_place(connection, place) if place.strip() else None
    probe = entering.new_subject(connection, SubjectKind.PROBE, code)
    made = at.write(r.ProbeFact, probe, name=named, topic=listened)
    if where is not None:
        at.write(r.ProbePosition, probe, place_id=where.id)
    return Entered(probe, "probe", made, f"Probe {probe.code} is entered.")


def _topic(connection: Connection, typed: str) -> str:
    topic = fields.text("topic", typed, TOPIC_LENGTH, needed=True)
    if "+" in topic or "#" in topic or topic.startswith("$"):
        raise BadInput("topic", topic, "one probe's topic, such as workshop/shed/air, without + or #")
    for fact in facts.standing(connection, r.ProbeFact):
        if fact.topic == topic:
            raise Refused(f"The probe {fact.name} already publishes on {topic}; place that one instead.")
    return topic


def name_probe(connection: Connection, code: str, *, name: str, by: str, now_ms: int) -> Entered:
    """Correct what a probe is called."""
    probe = facts.subject(connection, SubjectKind.PROBE, code)
    before = entering.described(connection, r.ProbeFact, probe)
    at = hand(connection, by, now_ms, before.true_at_ms)
    named = fields.text("name", name, entering.NAME_LENGTH, needed=True)
    made = at.write(r.ProbeFact, probe, supersedes=before.id, name=named, topic=before.topic)
    return Entered(probe, "probe", made, f"Probe {probe.code} is now called {named}.")


def move_probe(
    connection: Connection, code: str, *, place: str, by: str, now_ms: int, true_at_ms: int | None = None
) -> Entered:
    """Say where a probe measures from a moment on, now or back in its history; an empty place: nowhere.

    A move entered for the past counts from then until the next move already entered.
    """
    at = hand(connection, by, now_ms, true_at_ms)
    probe = facts.subject(connection, SubjectKind.PROBE, code)
    where = entering.open_place(connection, place) if place.strip() else None
    made = at.write(r.ProbePosition, probe, place_id=None if where is None else where.id)
    told = "in no place" if where is None else f"in {where.code}"
    return Entered(probe, "probe-move", made, f"Probe {probe.code} is {told}.")


def add_stack(
    connection: Connection,
    code: str,
    *,
    place: str,
    by: str,
    now_ms: int,
    name: str = "",
    note: str = "",
    boards_in_all: str | int | None = None,
    true_at_ms: int | None = None,
) -> Entered:
    """Enter a stack, the place it stands in, and how many boards lie in it (empty: those that are entered)."""
    at = hand(connection, by, now_ms, true_at_ms)
    entering.checked_code(SubjectKind.STACK, code)
    where = entering.open_place(connection, place)
    named = fields.text("name", name or code, entering.NAME_LENGTH, needed=True)
    noted = fields.text("note", note, entering.NOTE_LENGTH)
    in_all = _boards_in_all(boards_in_all, 0)
    stack = entering.new_subject(connection, SubjectKind.STACK, code)
    made = at.write(r.StackFact, stack, name=named, note=noted, boards_in_all=in_all)
    at.write(r.StackPosition, stack, place_id=where.id)
    return Entered(stack, "stack", made, f"Stack {stack.code} stands in {where.code}.")


def change_stack(
    connection: Connection,
    code: str,
    *,
    by: str,
    now_ms: int,
    name: str | None = None,
    note: str | None = None,
    boards_in_all: str | int | None = None,
) -> Entered:
    """Correct what a stack is called and how many boards lie in it (empty: those that are entered).

    None leaves each of them as it was.
    """
    stack = entering.stack(connection, code)
    before = entering.described(connection, r.StackFact, stack)
    at = hand(connection, by, now_ms, before.true_at_ms)
    inside = len(entering.contents(connection, stack, now_ms))
    values = {
        "name": before.name if name is None else fields.text("name", name, entering.NAME_LENGTH, needed=True),
        "note": before.note if note is None else fields.text("note", note, entering.NOTE_LENGTH),
        "boards_in_all": before.boards_in_all if boards_in_all is None else _boards_in_all(boards_in_all, inside),
    }
    made = at.write(r.StackFact, stack, supersedes=before.id, **values)
    return Entered(stack, "stack", made, f"Stack {stack.code} is corrected.")


def _boards_in_all(typed: str | int | None, inside: int) -> int | None:
    if typed is None or str(typed).strip() == "":
        return None
    least = max(inside, 1)
    why = f"in a whole number, since {inside} of them are entered" if inside else "in a whole number"
    number = fields.number("boards in all", typed, least, MOST_BOARDS, why)
    if number != int(number):
        raise BadInput("boards in all", typed, f"{least} to {MOST_BOARDS} {why}")
    return int(number)


def move_stack(
    connection: Connection, code: str, *, place: str, by: str, now_ms: int, true_at_ms: int | None = None
) -> Entered:
    """Say where a stack, with every board in it, stands from a moment on."""
    at = hand(connection, by, now_ms, true_at_ms)
    stack = entering.stack(connection, code)
    where = entering.open_place(connection, place)
    made = at.write(r.StackPosition, stack, place_id=where.id)
    return Entered(stack, "stack-move", made, f"Stack {stack.code} stands in {where.code}.")


def add_set(
    connection: Connection,
    code: str,
    *,
    by: str,
    now_ms: int,
    name: str = "",
    note: str = "",
    true_at_ms: int | None = None,
) -> Entered:
    """Enter a matched set; its pieces are boards put into it afterwards."""
    at = hand(connection, by, now_ms, true_at_ms)
    entering.checked_code(SubjectKind.SET, code)
    named = fields.text("name", name or code, entering.NAME_LENGTH, needed=True)
    noted = fields.text("note", note, entering.NOTE_LENGTH)
    made_set = entering.new_subject(connection, SubjectKind.SET, code)
    made = at.write(r.SetFact, made_set, name=named, note=noted)
    return Entered(made_set, "set", made, f"Set {made_set.code} is entered; now put its pieces into it.")
