"""A board that came out of the water: since when, in which air, how far its clock ran, and what its marks change."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from dashboards import airs
from dashboards.airs import Positions, Stay
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
    line = _lineage(connection, board_id, known_at_ms)
    told = _lifted(connection, line, now_ms, known_at_ms)
    if not told:
        return None
    newest = told[-1]
    stopped_ms = _laid_in_a_stack_ms(where, line, newest.true_at_ms, now_ms)
    until_ms = now_ms if stopped_ms is None else stopped_ms
    hours_out = (until_ms - newest.true_at_ms) / MS_PER_HOUR
    stays = _stays(where, line, newest.true_at_ms, min(until_ms, newest.true_at_ms + READ_DAYS * MS_PER_DAY))
    return OutOfWater(
        lifted=newest,
        clock=water_clock.clock(_hours_c(connection, where, stays), hours_out, now_c, stopped=stopped_ms is not None),
        stopped_ms=stopped_ms,
        triage=reclaimed.triage(signs_of(newest, light=_light(connection, board_id, known_at_ms))),
        lifted_before=len(told) - 1,
        of_log=newest.subject_id != board_id,
    )


def triage_of(connection: Connection, board_id: int, now_ms: int, known_at_ms: int | None = None) -> Triage | None:
    """Return the class of a board by what was entered of it, or of its log, when it was lifted; None: nothing was."""
    told = _lifted(connection, _lineage(connection, board_id, known_at_ms), now_ms, known_at_ms)
    if not told:
        return None
    return reclaimed.triage(signs_of(told[-1], light=_light(connection, board_id, known_at_ms)))


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


def _lineage(connection: Connection, board_id: int, known_at_ms: int | None) -> list[tuple[int, int]]:
    """Return the boards that its wood was part of, the oldest first, each with its beginning [UTC ms]."""
    found = [(board_id, 0)]
    while True:
        cuts = facts.standing(connection, BoardCut, found[0][0], known_at_ms=known_at_ms)
        sawn = next((cut for cut in cuts if cut.from_board_id is not None), None)
        if sawn is None or sawn.from_board_id is None or any(one == sawn.from_board_id for one, _ms in found):
            return found
        found[0] = (found[0][0], sawn.true_at_ms)
        found.insert(0, (sawn.from_board_id, 0))


def _lifted(connection: Connection, line: list[tuple[int, int]], now_ms: int, known_at_ms: int | None) -> list[Lifted]:
    """Return every time that the wood was lifted, as itself or as part of a log before it was sawn off."""
    ends = [*(begin_ms for _one, begin_ms in line[1:]), now_ms + 1]
    return [
        one
        for (board_id, begin_ms), end_ms in zip(line, ends, strict=True)
        for one in facts.standing(connection, Lifted, board_id, known_at_ms=known_at_ms)
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


def _light(connection: Connection, board_id: int, known_at_ms: int | None) -> bool:
    """Whether it was ever weighed, in the sizes it has, lighter than any sound piece of its kind."""
    sizes = facts.standing(connection, BoardFact, board_id, known_at_ms=known_at_ms)
    wood = species().get(sizes[-1].species) if sizes else None
    if wood is None:
        return False
    size = sizes[-1]
    sections = facts.standing(connection, OvenDryResult, board_id, known_at_ms=known_at_ms)
    for weighed in facts.standing(connection, WeighIn, board_id, known_at_ms=known_at_ms):
        if weighed.true_at_ms < size.true_at_ms:
            continue
        near = [one for one in sections if abs(one.true_at_ms - weighed.true_at_ms) <= SAME_TIME_MS]
        mc_pct = 100.0 * (near[-1].wet_mass_kg / near[-1].dry_mass_kg - 1.0) if near else None
        if reclaimed.lighter_than_sound(weighed.mass_kg / size.volume_m3, wood, mc_pct):
            return True
    return False
