"""The finish rooms and the shelf as they are now: figures, what was sprayed, surfaces, and what was acknowledged.

Read from the store and handed to the judgement; nothing is judged here. What was sprayed is held against the finish as
its data sheet is known today and as it stood at any time since the spraying was entered: the worse of them counts
(``finish_versions``), so that no correction takes a warning away.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from math import ceil

from dashboards import acknowledging, display, finish_counted, finish_entries, finish_versions
from dashboards.airs import by_subject
from dashboards.finish_counted import Held
from dashboards.heard import PlaceNow, ProbeNow
from dashboards.ingredients import parse_ingredients
from dashboards.situation import Situation
from kiln.mixtures import Basis, Ingredient, Mixture
from kiln.psychrometrics import pressure_at_altitude_pa
from kiln.room_air import Room, Spraying
from shared.store import Connection, facts
from shared.store.records import (
    Acknowledged,
    ExtractionKnown,
    FinishFact,
    FinishRoom,
    PlaceKind,
    Sprayed,
    Subject,
    SubjectKind,
    SurfaceReading,
)
from shared.units import MS_PER_DAY, MS_PER_HOUR, MS_PER_S

USUAL_ROOM_C = 20.0
TAKEN_BACK_H = 24  # so long a spraying that was taken back is told of
TOLD_DAYS = 5  # so long a spraying is told of that is counted no more
NO_MORE = "not counted any more; where nothing was drawn out its vapour may still be there."
SPRAYED_DAYS = 2  # so long a surface is held against what the sheet of what was sprayed there asks
NOTHING_NAMED = "what is in it, which nobody has entered from section 3 of its data sheet"


@dataclass(frozen=True)
class FinishNow:
    """A finish on the shelf, or taken off it: as judged, its name and ingredients heard, and as entered."""

    subject: Subject
    fact: FinishFact
    entered: FinishFact


@dataclass(frozen=True)
class SprayedNow:
    """A spraying, and the finish that was sprayed, with the worse of what was said of it since."""

    entry: Sprayed
    finish: FinishNow
    mixtures: tuple[Mixture, ...] = ()  # what it is made of by each version that stood since, the newest last
    first_entered_ms: int = 0
    corrected: bool = False  # whether its finish was corrected since in what its vapour or its rags come to


@dataclass(frozen=True)
class Gone:
    """A spraying that somebody took back in the last day and that would count now."""

    sprayed: SprayedNow
    line: str  # what it was, who took it back, and when


@dataclass(frozen=True)
class FinishRoomNow:
    """A finish room: its figures, the sprayings that count, the newest surface, and who has said that it is so."""

    place: PlaceNow
    room: FinishRoom | None  # None: nobody has entered its figures
    sprayed: tuple[SprayedNow, ...]
    surface: SurfaceReading | None
    acknowledged: Acknowledged | None  # None: nobody has said that nothing unrated is in its spray area
    unsaid_probes: tuple[ProbeNow, ...]  # probes in it of which nobody has said so
    taken_back: tuple[str, ...] = ()  # sprayings that somebody took back in the last day, a line each
    counted_no_more: tuple[str, ...] = ()  # sprayings too long ago to be counted, a line each

    @property
    def code(self) -> str:
        """Its code."""
        return self.place.subject.code


def finish_rooms(situation: Situation) -> tuple[FinishRoomNow, ...]:
    """Return every finish room in use."""
    places = [one for one in situation.open_places if one.fact.kind is PlaceKind.FINISH_ROOM]
    if not places:
        return ()
    with situation.store.reading() as connection:
        return tuple(_finish_room(connection, one, situation.now_ms) for one in places)


def _finish_room(connection: Connection, place: PlaceNow, now_ms: int) -> FinishRoomNow:
    def unsaid(probe: ProbeNow) -> bool:
        return acknowledging.said_of(connection, probe.subject, place.subject) is None

    return FinishRoomNow(
        place,
        room_of(connection, place.subject.id, now_ms),
        counted(connection, place.subject.id, now_ms),
        surface_of(connection, place.subject.id, now_ms),
        acknowledging.said_of(connection, place.subject, place.subject),
        tuple(one for one in place.probes if unsaid(one)),
        taken_back(connection, place.subject.id, now_ms),
        counted_no_more(connection, place.subject.id, now_ms),
    )


def finishes(connection: Connection, *, closed: bool = False) -> tuple[FinishNow, ...]:
    """Return the finishes on the shelf; ``closed``: those that were taken off it too."""
    history = by_subject(facts.standing(connection, FinishFact))
    known = [
        _finish(one, history[one.id][-1]) for one in facts.subjects(connection, SubjectKind.FINISH) if one.id in history
    ]
    return tuple(one for one in known if closed or not one.fact.closed)


def _finish(subject: Subject, entered: FinishFact) -> FinishNow:
    return FinishNow(subject, finish_versions.as_judged(entered), entered)


def room_of(connection: Connection, place_id: int, now_ms: int) -> FinishRoom | None:
    """Return the figures of a finish room in force now; None: nobody has entered them."""
    return facts.at(facts.standing(connection, FinishRoom, place_id), now_ms)


def counted(connection: Connection, place_id: int, now_ms: int) -> tuple[SprayedNow, ...]:
    """Return what was sprayed in a room and counts now (``finish_counted``), in order of time."""
    entries = finish_counted.standing(connection, place_id, now_ms - finish_counted.LONGEST_MS)
    held = finish_counted.held_of(connection, place_id, entries)
    return _sprayed(connection, [one for one in held if one.until_ms >= now_ms])


def sprayed_of(connection: Connection, place_id: int, since_ms: int) -> tuple[SprayedNow, ...]:
    """Return what was sprayed in a room since a moment, and what is about to be, in order of time."""
    entries = finish_counted.standing(connection, place_id, since_ms)
    return _sprayed(connection, finish_counted.held_of(connection, place_id, entries))


def _sprayed(connection: Connection, held: Sequence[Held]) -> tuple[SprayedNow, ...]:
    if not held:
        return ()
    known = {one.subject.id: one for one in finishes(connection, closed=True)}
    subjects = {one.id: one for one in facts.subjects(connection, SubjectKind.FINISH)}

    def finish_of(one: Held) -> FinishNow:
        """A finish that was taken back after its spraying still tells what it told."""
        return known.get(one.entry.finish_id) or _finish(subjects[one.entry.finish_id], one.versions[-1])

    return tuple(_of_versions(one, finish_of(one)) for one in held if one.versions)


def _of_versions(held: Held, finish: FinishNow) -> SprayedNow:
    worse = finish_versions.worse_of(held.versions)
    names = "; ".join(dict.fromkeys(one.name for one in held.versions))
    mixtures = tuple(
        replace(mixture_of(finish_versions.made_as(worse, one)), name=names)
        for one in finish_versions.differently_made(held.versions)
    )
    corrected = len(mixtures) > 1 or worse != finish.fact
    return SprayedNow(held.entry, replace(finish, fact=worse), mixtures, held.entered_ms, corrected)


def taken_back(connection: Connection, place_id: int, now_ms: int) -> tuple[str, ...]:
    """Return the sprayings in a room that somebody took back in the last day, a line each, the newest first."""
    gone = went_back(connection, place_id, now_ms)
    names = _names(connection) if gone else {}
    return tuple(_back_words(one, names) for one in reversed(gone))


def gone_of(connection: Connection, place_id: int, now_ms: int) -> tuple[Gone, ...]:
    """Return the sprayings that were taken back in the last day and would count now: they may be in the air."""
    held = finish_counted.held_of(connection, place_id, went_back(connection, place_id, now_ms))
    counting = [one for one in held if one.until_ms >= now_ms]
    names = _names(connection) if counting else {}
    return tuple(Gone(one, _back_words(one.entry, names)) for one in _sprayed(connection, counting))


def gone_since(connection: Connection, place_id: int, since_ms: int) -> tuple[SprayedNow, ...]:
    """Return what was sprayed in a room since a moment by an entry that was taken back, whenever that was."""
    entries = [one for one in facts.taken_back(connection, Sprayed, place_id) if one.true_at_ms >= since_ms]
    return _sprayed(connection, finish_counted.held_of(connection, place_id, entries))


def went_back(connection: Connection, place_id: int, now_ms: int) -> list[Sprayed]:
    """Return the entries by which somebody took sprayings in a room back in the last day."""
    since_ms = now_ms - TAKEN_BACK_H * MS_PER_HOUR
    return [one for one in facts.taken_back(connection, Sprayed, place_id) if one.entered_at_ms >= since_ms]


def _back_words(one: Sprayed, names: dict[int, str]) -> str:
    return (
        f"{_litres(one, names)}, {display.moment(one.true_at_ms)}, taken back by {one.entered_by} at "
        f"{display.moment(one.entered_at_ms)}."
    )


def counted_no_more(connection: Connection, place_id: int, now_ms: int) -> tuple[str, ...]:
    """Return the sprayings in a room that since a few days are too long ago to be counted, a line each."""
    told_ms = TOLD_DAYS * MS_PER_DAY
    entries = finish_counted.standing(connection, place_id, now_ms - finish_counted.LONGEST_MS - told_ms)
    held = finish_counted.held_of(connection, place_id, entries)
    over = [one.entry for one in held if now_ms - told_ms <= one.until_ms < now_ms]
    names = _names(connection) if over else {}
    return tuple(f"{_litres(one, names)}, {display.moment(one.true_at_ms)}: {NO_MORE}" for one in reversed(over))


def _litres(one: Sprayed, names: dict[int, str]) -> str:
    return f"{finish_entries.litres_words(one)} of {names.get(one.finish_id, 'a finish that was taken back')}"


def _names(connection: Connection) -> dict[int, str]:
    return {one.subject.id: one.fact.name for one in finishes(connection, closed=True)}


def surface_of(connection: Connection, place_id: int, now_ms: int) -> SurfaceReading | None:
    """Return the newest surface that was measured in a room; None: none was."""
    return facts.at(facts.standing(connection, SurfaceReading, place_id), now_ms)


def mixture_of(fact: FinishFact) -> Mixture:
    """Return a finish as the judgement takes it; without entered ingredients all of it is unknown."""
    named = parse_ingredients(fact.ingredients)
    return Mixture(
        named or (Ingredient(NOTHING_NAMED, 0.0, 1.0, None),),
        Basis(str(fact.basis)),
        fact.density_kg_m3,
        fact.isocyanate,
        fact.formaldehyde,
        fact.flash_point_c,
        fact.name,
    )


def sprayings_of(
    sprayed: Sequence[SprayedNow], zero_ms: int, chosen: Mapping[int, Mixture] | None = None
) -> tuple[Spraying, ...]:
    """Return sprayings as the judgement takes them, their times counted from ``zero_ms``.

    ``chosen``: the version of each finish, by its number; a spraying in whose time that did not stand takes its newest.
    """

    def made_of(one: SprayedNow) -> Mixture:
        wanted = (chosen or {}).get(one.finish.subject.id)
        return wanted if wanted in one.mixtures else one.mixtures[-1]

    return tuple(
        Spraying(
            (one.entry.true_at_ms - zero_ms) / MS_PER_S,
            one.entry.duration_s,
            one.entry.liquid_m3,
            made_of(one),
            one.finish.fact.dry_after_s,
            one.entry.extraction_on,
        )
        for one in sprayed
    )


def room_air(place: PlaceNow, room: FinishRoom) -> Room:
    """Return a finish room as the judgement takes it: the pressure of its height, the temperature of its air."""
    known_c = _air_c(place)
    return Room(
        room.volume_m3,
        room.extraction_m3_s,
        room.mixing_factor,
        USUAL_ROOM_C if known_c is None else known_c,
        float(pressure_at_altitude_pa(place.fact.altitude_m)),
        room.extraction_known is ExtractionKnown.MEASURED,
    )


def temperature_said(place: PlaceNow) -> str:
    """Say which temperature the room is reckoned with."""
    known_c = _air_c(place)
    if known_c is None:
        return f"No probe of the room is believed now: it is reckoned with {USUAL_ROOM_C:.0f} °C."
    return f"The room is reckoned with {known_c:.0f} °C, what its probes say now on to the next whole degree."


def _air_c(place: PlaceNow) -> float | None:
    """Temperature of a room, up to the next whole degree: warmer vapour takes more room, and few readings change it."""
    return float(ceil(place.air.temperature_c)) if place.air is not None and place.air.good else None
