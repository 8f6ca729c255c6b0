"""A board that came out of the water: since when, in which air, how far its clock ran, and what its marks change."""

from __future__ import annotations

import functools
from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from dashboards import airs
from dashboards.airs import Positions, Stay
from dashboards.yard_entries import Entries
from kiln import reclaimed, water_clock
from kiln.reclaimed import Signs, Triage
from kiln.water_clock import Clock
from shared.store import Connection, facts
from shared.store.records import BoardCut, BoardFact, Lifted, OvenDryResult, WeighIn
from shared.tables import species
from shared.units import MS_PER_DAY, MS_PER_HOUR, Array

if TYPE_CHECKING:
    from dashboards.situation import BoardNow, Situation

READ_DAYS = 90  # of air since it was lifted: the clock has long run out by then
SAME_TIME_MS = 3 * MS_PER_DAY  # so close together, a weigh-in and a section tell of the same wood; judgement


@dataclass(frozen=True)
class OutOfWater:
    """What was entered when a board, or the log that it was sawn from, was lifted, and what follows from it."""

    lifted: Lifted
    clock: Clock
    stopped_ms: int | None  # when it was first laid in a stack; None: not yet
    triage: Triage
    lifted_before: int  # how often it was lifted before that: sunk again in between
    of_log: bool  # the entry is that of the log


@dataclass(frozen=True)
class Told:
    """What was entered of one board that bears on its time out of the water, each in order of time."""

    cuts: list[BoardCut]
    lifts: list[Lifted]
    sizes: list[BoardFact]
    weigh_ins: list[WeighIn]
    sections: list[OvenDryResult]


def read(yard: Situation, board: BoardNow) -> OutOfWater | None:
    """Return how a board stands that came out of the water; None where nobody entered that it did."""
    air = next((place.air for place in yard.places if place.subject.id == board.place_id), None)
    now_c = air.temperature_c if air is not None and air.good else None
    with yard.store.reading() as connection:
        return of_board(connection, airs.positions(connection), board.subject.id, yard.now_ms, now_c)


def of_board(
    connection: Connection,
    where: Positions,
    board_id: int,
    now_ms: int,
    now_c: float | None,
    known_at_ms: int | None = None,
) -> OutOfWater | None:
    """Return what ``read`` does, from a connection.

    ``now_c``: the temperature where it lies now [°C]; None: not known. ``known_at_ms``: by the entries about the board
    that were known then; None: by those known now.
    """
    told = functools.cache(functools.partial(_told, connection, known_at_ms))
    line = _lineage(told, board_id)
    lifts = _lifts(told, line, now_ms)
    if not lifts:
        return None
    newest = lifts[-1]
    stopped_ms = _laid_in_a_stack_ms(where, line, newest.true_at_ms, now_ms)
    until_ms = now_ms if stopped_ms is None else stopped_ms
    hours_out = (until_ms - newest.true_at_ms) / MS_PER_HOUR
    stays = _stays(where, line, newest.true_at_ms, min(until_ms, newest.true_at_ms + READ_DAYS * MS_PER_DAY))
    return OutOfWater(
        lifted=newest,
        clock=water_clock.clock(_hours_c(connection, where, stays), hours_out, now_c, stopped=stopped_ms is not None),
        stopped_ms=stopped_ms,
        triage=reclaimed.triage(signs_of(newest, light=_light(told(board_id)))),
        lifted_before=len(lifts) - 1,
        of_log=newest.subject_id != board_id,
    )


def triage_of(entries: Entries, lifted: dict[int, list[Lifted]], board_id: int, now_ms: int) -> Triage | None:
    """Return the class of a board by what was entered of it, or of its log, when it was lifted; None: nothing was.

    ``lifted``: of every board, in order of time; read once for all of them, with ``entries``.
    """

    def told(one: int) -> Told:
        board = entries.boards.get(one)
        if board is None:
            return Told([], [], [], [], [])
        return Told(board.cuts, lifted.get(one, []), board.sizes, board.weigh_ins, board.oven_dry)

    lifts = _lifts(told, _lineage(told, board_id), now_ms)
    return reclaimed.triage(signs_of(lifts[-1], light=_light(told(board_id)))) if lifts else None


