"""Load cells: what each carried when, its continuous weight, and what that tells of each board."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import NamedTuple

import numpy as np

from dashboards.airs import Positions, by_subject
from kiln import load_cell, observations, wood
from kiln.estimation import Datum
from kiln.load_cell import Anchor, Cell, Continuous, Tare, Thinned
from kiln.load_cell.stack import Member, shared_out, weighed_before
from shared.store import Connection, facts, readings
from shared.store.records import BoardFact, CellLoad, CellTare, Quantity, WeighIn
from shared.tables import held_species
from shared.units import MS_PER_DAY, MS_PER_HOUR, MS_PER_MINUTE, Array

MOST_WEIGHTS = 30  # of one cell in a refit, evenly over its time: the march stops at each
_PROBES = 10_000  # more than any yard has
SPAN_MS = 10 * MS_PER_MINUTE
TOGETHER_MS = round(load_cell.value("together_days") * MS_PER_DAY)
JUST_BEFORE_MS = round(load_cell.value("just_before_days") * MS_PER_DAY)


@dataclass(frozen=True)
class CellEntries:
    """What was entered about one load cell."""

    loads: tuple[CellLoad, ...]
    tares: tuple[CellTare, ...]


Cells = dict[int, CellEntries]  # by probe


@dataclass(frozen=True)
class Load:
    """A time, start ≤ t < end, over which a cell carried the same boards: one by itself, or those of a stack."""

    probe_id: int
    start_ms: int
    end_ms: int
    error_kg: float
    boards: tuple[int, ...]


@dataclass(frozen=True)
class Weighed:
    """A board as a cell needs it: what it is, and its weigh-ins."""

    fact: BoardFact
    start_ms: int  # since when it is in these sizes
    weigh_ins: Sequence[WeighIn]

    @property
    def oven_dry_kg(self) -> float:
        """About its oven-dry mass, by species and sizes."""
        basic = held_species(self.fact.species).basic_specific_gravity
        volume_m3 = self.fact.volume_m3
        return wood.oven_dry_mass_kg(basic, volume_m3)

    @property
    def area_m2(self) -> float:
        """Both its faces."""
        return 2.0 * self.fact.width_m * self.fact.length_m


def all_cells(connection: Connection) -> Cells:
    """Return what was entered about every load cell."""
    loads = by_subject(facts.standing(connection, CellLoad))
    tares = by_subject(facts.standing(connection, CellTare))
    return {
        probe_id: CellEntries(tuple(loads.get(probe_id, ())), tuple(tares.get(probe_id, ())))
        for probe_id in sorted(loads.keys() | tares.keys())
    }


def loads_of(cells: Cells, where: Positions, probe_id: int, until_ms: int) -> list[Load]:
    """Return what a cell carried, one time after the other; a board that comes to its stack or leaves it begins one."""
    found: list[Load] = []
    entries = cells.get(probe_id, CellEntries((), ())).loads
    edges = [one.true_at_ms for one in entries] + [until_ms]
    for load, (begin, end) in zip(entries, pairwise(edges), strict=True):
        if load.board_id is not None and begin < end:
            found.append(Load(probe_id, begin, end, load.cell_error_kg, (load.board_id,)))
        if load.stack_id is not None:
            moves = {one.true_at_ms for moved in where.boards.values() for one in moved if begin < one.true_at_ms < end}
            for first, last in pairwise(sorted({begin, *moves, end})):
                boards = _in_stack(where, load.stack_id, first)
                if found and (found[-1].end_ms, found[-1].boards) == (first, boards):
                    found[-1] = replace(found[-1], end_ms=last)
                elif boards:
                    found.append(Load(probe_id, first, last, load.cell_error_kg, boards))
    return found


def _in_stack(where: Positions, stack_id: int, moment_ms: int) -> tuple[int, ...]:
    found = []
    for board_id in where.boards:
        position = where.board_at(board_id, moment_ms)
        if position is not None and position.stack_id == stack_id:
            found.append(board_id)
    return tuple(sorted(found))


class Weighing(NamedTuple):
    """A moment at which everything on a cell had been weighed: all of it, each board, and when that was weighed."""

    anchor: Anchor
    members: list[Member]
    weighed_ms: list[int]


def weighings_of(load: Load, boards: dict[int, Weighed]) -> list[Weighing]:
    """Return the moments at which everything on a cell had been weighed, boards in the load's order.

    Boards of a stack count as weighed together when all were within ``TOGETHER_MS``. Of weigh-ins before the load was
    put on, the last one counts.
    """
    inside = [boards[one] for one in load.boards if one in boards]
    if len(inside) < len(load.boards):
        return []
    times = {one.true_at_ms for board in inside for one in board.weigh_ins}
    found: list[Weighing] = []
    for moment in sorted(one for one in times if load.start_ms - JUST_BEFORE_MS <= one < load.end_ms):
        at_ms = max(moment, load.start_ms)
        weighed = [one for board in inside if (one := _weighed_at(board, moment)) is not None]
        together = len(inside) > 1 and found and moment - found[-1].anchor.at_ms < TOGETHER_MS
        if len(weighed) < len(inside) or together:
            continue
        members = [
            weighed_before(one.mass_kg, one.scale_error_kg, board.oven_dry_kg, at_ms - one.true_at_ms)
            for board, one in zip(inside, weighed, strict=True)
        ]
        error = float(np.sqrt(sum(one.error_kg**2 for one in members)))
        anchor = Anchor(at_ms, sum(one.mass_kg for one in members), error)
        if found and found[-1].anchor.at_ms == at_ms:
            found.pop()
        found.append(Weighing(anchor, members, [one.true_at_ms for one in weighed]))
    return found


def _weighed_at(board: Weighed, moment: int) -> WeighIn | None:
    """Return the weigh-in of a board at about this moment; None when it was not weighed."""
    last = facts.at(list(board.weigh_ins), moment)
    return None if last is None or last.true_at_ms < moment - TOGETHER_MS else last


def weight(
    connection: Connection,
    cells: Cells,
    where: Positions,
    load: Load,
    boards: dict[int, Weighed],
    *,
    weighed_apart: bool = False,
) -> Continuous:
    """Return the continuous weight of what a cell carried over one time, from summaries of ten minutes.

    ``weighed_apart``: the weigh-ins of what is on it count beside it (``load_cell.continuous_weight``).
    """
    at_ms, kg = _readings(connection, load.probe_id, load.start_ms, load.end_ms)
    inside = [boards[one] for one in load.boards if one in boards]
    tares = cells[load.probe_id].tares
    cell = Cell(
        error_kg=load.error_kg,
        tares=tuple(Tare(one.true_at_ms, one.reading_kg) for one in tares if one.true_at_ms < load.end_ms),
        anchors=tuple(one.anchor for one in weighings_of(load, boards)),
        oven_dry_kg=sum(one.oven_dry_kg for one in inside) or None,
        area_m2=sum(one.area_m2 for one in inside) or None,
    )
    rain = _rain(connection, where, load)
    return load_cell.continuous_weight(at_ms, kg, cell, rain, load.end_ms, weighed_apart=weighed_apart)


def _readings(connection: Connection, probe_id: int, start_ms: int, end_ms: int) -> tuple[np.ndarray, Array]:
    ids = {one.quantity: one.id for one in readings.all_series(connection) if one.probe_id == probe_id}
    if Quantity.MASS_KG not in ids:
        return np.zeros(0, dtype=np.int64), np.zeros(0)
    found = readings.buckets(connection, ids[Quantity.MASS_KG], SPAN_MS, start_ms, end_ms)
    good = found.n > 0
    return found.bucket_ms[good] + SPAN_MS // 2, found.mean[good]


def _rain(connection: Connection, where: Positions, load: Load) -> tuple[np.ndarray, Array] | None:
    """Return the hours in which a gauge in the place of the load rose or tipped; None without a gauge.

    Gauges send what fell since the last reading, or what ever fell: in both a figure that moves is rain.
    """
    position = where.board_at(load.boards[0], load.end_ms - 1)
    place_id = position.place_id if position else None
    if position is not None and position.stack_id is not None:
        place_id = where.stack_place(position.stack_id, load.end_ms - 1)
    gauges = {probe_id for probe_id, _begin, _finish in where.probes_of(place_id)} if place_id is not None else set()
    for one in readings.all_series(connection):
        if one.quantity is Quantity.RAIN_MM and one.probe_id in gauges:
            found = readings.buckets(connection, one.id, MS_PER_HOUR, load.start_ms, load.end_ms)
            before = np.concatenate([found.high[:1], found.high[:-1]])
            fell = (found.high > found.low) | ((found.high > before) & (found.high > 0.0))
            return found.bucket_ms, fell.astype(float)
    return None


def data_of(
    connection: Connection, cells: Cells, where: Positions, boards: dict[int, Weighed], board_id: int, now_ms: int
) -> list[Datum]:
    """Return what load cells tell of one board since it came into its sizes, each weight as a datum for its refit."""
    found = []
    for probe_id in cells:
        for load in loads_of(cells, where, probe_id, now_ms):
            if board_id in load.boards:
                told = _told(connection, cells, where, load, boards, board_id)
                found += [one for one in told if one.at_ms >= boards[board_id].start_ms]
    return found


def _told(
    connection: Connection, cells: Cells, where: Positions, load: Load, boards: dict[int, Weighed], board_id: int
) -> list[Datum]:
    alone = len(load.boards) == 1
    told = weight(connection, cells, where, load, boards, weighed_apart=alone)
    chosen = load_cell.thinned(told, MOST_WEIGHTS)
    weighings = weighings_of(load, boards)
    if not alone:
        return _of_one(chosen, load, weighings, board_id)
    tared = -(load.start_ms * _PROBES + load.probe_id)  # of this load of this cell alone
    by = np.array([tared, *(one.weighed_ms[0] for one in weighings)], dtype=np.int64)
    return observations.cell_weights(chosen, by[chosen.group])


def _of_one(chosen: Thinned, load: Load, weighings: list[Weighing], board_id: int) -> list[Datum]:
    """Share the weights of a stack out to one board, from the last time that all of it had been weighed."""
    which = load.boards.index(board_id)
    edges = [one.anchor.at_ms for one in weighings] + [load.end_ms]
    found = []
    for one, (first, last) in zip(weighings, pairwise(edges), strict=True):
        since = (chosen.at_ms >= first) & (chosen.at_ms < last)
        part = shared_out(one.members, which, chosen.only(since))
        found += observations.cell_weights(part, np.full(part.at_ms.size, one.weighed_ms[which], dtype=np.int64))
    return found
