"""Warnings of the finish rooms: what is over, can't be said or is not shown to be under control there just now.

They follow from what was entered and from the time, anew whenever the yard is read; nothing of them is stored. They are
no alarm system, and quiet hours do not hold them back.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from typing import Any

from dashboards import api, dew_gaps, display, finish_now, vapours, vapours_taken_back
from dashboards.finish_now import FinishRoomNow, SprayedNow
from dashboards.heard import PlaceNow
from dashboards.situation import Situation
from dashboards.vapour_records import Vapour
from dashboards.vapours_taken_back import AIR_FED, ASK, STILL_THERE
from kiln import finish_told
from kiln.control import WORST_FIRST, Control, worst
from kiln.sentences import capital
from shared.store.records import PlaceKind
from shared.units import MS_PER_HOUR

NOT_AN_ALARM = (
    "These lines are not an alarm system: nothing sounds, nothing here smells vapour, and they know only what was "
    "entered. That none stands here shows nothing. Quiet hours do not hold them back."
)
NO_ALARM = "Not an alarm system: only what was entered is known here."
# So long rags of a spraying that was taken back are told of: oily waste heats itself hours later (common practice, no
# source). Those of one that stands are told of as long as it counts.
RAGS_MS = 48 * MS_PER_HOUR
DEVICES = "A device that is not rated for it can light vapour: take it out of the spray area, then say that it is so."
HOUR_PASSED = "has passed, which shows nothing: test with a calibrated instrument before anybody goes in."
NO_ROOM_NOW = "sprayed here, and no longer entered as a finish room."
BACK_AGAIN = "Test with a calibrated instrument before anybody goes in, or enter it as a finish room again."
RAGS = "Spread rags one layer thick outdoors, or put them under water in a lidded metal can; look again hours later."
STAY = "Stay out. Leave the extraction as it runs, keep flames and sparks away, and switch nothing inside."


@dataclass(frozen=True)
class Warning:
    """One warning of a finish room."""

    kind: str = field(metadata={"help": "vapour, taken back, surface, devices or rags"})
    control: Control = field(metadata={"help": "over, can't say, or not shown to be under control"})
    sentence: str = field(metadata={"help": "Where, what it is about, and why"})
    acts: tuple[str, ...] = field(metadata={"help": "What to do, the first thing first"})
    then: str = field(metadata={"help": "What is tested, and from when on at the earliest; empty: nothing of the kind"})
    path: str = field(metadata={"help": "Path of the page that tells more"})
    at_ms: int = field(metadata={"help": "When that began which it is about [UTC ms]"})
    short: str = field(metadata={"help": "What and where, in a few words"})
    refused: bool = field(default=False, metadata={"help": "Whether no amount of air is an answer to it"})
    ignores_quiet_hours: bool = field(default=True, metadata={"help": "Whether it is told in quiet hours too"})

    @property
    def what_to_do(self) -> str:
        """All that is to be done, in one piece."""
        return " ".join(one for one in (*self.acts, self.then) if one)


def warnings_of(situation: Situation) -> tuple[Warning, ...]:
    """Return every warning of the finish rooms: what is over first, then what air is no answer to, then the newest.

    Surfaces too cold or too near the dew point come after all of them.
    """
    rooms = finish_now.finish_rooms(situation)
    found = [one for room in rooms for one in _of_room(situation, room)]
    found += _left(situation, {room.place.subject.id for room in rooms})
    return tuple(sorted(found, key=_rank))


def _rank(one: Warning) -> tuple[bool, int, bool, int]:
    """A surface last, whatever its word: it spoils the work, the others hurt people."""
    return one.kind == "surface", WORST_FIRST.index(one.control), not one.refused, -one.at_ms


def as_plain(situation: Situation) -> dict[str, Any]:
    """Return the warnings for other programs, and that they are no alarm system."""
    return {"warnings": api.as_json(warnings_of(situation)), "not_an_alarm": NOT_AN_ALARM}


def _of_room(situation: Situation, room: FinishRoomNow) -> Iterator[Warning]:
    yield from _vapour(situation, room)
    yield from _taken_back(situation, room.place)
    yield from _surface(situation, room)
    yield from _devices(room)
    yield from _rags(situation, room.place, room.sprayed)


# --- vapour ----------------------------------------------------------------------------------------


def _vapour(situation: Situation, room: FinishRoomNow) -> Iterator[Warning]:
    """What was sprayed and counts, while it is over a limit or can't be said, or before its hour."""
    made = vapours.vapour_of(situation, room.place) if room.sprayed else None
    if made is None:
        return
    early = made.not_before_ms is not None and situation.now_ms < made.not_before_ms
    if made.control is Control.NOT_SHOWN and not early:
        return
    yield Warning(
        kind="vapour",
        control=made.control,
        sentence=f"{room.place.fact.name}, {_names(room.sprayed)}: {in_short(made)}",
        acts=(STAY,) if made.control is Control.NOT_SHOWN else finish_told.ACTS,
        then=_hour(situation, made),
        path=f"/finish/room/{room.code}",
        at_ms=room.sprayed[-1].entry.true_at_ms,
        short=f"vapour in {room.place.fact.name}",
        refused=made.refused is not None,
    )


