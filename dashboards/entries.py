"""Every act of a user, checked in one place for the web forms and the terminal alike.

Each function takes an open write transaction, what was typed (text or numbers), who enters it (``by``),
the time now and, where it matters, the time from which it is true (``true_at_ms``; None: now). It raises
BadInput or Refused with one sentence and leaves the store as it was; it returns what was entered, said
in a sentence. What is entered about a board's wood is in ``board_entries`` and offered here too.
"""

from __future__ import annotations

from typing import Any

from dashboards import entering, fields
from dashboards.board_entries import (
    add_board,
    add_oven_dry,
    add_pin_reading,
    add_weigh_in,
    correct_board,
    move_board,
    plan_use,
)
from dashboards.entering import Connection, Entered, hand
from shared.errors import BadInput, Refused
from shared.store import facts
from shared.store import records as r
from shared.store.records import Subject, SubjectKind

__all__ = [
    "UNDOABLE",
    "Entered",
    "add_board",
    "add_oven_dry",
    "add_pin_reading",
    "add_place",
    "add_probe",
    "add_set",
    "add_stack",
    "add_weigh_in",
    "change_place",
    "close_place",
    "correct_board",
    "move_board",
    "move_probe",
    "move_stack",
    "name_probe",
    "plan_use",
    "put_in_set",
    "undo",
]

ALTITUDE_M = (-430.0, 5000.0)
TOPIC_LENGTH = 200
UNDOABLE: dict[str, type[r.Fact]] = {
    "place": r.PlaceFact,
    "probe": r.ProbeFact,
    "probe-move": r.ProbePosition,
    "stack": r.StackFact,
    "stack-move": r.StackPosition,
    "set": r.SetFact,
    "board": r.BoardFact,
    "board-move": r.BoardPosition,
    "set-member": r.SetMember,
    "weigh-in": r.WeighIn,
    "pin": r.PinReading,
    "oven-dry": r.OvenDryResult,
    "use": r.UsePlan,
}

SPOKEN = {  # how an entry is called where its kind alone would not be understood
    "place": "description",
    "probe": "description",
    "stack": "description",
    "set": "description",
    "board": "description",
    "probe-move": "move",
    "stack-move": "move",
    "board-move": "move",
    "set-member": "place in a set",
    "pin": "pin reading",
    "oven-dry": "oven-dried section",
    "use": "wanted use",
}


def add_place(
    connection: Connection,
    code: str,
    *,
    by: str,
    now_ms: int,
    name: str = "",
    kind: str = "room",
    altitude_m: str | float = 0.0,
    true_at_ms: int | None = None,
) -> Entered:
    """Enter a place with its own air: yard, shed, room, kiln or finish room; altitude in m."""
    at = hand(connection, by, now_ms, true_at_ms)
    entering.checked_code(SubjectKind.PLACE, code)
    values = _place_values(name or code, kind, altitude_m)
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
) -> Entered:
    """Correct what a place is called and what it is, for the whole time since it was entered."""
    place = facts.subject(connection, SubjectKind.PLACE, code)
    before = entering.described(connection, r.PlaceFact, place)
    at = hand(connection, by, now_ms, before.true_at_ms)
    values = _place_values(name, kind, altitude_m)
    made = at.write(r.PlaceFact, place, supersedes=before.id, closed=before.closed, **values)
    return Entered(place, "place", made, f"Place {place.code} is corrected.")


def _place_values(name: str, kind: str, altitude_m: str | float) -> dict[str, Any]:
    return {
        "name": fields.text("name", name, entering.NAME_LENGTH, needed=True),
        "kind": fields.choice("kind of place", kind, r.PlaceKind),
        "altitude_m": fields.number("altitude", altitude_m, *ALTITUDE_M, "m"),
    }


def close_place(connection: Connection, code: str, *, by: str, now_ms: int) -> Entered:
    """Close a place; raises Refused, naming what is there, while a probe, stack or board is still in it."""
    place = facts.subject(connection, SubjectKind.PLACE, code)
    before = entering.described(connection, r.PlaceFact, place)
    at = hand(connection, by, now_ms)
    if before.closed:
        raise Refused(f"The place {place.code} is closed already.")
    _refuse_in_use(place, _contents(connection, place, now_ms))
    values = {"name": before.name, "kind": before.kind, "altitude_m": before.altitude_m}
    made = at.write(r.PlaceFact, place, closed=True, **values)
    return Entered(place, "place", made, f"Place {place.code} is closed; its history stays.")


