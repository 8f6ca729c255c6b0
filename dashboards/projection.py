"""From what is stored to a board's projection, and back out of the cache.

A projection is worked out by the watch, kept in the store as a cache under a key made of everything it
rests on, and read from there by pages and commands; the cache can be thrown away at any time.
"""

from __future__ import annotations

import hashlib
import json
from dataclasses import dataclass, fields, replace
from typing import Any

from dashboards import airs, calibrations, cells
from dashboards.calibrations import Checks, MeterNow
from dashboards.projection_json import MODEL, missing, to_json
from kiln import bag, drying, estimation, forecast, meters, observations, wood
from kiln.air import AirHours
from shared.errors import BenchdryError
from shared.store import Connection, Store, cache, facts
from shared.store.records import (
    BagTest,
    BoardFact,
    CachedProjection,
    Fact,
    OvenDryResult,
    PinReading,
    PlaceFact,
    SetMember,
    SubjectKind,
    UsePlan,
    WeighIn,
)
from shared.tables import Use, held_species, species, uses
from shared.units import MS_PER_DAY, MS_PER_HOUR

DEFAULT_USE = "machine"
RECORD_DAYS = 3 * 366  # how much of a place's air is drawn on for the time ahead


@dataclass(frozen=True)
class BoardEntries:
    """Everything entered about one board's wood, as it stands."""

    fact: BoardFact
    start_ms: int
    weigh_ins: list[WeighIn]
    pins: list[PinReading]
    oven_dry: list[OvenDryResult]
    bags: list[BagTest]
    plan: UsePlan | None


@dataclass(frozen=True)
class Entries:
    """Entries by board, read once for all."""

    boards: dict[int, BoardEntries]
    places: dict[int, PlaceFact]
    membership: dict[int, SetMember]
    plans: dict[int, list[UsePlan]]
    where: airs.Positions
    meters: dict[int, MeterNow]
    checks: dict[int, Checks]
    cells: cells.Cells

    def as_weighed(self) -> dict[int, cells.Weighed]:
        """Return every board as load cells need it."""
        return {one: cells.Weighed(board.fact, board.start_ms, board.weigh_ins) for one, board in self.boards.items()}

    def cell_loads(self, board_id: int, now_ms: int) -> list[cells.Load]:
        """Return every time that a load cell carried a board, by itself or in a stack."""
        loads = (one for probe_id in self.cells for one in cells.loads_of(self.cells, self.where, probe_id, now_ms))
        return [one for one in loads if board_id in one.boards]


def read_entries(connection: Connection, now_ms: int) -> Entries:
    """Read what is entered about every board."""
    by_board = {
        kind: airs.by_subject(facts.standing(connection, kind))
        for kind in (WeighIn, PinReading, OvenDryResult, BagTest)
    }
    plans = airs.by_subject(facts.standing(connection, UsePlan))
    membership = members(connection, now_ms)
    described = airs.by_subject(facts.standing(connection, BoardFact))
    boards = {}
    for one in facts.subjects(connection, SubjectKind.BOARD):
        if one.id not in described:
            continue
        history = described[one.id]
        boards[one.id] = BoardEntries(
            fact=facts.at(history, now_ms) or history[0],
            start_ms=history[0].true_at_ms,
            weigh_ins=by_board[WeighIn].get(one.id, []),
            pins=by_board[PinReading].get(one.id, []),
            oven_dry=by_board[OvenDryResult].get(one.id, []),
            bags=by_board[BagTest].get(one.id, []),
            plan=_plan(plans, one.id, membership.get(one.id), now_ms),
        )
    places = {fact.subject_id: fact for fact in facts.standing(connection, PlaceFact)}
    return Entries(
        boards,
        places,
        membership,
        plans,
        airs.positions(connection),
        calibrations.meters_now(connection),
        calibrations.all_checks(connection),
        cells.all_cells(connection),
    )


def members(connection: Connection, now_ms: int) -> dict[int, SetMember]:
    """Return, by board, the set that it belongs to now."""
    history = airs.by_subject(facts.standing(connection, SetMember))
    found = {board_id: facts.at(entries, now_ms) for board_id, entries in history.items()}
    return {board_id: member for board_id, member in found.items() if member is not None and member.set_id is not None}


def _plan(plans: dict[int, list[UsePlan]], board_id: int, member: SetMember | None, now_ms: int) -> UsePlan | None:
    """A piece of a set is wanted for what the set is wanted for, unless it has a use of its own."""
    own = facts.at(plans.get(board_id, []), now_ms)
    if own is not None or member is None or member.set_id is None:
        return own
    return facts.at(plans.get(member.set_id, []), now_ms)


