"""Entries about places with their own air, and about the probes that measure it."""

from __future__ import annotations

from typing import Any

from dashboards import acknowledging, entering, fields, planning_entries
from dashboards.acknowledging import Ticked
from dashboards.entering import Connection, Entered, hand
from shared.errors import BadInput, Refused
from shared.store import facts
from shared.store import records as r
from shared.store.records import PlaceKind, SubjectKind

ALTITUDE_M = (-430.0, 5000.0)
AIR_SPEED_M_S = (0.0, 5.0)
TOPIC_LENGTH = 200


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
    acknowledged: Ticked = None,
    true_at_ms: int | None = None,
) -> Entered:
    """Enter a place with its own air: yard, shed, room, kiln or finish room; altitude in m.

    ``air_speed_m_s`` is what was measured over the wood (m/s; empty: not known), ``in_sun`` whether sun reaches it.
    A finish room has to be ``acknowledged``: nothing that is not rated for it is in its spray area.
    """
    at = hand(connection, by, now_ms, true_at_ms)
    entering.checked_code(SubjectKind.PLACE, code)
    values = _place_values(name or code, kind, altitude_m, air_speed_m_s) | {"in_sun": in_sun}
    finishing = values["kind"] is PlaceKind.FINISH_ROOM
    if finishing:
        acknowledging.require(acknowledged, acknowledging.OF_ROOM)
    place = entering.new_subject(connection, SubjectKind.PLACE, code)
    made = at.write(r.PlaceFact, place, closed=False, **values)
    if finishing:
        acknowledging.write_room(at, place)
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
    acknowledged: Ticked = None,
) -> Entered:
    """Correct what a place is called and what it is, for the whole time since it was entered.

    None leaves the speed of its air (m/s; empty: not known) and its sun as they were. What becomes a finish room has
    to be ``acknowledged``, for itself and the probes in it.
    """
    place = facts.subject(connection, SubjectKind.PLACE, code)
    before = entering.described(connection, r.PlaceFact, place)
    at = hand(connection, by, now_ms, before.true_at_ms)
    speed = before.air_speed_m_s if air_speed_m_s is None else air_speed_m_s
    values = _place_values(name, kind, altitude_m, speed)
    values["in_sun"] = before.in_sun if in_sun is None else in_sun
    becomes = values["kind"] is PlaceKind.FINISH_ROOM and before.kind is not PlaceKind.FINISH_ROOM
    if becomes:
        acknowledging.require(acknowledged, acknowledging.OF_ROOM)
    made = at.write(r.PlaceFact, place, supersedes=before.id, closed=before.closed, **values)
    if becomes:
        acknowledging.write_room(hand(connection, by, now_ms), place)
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
    acknowledged: Ticked = None,
    true_at_ms: int | None = None,
) -> Entered:
    """Enter a probe before it is first heard: the topic that it publishes on, and its place if it has one.

    Put into a finish room it has to be ``acknowledged``: it hangs outside the spray area, or is rated for it.
    """
    at = hand(connection, by, now_ms, true_at_ms)
    entering.checked_code(SubjectKind.PROBE, code)
    listened = _topic(connection, topic)
    named = fields.text("name", name or code, entering.NAME_LENGTH, needed=True)
    where = entering.open_place(connection, place) if place.strip() else None
    finishing = where is not None and acknowledging.refuse_unsaid(connection, where, acknowledged)
    probe = entering.new_subject(connection, SubjectKind.PROBE, code)
    made = at.write(r.ProbeFact, probe, name=named, topic=listened)
    if where is not None:
        at.write(r.ProbePosition, probe, place_id=where.id)
    if where is not None and finishing:
        acknowledging.write(at, probe, where)
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
    connection: Connection,
    code: str,
    *,
    place: str,
    by: str,
    now_ms: int,
    acknowledged: Ticked = None,
    true_at_ms: int | None = None,
) -> Entered:
    """Say where a probe measures from a moment on, now or back in its history; an empty place: nowhere.

    A move entered for the past counts from then until the next move already entered. Put into a finish room it has to
    be ``acknowledged``: it hangs outside the spray area, or is rated for it.
    """
    at = hand(connection, by, now_ms, true_at_ms)
    probe = facts.subject(connection, SubjectKind.PROBE, code)
    where = entering.open_place(connection, place) if place.strip() else None
    finishing = where is not None and acknowledging.refuse_unsaid(connection, where, acknowledged)
    made = at.write(r.ProbePosition, probe, place_id=None if where is None else where.id)
    if where is not None and finishing:
        acknowledging.write(at, probe, where)
    told = "in no place" if where is None else f"in {where.code}"
    return Entered(probe, "probe-move", made, f"Probe {probe.code} is {told}.")