def _contents(connection: Connection, holder: Subject, now_ms: int) -> list[str]:
    """Name everything that is in a place, stack or set now."""
    records = {
        SubjectKind.PLACE: [(r.ProbePosition, "probe"), (r.StackPosition, "stack"), (r.BoardPosition, "board")],
        SubjectKind.STACK: [(r.BoardPosition, "board")],
        SubjectKind.SET: [(r.SetMember, "board")],
    }
    found = []
    for record, kind in records.get(holder.kind, []):
        for one in facts.subjects(connection, SubjectKind(kind)):
            position = entering.latest(connection, record, one, now_ms)
            if position is not None and getattr(position, f"{holder.kind}_id") == holder.id:
                found.append(f"{kind} {one.code}")
    return found


def _refuse_in_use(holder: Subject, contents: list[str]) -> None:
    if not contents:
        return
    named = ", ".join(contents[:6]) + (f" and {len(contents) - 6} more" if len(contents) > 6 else "")
    raise Refused(f"The {holder.kind} {holder.code} is in use: {named} must be moved out of it first.")


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
    true_at_ms: int | None = None,
) -> Entered:
    """Enter a stack and the place it stands in."""
    at = hand(connection, by, now_ms, true_at_ms)
    entering.checked_code(SubjectKind.STACK, code)
    where = entering.open_place(connection, place)
    named = fields.text("name", name or code, entering.NAME_LENGTH, needed=True)
    noted = fields.text("note", note, entering.NOTE_LENGTH)
    stack = entering.new_subject(connection, SubjectKind.STACK, code)
    made = at.write(r.StackFact, stack, name=named, note=noted)
    at.write(r.StackPosition, stack, place_id=where.id)
    return Entered(stack, "stack", made, f"Stack {stack.code} stands in {where.code}.")


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


def put_in_set(
    connection: Connection,
    board: str,
    *,
    set_code: str,
    by: str,
    now_ms: int,
    role: str = "",
    true_at_ms: int | None = None,
) -> Entered:
    """Make a board a piece of a set, as what (left half, brace …); an empty set takes it out."""
    at = hand(connection, by, now_ms, true_at_ms)
    piece, _fact = entering.board(connection, board)
    found = entering.matched_set(connection, set_code) if set_code.strip() else None
    as_what = fields.text("role", role, 30)
    made = at.write(r.SetMember, piece, set_id=None if found is None else found.id, role=as_what)
    told = "in no set" if found is None else f"in set {found.code}"
    return Entered(piece, "set-member", made, f"Board {piece.code} is {told}.")


def undo(connection: Connection, kind: str, fact_id: str | int, *, by: str, now_ms: int) -> Entered:
    """Take an entry back; the undo is an entry too, so undoing it puts the first one back.

    Raises Refused for the entry that a thing in use rests on.
    """
    if kind not in UNDOABLE:
        raise BadInput("kind of entry", kind, "one of " + ", ".join(UNDOABLE))
    number = int(fields.number("number of the entry", fact_id, 1, 2**53, ""))
    at = hand(connection, by, now_ms)
    record = UNDOABLE[kind]
    entry = facts.get(connection, record, number)
    about = _subject_of(connection, entry.subject_id)
    if _would_vanish(connection, record, entry):
        if about.kind is SubjectKind.PROBE:
            raise Refused(f"The probe {about.code} keeps its first entry: its readings hang on it.")
        _refuse_in_use(about, _contents(connection, about, now_ms))
    made = facts.undo(connection, record, number, entered_at_ms=now_ms, by=at.by)
    told = "put back" if entry.withdrawn else "taken back"
    return Entered(about, kind, made, f"The {SPOKEN.get(kind, kind)} of {about.kind} {about.code} is {told}.")


def _would_vanish(connection: Connection, record: type[r.Fact], entry: r.Fact) -> bool:
    descriptions = (r.PlaceFact, r.ProbeFact, r.StackFact, r.SetFact, r.BoardFact)
    if record not in descriptions or entry.supersedes is not None:
        return False
    standing = facts.standing(connection, record, entry.subject_id)
    return [one.id for one in standing] == [entry.id]


def _subject_of(connection: Connection, subject_id: int) -> Subject:
    for kind in SubjectKind:
        for one in facts.subjects(connection, kind):
            if one.id == subject_id:
                return one
    raise BadInput("entry about", subject_id, "something that is in the store")