def _hour(situation: Situation, made: Vapour) -> str:
    """From when on it is to be tested; an hour that has passed is no leave."""
    passed = made.not_before_ms is not None and situation.now_ms >= made.not_before_ms
    return f"{display.moment(made.not_before_ms)} {HOUR_PASSED}" if passed else made.not_before


def in_short(made: Vapour) -> str:
    """Which limits are over, or what is not known: without a figure, for what belongs beside one has no room here."""
    over = [one.name for one in made.over or made.over_each]
    told = f"over {display.listed(over)}" if over else ""
    if made.refused is not None:
        also = f" Its solvents alone are {told}." if told else ""
        return f"{made.refused.group}. {made.refused.sentence}{also}"
    if told:
        return f"{told}."
    if made.control is Control.CANT_SAY:
        return made.unknowns[0] if made.unknowns else made.headline
    return "what was sprayed may go on giving off vapour."


def _names(sprayed: Sequence[SprayedNow]) -> str:
    return display.listed(list(dict.fromkeys(one.finish.fact.name for one in sprayed)))


def _left(situation: Situation, rooms: set[int]) -> Iterator[Warning]:
    """Sprayed, and counting still, where there is no finish room any more: closed, or corrected to be another place.

    That makes nothing milder: what was over stays over, and a refusal stays one.
    """
    with situation.store.reading() as connection:
        left = [
            (one, finish_now.counted(connection, one.subject.id, situation.now_ms))
            for one in situation.places
            if one.subject.id not in rooms
        ]
    for place, sprayed in left:
        made = vapours.vapour_of(situation, place) if sprayed else None
        if made is not None:
            refused = made.refused is not None
            known = f" {capital(in_short(made))}" if refused or made.control is Control.OVER else ""
            yield Warning(
                kind="vapour",
                control=worst(made.control, Control.CANT_SAY),
                sentence=f"{place.fact.name}, {_names(sprayed)}: {NO_ROOM_NOW}{known}",
                acts=finish_told.ACTS,
                then=BACK_AGAIN,
                path=f"/place/{place.subject.code}",
                at_ms=sprayed[-1].entry.true_at_ms,
                short=f"vapour in {place.fact.name}",
                refused=refused,
            )
        yield from _taken_back(situation, place)
        yield from _rags(situation, place, sprayed)


def _taken_back(situation: Situation, place: PlaceNow) -> Iterator[Warning]:
    """Sprayings that somebody took back in the last day: whoever comes in does not know whether that was right."""
    with situation.store.reading() as connection:
        told = finish_now.taken_back(connection, place.subject.id, situation.now_ms)
        counting = finish_now.gone_of(connection, place.subject.id, situation.now_ms)
        gone = finish_now.went_back(connection, place.subject.id, situation.now_ms)
    if not told:
        return
    refused = vapours_taken_back.is_refused(counting)
    made = vapours.vapour_of(situation, place) if counting and _is_room(place) else None
    yield Warning(
        kind="taken back",
        control=Control.CANT_SAY,
        sentence=f"{place.fact.name}: {' '.join((*told, *((AIR_FED,) if refused else ()), STILL_THERE))}",
        acts=(*finish_told.ACTS, ASK) if refused else (ASK,),
        then="" if made is None else _hour(situation, made).removeprefix(f"{STILL_THERE} "),
        refused=refused,
        path=f"/finish/room/{place.subject.code}" if _is_room(place) else f"/place/{place.subject.code}",
        at_ms=max(one.entered_at_ms for one in gone),
        short=f"spraying taken back in {place.fact.name}",
    )