def use_of(plan: UsePlan | None) -> tuple[Use, float, float]:
    """Return the use, and the humidity [%RH] and temperature [°C] of the air it is meant for."""
    use = uses()[plan.use if plan else DEFAULT_USE]
    if plan is None:
        return use, use.destination_rh_pct, use.destination_temperature_c
    return use, plan.destination_rh_pct, plan.destination_temperature_c


def input_key(entries: Entries, board_id: int, now_ms: int) -> str:
    """Return a key that changes with every entry that bears on a board, and with every full hour.

    Before the dot stand the entries, after it the hour.
    """
    board = entries.boards[board_id]
    stays = entries.where.board_stays(board_id, board.start_ms, now_ms)
    spans = sorted(
        {span for stay in stays if stay.place_id is not None for span in entries.where.probes_of(stay.place_id)}
    )
    heard_by = {probe_id for probe_id, _begin, _finish in spans} | {bag.probe_id for bag in board.bags}
    read_by = {pin.meter_id for pin in board.pins}
    rests_on = [
        MODEL,
        [_said(e) for e in (board.fact, *board.weigh_ins, *board.pins, *board.oven_dry, *board.bags)],
        str(species().get(board.fact.species)),
        [str(entries.meters[m].lot) for m in sorted(entries.meters) if m in read_by],
        [str(entries.checks[p]) for p in sorted(entries.checks) if p in heard_by],
        _said(board.plan),
        [(stay.start_ms, stay.place_id) for stay in stays],
        [str(span) for span in spans],
        _in_stack(entries, board_id, now_ms),
        board.start_ms,
        [str(entries.places[s.place_id].kind) for s in stays if s.place_id in entries.places],
        _on_cells(entries, board_id, now_ms),
    ]
    entered = hashlib.sha256(json.dumps(rests_on).encode()).hexdigest()[:24]
    return f"{entered}.{now_ms // MS_PER_HOUR}"


def _on_cells(entries: Entries, board_id: int, now_ms: int) -> list[Any]:
    """What bears on a board's weights by load cells: the cells' tares, and the weigh-ins of all that lay on them."""
    told: list[Any] = []
    for load in entries.cell_loads(board_id, now_ms):
        weighed = [
            _said(one) for board in load.boards if board in entries.boards for one in entries.boards[board].weigh_ins
        ]
        tares = [_said(one) for one in entries.cells[load.probe_id].tares]
        told.append([load.probe_id, load.start_ms, load.error_kg, load.boards, tares, weighed])
    return told


def rests_on_all_entries(held: CachedProjection, key: str) -> bool:
    """Whether a cached projection rests on the entries of ``key``, be it of an earlier hour."""
    return held.input_key.partition(".")[0] == key.partition(".")[0]


def _in_stack(entries: Entries, board_id: int, now_ms: int) -> bool:
    position = entries.where.board_at(board_id, now_ms)
    return position is not None and position.stack_id is not None


def _said(entry: Fact | None) -> list[Any] | None:
    if entry is None:
        return None
    ignored = {"id", "entered_at_ms", "entered_by", "supersedes", "withdrawn"}
    return [str(getattr(entry, field.name)) for field in fields(entry) if field.name not in ignored]


def question(connection: Connection, entries: Entries, board_id: int, now_ms: int) -> forecast.Question:
    """Put together everything that a board's projection is made from.

    Raises ValueError, in words, when it is too little.
    """
    board = entries.boards[board_id]
    stays = entries.where.board_stays(board_id, board.start_ms, now_ms)
    if not stays or stays[-1].place_id is None:
        raise ValueError("nobody has said where it is")
    way = airs.way_air(connection, entries.where, stays)
    if not way.known.any():
        raise ValueError("no air has been logged where it is")
    use, rh_pct, temperature_c = use_of(board.plan)
    piece = drying.Piece(
        species=held_species(board.fact.species),
        thickness_m=board.fact.thickness_m,
        width_m=board.fact.width_m,
        length_m=board.fact.length_m,
        origin=str(board.fact.origin),
        place_kind=str(entries.places[stays[-1].place_id].kind),
        in_stack=_in_stack(entries, board_id, now_ms),
        rh_error_pct=airs.way_rh_error_pct(entries.where, entries.checks, stays),
    )
    return forecast.Question(
        piece,
        way,
        _record(connection, entries, stays[-1].place_id, now_ms),
        _data(connection, entries, board_id, now_ms),
        use,
        rh_pct,
        temperature_c,
    )


