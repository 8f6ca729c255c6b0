"""How warm the surface of the work is in a room: read by hand, else reckoned for pieces that came from elsewhere.

The room's own temperature is never taken for that of a piece. A board that lies in the room is followed through the
air of the places that it lay in, as far back as its thickness remembers; what cannot be followed is named.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from dashboards import airs, display, finish_now, resting
from dashboards.heard import PlaceNow
from dashboards.situation import BoardNow, Situation
from kiln import dew_gap, warming
from kiln.air import AirHours
from kiln.evidence import now_index
from kiln.records import Three
from kiln.warming import Faces, Slab, Slabs
from shared.errors import BadInput
from shared.store import Connection, facts
from shared.store.records import BoardPosition, BoardRest, ProbePosition, Rest, StackPosition, SurfaceReading
from shared.tables import constants, held_species
from shared.units import MS_PER_HOUR, MS_PER_MINUTE, MS_PER_S, S_PER_HOUR, Array

FORGOTTEN = 0.01  # of a difference is left once a piece has forgotten it
AHEAD_STEP_S, AHEAD_STEPS = 600.0, 144  # a day, for how long a cold piece is followed on
MOST_HOLE_HOURS = 3  # without a logged hour, that those around it bridge; judgement
FREE_RESTS = {Rest.FREE: Faces.BOTH, Rest.BENCH: Faces.ONE}


@dataclass(frozen=True)
class Piece:
    """A board in the room and its face now, by what it went through; ``ahead_c``: its slowest face from now on."""

    board: BoardNow
    surface_c: Three
    came_ms: int
    from_place: str  # empty: it has lain here longer than it remembers
    ahead_c: Array  # every AHEAD_STEP_S, if the room stays as it is


@dataclass(frozen=True)
class Surface:
    """The surface that is held against the dew point. ``three_c`` None: nobody knows it."""

    three_c: Three | None
    reading: SurfaceReading | None  # it was read by hand
    piece: Piece | None  # it was reckoned: the coldest of those that could be
    old: SurfaceReading | None  # a reading too old to stand
    left_out: tuple[str, ...]  # boards in the room whose face cannot be reckoned, and why


@dataclass(frozen=True)
class _Steps:
    """Air that a piece went through, one step after the other."""

    span_s: Array
    air_c: Array  # NaN: not known


def surface_now(situation: Situation, place: PlaceNow) -> Surface:
    """Return the surface in a room: the reading of the last hour, or what came in colder since; else what is reckoned.

    A reading by hand comes first. A board that was brought in after it is still followed, and taken if it is colder.
    """
    now_ms = situation.now_ms
    with situation.store.reading() as connection:
        newest = finish_now.surface_of(connection, place.subject.id, now_ms)
        reading = newest if newest is not None and now_ms - newest.true_at_ms <= _fresh_ms() else None
        pieces, left_out = _pieces(connection, situation, place)
    old = newest if reading is None else None
    if reading is None:
        coldest = min(pieces, key=lambda one: one.surface_c[0], default=None)
        return Surface(coldest.surface_c if coldest else None, None, coldest, old, left_out)
    error = constants("dew_gap")["surface_error"].value
    by_hand = dew_gap.measured(reading.surface_c, error)
    later = [one for one in pieces if one.came_ms > reading.true_at_ms and one.surface_c[1] < by_hand[1]]
    coldest = min(later, key=lambda one: one.surface_c[0], default=None)
    if coldest is not None:
        return Surface(coldest.surface_c, None, coldest, None, left_out)
    return Surface(by_hand, reading, None, None, left_out)


def _fresh_ms() -> int:
    return round(constants("dew_gap")["surface_minutes"].value * MS_PER_MINUTE)


def _pieces(connection: Connection, situation: Situation, place: PlaceNow) -> tuple[list[Piece], tuple[str, ...]]:
    boards = [one for one in situation.boards if one.place_id == place.subject.id]
    if not boards or place.air is None or not place.air.good:
        return [], ()
    where = airs.Positions(
        airs.by_subject(facts.standing(connection, ProbePosition)),
        {one.subject.id: facts.standing(connection, BoardPosition, one.subject.id) for one in boards},
        airs.by_subject(facts.standing(connection, StackPosition)),
    )
    held: dict[int, AirHours | None] = {}
    found, left_out = [], []
    for board in boards:
        try:
            found.append(_piece(connection, situation, place, where, held, board))
        except BadInput as error:
            left_out.append(f"{board.fact.name}: {error.accepted}.")
    return found, tuple(left_out)


def _piece(
    connection: Connection,
    situation: Situation,
    place: PlaceNow,
    where: airs.Positions,
    held: dict[int, AirHours | None],
    board: BoardNow,
) -> Piece:
    """Follow one board; raises BadInput whose ``accepted`` says why it cannot be."""
    now_ms, room_c = situation.now_ms, place.air.temperature_c if place.air else float("nan")
    slabs = _slabs(connection, where, board, room_c, now_ms)
    begin_ms = now_ms - round(min(_memory_s(slabs.slowest), _longest_s()) * MS_PER_S)
    stays = airs.joined(where.board_stays(board.subject.id, begin_ms, now_ms))
    steps = _steps(connection, where, held, stays, now_ms, room_c)
    if not len(steps.span_s) or not np.all(np.isfinite(steps.air_c)):
        raise _unknown("nobody logged the air where it lay before, so how warm it is cannot be reckoned")
    faces = [warming.follow(one, steps.air_c[0], steps.span_s, steps.air_c) for one in slabs]
    now = [float(face[-1]) for face in faces]
    error = constants("dew_gap")["thermometer_error"].value
    from_place = situation.place_name(stays[-2].place_id) if len(stays) > 1 else ""
    return Piece(
        board,
        dew_gap.widened(min(now), now[1], max(now), error),
        stays[-1].start_ms,
        from_place,
        _ahead_c(slabs.slowest, steps, room_c),
    )


def _ahead_c(slowest: Slab, steps: _Steps, room_c: float) -> Array:
    """The face of the slowest slab from now on, if the room stays as it is."""
    spans = np.append(steps.span_s, np.full(AHEAD_STEPS, AHEAD_STEP_S))
    air_c = np.append(steps.air_c, np.full(AHEAD_STEPS, room_c))
    return warming.follow(slowest, steps.air_c[0], spans, air_c)[len(steps.span_s) :]


def _slabs(connection: Connection, where: airs.Positions, board: BoardNow, room_c: float, now_ms: int) -> Slabs:
    if board.stack_id is not None:
        raise _unknown("it lies in a stack and warms more slowly than is reckoned here")
    rests = facts.standing(connection, BoardRest, board.subject.id)
    rest = resting.rest_at(rests, where.boards[board.subject.id], now_ms)
    if rest is not None and rest.rest not in FREE_RESTS:
        raise _unknown(f"it lies {rest.rest} and warms more slowly than is reckoned here")
    if board.projection is None:
        raise _unknown("nothing is known of its moisture yet, so how it warms cannot be reckoned")
    mean, now = board.projection.mean, now_index(board.projection)
    if mean.p90[now] > warming.MOST_MC_PCT:
        most = display.number(warming.MOST_MC_PCT, 0)
        raise _unknown(f"it may hold more than {most} % MC, and water that evaporates keeps its face colder")
    gravity = held_species(board.fact.species).basic_specific_gravity
    faces = None if rest is None else FREE_RESTS[rest.rest]
    return warming.slabs_of(gravity, float(mean.p50[now]), board.fact.thickness_m, room_c, faces)


def _unknown(why: str) -> BadInput:
    return BadInput("surface", "", why)


def _memory_s(slab: Slab) -> float:
    """How long ago the air still tells on a slab [s], by its slowest term."""
    rate = warming.roots(slab.biot)[0] ** 2 * slab.diffusivity_m2_s / slab.half_m**2
    return float(-np.log(FORGOTTEN) / rate)


def _longest_s() -> float:
    return constants("dew_gap")["warming_hours"].value * S_PER_HOUR


def _steps(
    connection: Connection,
    where: airs.Positions,
    held: dict[int, AirHours | None],
    stays: list[airs.Stay],
    now_ms: int,
    room_c: float,
) -> _Steps:
    """Cut the way of a piece into whole hours of each place's air; the hour that still runs is the air as it is now."""
    spans, temperatures = [], []
    full_ms = now_ms // MS_PER_HOUR * MS_PER_HOUR
    for stay in stays:
        hours = _hours(connection, where, held, stay.place_id, now_ms)
        begin_ms = stay.start_ms
        while begin_ms < stay.end_ms:
            end_ms = min((begin_ms // MS_PER_HOUR + 1) * MS_PER_HOUR, stay.end_ms)
            here_now = begin_ms >= full_ms and stay is stays[-1]
            spans.append((end_ms - begin_ms) / MS_PER_S)
            temperatures.append(room_c if here_now else _air_at(hours, begin_ms))
            begin_ms = end_ms
    return _Steps(np.array(spans), np.array(temperatures))


def _hours(
    connection: Connection,
    where: airs.Positions,
    held: dict[int, AirHours | None],
    place_id: int | None,
    now_ms: int,
) -> AirHours | None:
    """The logged hours of a place as far back as any piece remembers, read once a place; None: nobody knows where."""
    if place_id is None:
        return None
    if place_id not in held:
        begin_ms = now_ms - round(_longest_s() * MS_PER_S)
        held[place_id] = airs.place_air(connection, where, place_id, begin_ms, now_ms + MS_PER_HOUR)
    return held[place_id]


def _air_at(hours: AirHours | None, at_ms: int) -> float:
    """Temperature of the hour in which a moment lies; a short hole is filled by those around, else NaN."""
    if hours is None or not hours.known.any():
        return float("nan")
    index = int((at_ms - hours.at_ms[0]) // MS_PER_HOUR)
    from_logged = int(np.min(np.abs(np.flatnonzero(hours.known) - index)))
    inside = min(max(index, 0), len(hours.at_ms) - 1)
    return float(hours.temperature_c[inside]) if from_logged <= MOST_HOLE_HOURS else float("nan")
