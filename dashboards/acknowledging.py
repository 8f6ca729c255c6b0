"""No unrated device in the spray area: whoever makes a finish room, or puts a probe into one, says that it is so.

What was said is kept in the words that were read. A finish room from before this was asked has no such entry: nothing
of it is lost, and the page says that nobody has said so.
"""

from __future__ import annotations

from dashboards import entering, fields
from dashboards.entering import Connection, Entered, Hand, hand
from shared.errors import BadInput, Refused
from shared.store import facts
from shared.store import records as r
from shared.store.records import PlaceKind, SubjectKind

FIELD = "acknowledged"
RULE = (
    "Nothing that is not rated for it belongs in the spray area: no probe, tablet, phone, scale, lamp or gas sensor; a "
    "heated gas sensor is itself an ignition source. Readings are taken from outside. How far the area reaches, your "
    "fire authority says."
)
OF_ROOM = f"{RULE} So it is in this room."
OF_PROBE = f"{RULE} This probe hangs outside the spray area, or is rated for it."
ACCEPTED = "ticked, once it is so"

Ticked = str | bool | None


def is_finish_room(connection: Connection, place: r.Subject) -> bool:
    """Whether a place is a finish room by its newest description."""
    standing = facts.standing(connection, r.PlaceFact, place.id)
    return bool(standing) and standing[-1].kind is PlaceKind.FINISH_ROOM


def said_of(connection: Connection, subject: r.Subject, room: r.Subject) -> r.Acknowledged | None:
    """Return what was last acknowledged of a finish room, or of a probe in it; None: nobody has said so."""
    found = [one for one in facts.standing(connection, r.Acknowledged, subject.id) if one.what == room.code]
    return found[-1] if found else None


def require(typed: Ticked, sentence: str) -> None:
    """Raise BadInput, naming the field and what is to be said, when it was not."""
    if not fields.yes(typed):
        raise BadInput(FIELD, "", f"{ACCEPTED}: {sentence.removesuffix('.')}")


def refuse_unsaid(connection: Connection, where: r.Subject, typed: Ticked) -> bool:
    """Tell whether a place that a probe is put into is a finish room; raises BadInput unless that was acknowledged."""
    if not is_finish_room(connection, where):
        return False
    require(typed, OF_PROBE)
    return True


def write(at: Hand, about: r.Subject, room: r.Subject) -> int:
    """Enter that somebody has said so of a finish room, or of a probe in it."""
    sentence = OF_PROBE if about.kind is SubjectKind.PROBE else OF_ROOM
    return at.write(r.Acknowledged, about, what=room.code, sentence=sentence)


def write_room(at: Hand, room: r.Subject) -> int:
    """Enter it of a finish room and of every probe that measures in it now; return the number of the first."""
    made = write(at, room, room)
    for probe in probes_in(at.connection, room, at.now_ms):
        write(at, probe, room)
    return made


def probes_in(connection: Connection, room: r.Subject, now_ms: int) -> list[r.Subject]:
    """Return the probes that measure in a place now."""
    found = []
    for one in entering.in_use(connection, SubjectKind.PROBE):
        position = entering.latest(connection, r.ProbePosition, one, now_ms)
        if position is not None and position.place_id == room.id:
            found.append(one)
    return found


def acknowledge(connection: Connection, code: str, *, acknowledged: Ticked, by: str, now_ms: int) -> Entered:
    """Say of a finish room that stands already, and of the probes in it, that nothing unrated is in the spray area."""
    at = hand(connection, by, now_ms)
    room = entering.open_place(connection, code)
    if not is_finish_room(connection, room):
        raise Refused(f"The place {room.code} is no finish room; nothing of this kind is asked of it.")
    require(acknowledged, OF_ROOM)
    made = write_room(at, room)
    told = f"{at.by} has said that nothing unrated is in the spray area of {room.code}."
    return Entered(room, "acknowledgement", made, told)