def _is_room(place: PlaceNow) -> bool:
    return place.fact.kind is PlaceKind.FINISH_ROOM and not place.fact.closed


# --- surface ---------------------------------------------------------------------------------------


def _surface(situation: Situation, room: FinishRoomNow) -> Iterator[Warning]:
    """A surface that misses what the finish's own sheet asks, while it is sprayed or work is booked for today."""
    booked = _booked_today(situation, room)
    if not room.sprayed and not booked:
        return
    gap = dew_gaps.gap_of(situation, room.place)
    if not gap.sheet_missed:
        return
    why = [*([f"{_names(room.sprayed)} sprayed"] if room.sprayed else []), *booked]
    yield Warning(
        kind="surface",
        control=Control.OVER,
        sentence=f"{gap.name}, {display.listed(why)}: {gap.sheet_missed}.",
        acts=(gap.next_step,),
        then="",
        path=f"/finish/room/{gap.code}#dew-gap",
        at_ms=room.surface.true_at_ms if room.surface is not None else situation.now_ms,
        short=f"{gap.sheet_missed_short} in {gap.name}",
    )


def _booked_today(situation: Situation, room: FinishRoomNow) -> list[str]:
    """The names of the boards and sets in a room that are booked today to be finished."""
    today, here = display.local(situation.now_ms).date(), room.place.subject.id
    things = [(one.plan, one.fact.name, [one]) for one in situation.boards]
    things += [(one.plan, one.fact.name, one.boards) for one in situation.sets]
    return [
        name
        for plan, name, boards in things
        if plan is not None
        and plan.use == dew_gaps.FINISH_USE
        and plan.booked_ms is not None
        and display.local(plan.booked_ms).date() == today
        and any(board.place_id == here for board in boards)
    ]


# --- devices in the spray area ---------------------------------------------------------------------


def _devices(room: FinishRoomNow) -> Iterator[Warning]:
    """A room, or probes in it, of which nobody has said that nothing unrated is in the spray area."""
    probes = [one.fact.name for one in room.unsaid_probes]
    if room.acknowledged is None:
        about = "nobody has said that no unrated device is in its spray area"
    elif probes:
        they = "it hangs" if len(probes) == 1 else "they hang"
        about = f"of {display.listed(probes)} nobody has said that {they} outside the spray area"
    else:
        return
    yield Warning(
        kind="devices",
        control=Control.CANT_SAY,
        sentence=f"{room.place.fact.name}: {about}.",
        acts=(DEVICES,),
        then="",
        path=f"/finish/room/{room.code}#acknowledge",
        at_ms=max((one.fact.true_at_ms for one in room.unsaid_probes), default=room.place.fact.true_at_ms),
        short=f"devices in the spray area of {room.place.fact.name}",
    )


# --- rags ------------------------------------------------------------------------------------------


def _rags(situation: Situation, place: PlaceNow, sprayed: Sequence[SprayedNow]) -> Iterator[Warning]:
    """Waste of a finish that heats itself, or of which nobody has looked that up, as long as it counts."""
    with situation.store.reading() as connection:
        gone = finish_now.gone_since(connection, place.subject.id, situation.now_ms - RAGS_MS)
    used = (*sprayed, *gone)  # what was taken back may have been used all the same: its rags are still there
    oily = [one for one in used if one.finish.fact.self_heating]
    unread = [one for one in used if one.finish.fact.self_heating is None]
    for some, control, why in (
        (oily, Control.NOT_SHOWN, "its rags, pads, filters and dust can heat themselves and burn hours later"),
        (unread, Control.CANT_SAY, "nobody has said whether its rags can heat themselves"),
    ):
        if some:
            yield Warning(
                kind="rags",
                control=control,
                sentence=f"{place.fact.name}, {_names(some)}: {why}.",
                acts=(RAGS,),
                then="",
                path="/hurt#rags",
                at_ms=max(one.entry.true_at_ms for one in some),
                short=f"rags that heat themselves: {_names(some)}",
            )