def signs_of(lifted: Lifted, *, light: bool = False) -> Signs:
    """Return an entry as the physics takes it."""
    return Signs(
        water=lifted.water.value,
        sapwood=lifted.sapwood.value,
        shake=lifted.shake,
        smell=lifted.smell.value,
        washed=lifted.washed,
        metal_searched=lifted.metal_searched,
        light=light,
    )


def _told(connection: Connection, known_at_ms: int | None, board_id: int) -> Told:
    cuts, lifts, sizes, weigh_ins, sections = (
        facts.standing(connection, kind, board_id, known_at_ms=known_at_ms)
        for kind in (BoardCut, Lifted, BoardFact, WeighIn, OvenDryResult)
    )
    return Told(cuts, lifts, sizes, weigh_ins, sections)


def _lineage(told: Callable[[int], Told], board_id: int) -> list[tuple[int, int]]:
    """Return the boards that its wood was part of, the oldest first, each with its beginning [UTC ms]."""
    found = [(board_id, 0)]
    while True:
        sawn = next((cut for cut in told(found[0][0]).cuts if cut.from_board_id is not None), None)
        if sawn is None or sawn.from_board_id is None or any(one == sawn.from_board_id for one, _ms in found):
            return found
        found[0] = (found[0][0], sawn.true_at_ms)
        found.insert(0, (sawn.from_board_id, 0))


def _lifts(told: Callable[[int], Told], line: list[tuple[int, int]], now_ms: int) -> list[Lifted]:
    """Return every time that the wood was lifted, as itself or as part of a log before it was sawn off."""
    ends = [*(begin_ms for _one, begin_ms in line[1:]), now_ms + 1]
    return [
        one
        for (board_id, begin_ms), end_ms in zip(line, ends, strict=True)
        for one in told(board_id).lifts
        if begin_ms <= one.true_at_ms < end_ms
    ]


def _laid_in_a_stack_ms(where: Positions, line: list[tuple[int, int]], since_ms: int, now_ms: int) -> int | None:
    """Return when the wood first lay in a stack after it was lifted; None: not until now."""
    ends = [*(begin_ms for _one, begin_ms in line[1:]), now_ms + 1]
    for (board_id, begin_ms), end_ms in zip(line, ends, strict=True):
        first_ms = max(begin_ms, since_ms)
        held = where.board_at(board_id, first_ms)
        moves = [one for one in where.boards.get(board_id, []) if first_ms < one.true_at_ms < end_ms]
        if first_ms < end_ms and held is not None and held.stack_id is not None:
            return first_ms
        laid = next((one.true_at_ms for one in moves if one.stack_id is not None), None)
        if laid is not None:
            return laid
    return None


def _stays(where: Positions, line: list[tuple[int, int]], start_ms: int, end_ms: int) -> list[Stay]:
    ends = [*(begin_ms for _one, begin_ms in line[1:]), end_ms]
    spans = [
        (board_id, max(begin_ms, start_ms), min(until_ms, end_ms))
        for (board_id, begin_ms), until_ms in zip(line, ends, strict=True)
    ]
    return [
        stay
        for board_id, begin_ms, until_ms in spans
        if begin_ms < until_ms
        for stay in where.board_stays(board_id, begin_ms, until_ms)
    ]


def _hours_c(connection: Connection, where: Positions, stays: list[Stay]) -> Array:
    """Return the temperature of each hour along the way [°C], NaN where nobody logged it."""
    if not stays or stays[-1].end_ms // MS_PER_HOUR <= stays[0].start_ms // MS_PER_HOUR:
        return np.zeros(0)  # it has not been out for a full hour of the clock
    way = airs.way_air(connection, where, stays)
    return np.where(way.known, way.temperature_c, np.nan)


def _light(told: Told) -> bool:
    """Whether it was ever weighed, in the sizes it has, lighter than any sound piece of its kind."""
    wood = species().get(told.sizes[-1].species) if told.sizes else None
    if wood is None:
        return False
    size = told.sizes[-1]
    for weighed in (one for one in told.weigh_ins if one.true_at_ms >= size.true_at_ms):
        near = [one for one in told.sections if abs(one.true_at_ms - weighed.true_at_ms) <= SAME_TIME_MS]
        mc_pct = 100.0 * (near[-1].wet_mass_kg / near[-1].dry_mass_kg - 1.0) if near else None
        if reclaimed.lighter_than_sound(weighed.mass_kg / size.volume_m3, wood, mc_pct):
            return True
    return False