def _record(connection: Connection, entries: Entries, place_id: int, now_ms: int) -> AirHours:
    start_ms = airs.first_air_ms(connection, entries.where, place_id)
    start_ms = max(start_ms or now_ms - MS_PER_HOUR, now_ms - RECORD_DAYS * MS_PER_DAY)
    return airs.place_air(connection, entries.where, place_id, min(start_ms, now_ms - MS_PER_HOUR), now_ms)


def _data(connection: Connection, entries: Entries, board_id: int, now_ms: int) -> tuple[estimation.Datum, ...]:
    """Everything measured on a board since it came into these sizes, in order of time."""
    board = entries.boards[board_id]
    found = [
        observations.weigh_in(w.true_at_ms, w.mass_kg, w.scale_error_kg, _cut_dry_kg(board, w.true_at_ms))
        for w in board.weigh_ins
    ]
    found += [_pin(entries, board.fact, p) for p in board.pins]
    found += [observations.section(o.true_at_ms, o.wet_mass_kg, o.dry_mass_kg) for o in board.oven_dry]
    found += [_bag_test(entries, board.fact, b) for b in board.bags]
    on_cells = cells.data_of(connection, entries.cells, entries.where, entries.as_weighed(), board_id, now_ms)
    found += [replace(one, cut_dry_kg=_cut_dry_kg(board, one.at_ms)) for one in on_cells]
    return tuple(sorted((d for d in found if d.at_ms >= board.start_ms), key=lambda d: d.at_ms))


def _pin(entries: Entries, fact: BoardFact, read: PinReading) -> estimation.Datum:
    meter = entries.meters.get(read.meter_id) if read.meter_id is not None else None
    scale_c = meter.fact.calibration_temperature_c if meter else None
    lot = meter.lot if meter and meter.fact.species == fact.species else None  # one board was corrected since, say
    of_this_water = meter is not None and meter.fact.origin is fact.origin
    seen = meters.Pin(read.mc_pct, read.wood_temperature_c, scale_c, fact.thickness_m, str(fact.origin))
    return observations.pin(read.true_at_ms, read.depth_m, seen, lot, minerals_known=of_this_water)


def _bag_test(entries: Entries, fact: BoardFact, test: BagTest) -> estimation.Datum:
    rh_pct, error = calibrations.bag_air(entries.checks, test)
    timber = held_species(fact.species)
    faces_m2 = 2.0 * fact.width_m * fact.length_m
    dry_kg = wood.oven_dry_mass_kg(timber.basic_specific_gravity, fact.thickness_m * fact.width_m * fact.length_m)
    piece = bag.Bag(dry_kg, fact.thickness_m, faces_m2, test.air_volume_m3, test.temperature_c, rh_pct)
    told = bag.mc_from_bag(rh_pct, test.temperature_c, error, str(test.last_moved), timber.fsp_pct)
    wait = bag.wait_hours(piece, timber, max(told.mc_pct, 1.0))
    return observations.bag_test(
        test.true_at_ms, rh_pct, test.temperature_c, error, str(test.last_moved), test.waited_s, wait
    )


def _cut_dry_kg(board: BoardEntries, at_ms: int) -> float:
    """Oven-dry mass of the sections cut between a board's first weigh-in and a moment: it is lighter by them."""
    first_ms = min((w.true_at_ms for w in board.weigh_ins), default=board.start_ms)
    return sum(o.dry_mass_kg for o in board.oven_dry if first_ms < o.true_at_ms < at_ms)


def refresh(store: Store, board_id: int, now_ms: int) -> None:
    """Work out one board's projection and keep it; what cannot be said is kept as the reason."""
    with store.reading() as connection:
        entries = read_entries(connection, now_ms)
        key = input_key(entries, board_id, now_ms)
        try:
            asked = question(connection, entries, board_id, now_ms)
        except (ValueError, BenchdryError) as error:
            asked, why = None, str(error)
    body = missing(why) if asked is None else _project(asked)
    with store.writing() as connection:
        cache.put_projection(connection, CachedProjection(board_id, key, now_ms, body))


def _project(asked: forecast.Question) -> str:
    try:
        return to_json(forecast.project(asked))
    except (ValueError, BenchdryError) as error:
        return missing(str(error))


def keep_failure(store: Store, board_id: int, now_ms: int) -> None:
    """Keep it that a board's projection failed for a reason that nobody foresaw; the next hour tries again."""
    with store.reading() as connection:
        key = input_key(read_entries(connection, now_ms), board_id, now_ms)
    with store.writing() as connection:
        body = missing("its projection failed: the log of the watch says why")
        cache.put_projection(connection, CachedProjection(board_id, key, now_ms, body))
