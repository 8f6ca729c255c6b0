"""Everything that people entered about the wood of a yard, read once for all boards."""

from __future__ import annotations

from dataclasses import dataclass, fields
from functools import cached_property

from dashboards import airs, calibrations, cells, limits_now, planning
from dashboards.calibrations import Checks, MeterNow
from kiln.limits import Limits
from shared.settings import Settings
from shared.store import Connection, facts
from shared.store.records import (
    BagTest,
    BoardCoat,
    BoardCut,
    BoardFact,
    BoardRest,
    Joint,
    Lifted,
    Outcome,
    OvenDryResult,
    Override,
    PinReading,
    PlaceClimate,
    PlaceFact,
    PlannedMove,
    SetMember,
    SubjectKind,
    UsePlan,
    WaterEvent,
    WeighIn,
)
from shared.tables import Use

DEFAULT_USE = "machine"


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
    sizes: list[BoardFact]  # its life long, in order of time
    rests: list[BoardRest]
    coats: list[BoardCoat]
    cuts: list[BoardCut]
    waters: list[WaterEvent]
    outcomes: list[Outcome]


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
    latitude_longitude_deg: tuple[float, float] | None  # of the yard; None: not set
    moves: dict[int, list[PlannedMove]]  # by board or stack, past ones too
    climates: dict[int, PlaceClimate]  # by place
    own_limits: limits_now.OwnLimits  # by name
    lifted: dict[int, Lifted]  # by board
    overrides: dict[int, list[Override]]  # by board or set, in order of time
    joints: dict[int, list[Joint]]  # by set
    learn_from_finished: bool = True  # the setting

    @cached_property
    def uses(self) -> dict[str, Use]:
        """The uses by name, as this yard has them."""
        return limits_now.uses_now(self.own_limits)

    @cached_property
    def limits(self) -> Limits:
        """The limits of verdicts, as this yard has them."""
        return Limits(**{one.name: limits_now.limit_now(self.own_limits, one.name) for one in fields(Limits)})

    def use_of(self, plan: UsePlan | None) -> tuple[Use, float, float]:
        """Return the use, and the humidity [%RH] and temperature [°C] of the air it is meant for."""
        use = self.uses[plan.use if plan else DEFAULT_USE]
        if plan is None:
            return use, use.destination_rh_pct, use.destination_temperature_c
        return use, plan.destination_rh_pct, plan.destination_temperature_c

    @cached_property
    def by_wood(self) -> dict[tuple[str, str], list[int]]:
        """The boards of each species and origin."""
        found: dict[tuple[str, str], list[int]] = {}
        for one, board in self.boards.items():
            found.setdefault((board.fact.species, str(board.fact.origin)), []).append(one)
        return found

    @cached_property
    def lots(self) -> dict[int, tuple[str, int] | None]:
        """The stack, or else the set, that each board belongs to; None: it lies by itself."""
        return {one: self._lot(one) for one in self.boards}

    def _lot(self, board_id: int) -> tuple[str, int] | None:
        positions = self.where.boards.get(board_id, [])
        stack_id = positions[-1].stack_id if positions else None
        if stack_id is not None:
            return "stack", stack_id
        member = self.membership.get(board_id)
        return ("set", member.set_id) if member is not None and member.set_id is not None else None

    @cached_property
    def looked_at(self) -> tuple[int, ...]:
        """The boards on which an outcome was entered."""
        return tuple(one for one, board in self.boards.items() if board.outcomes)

    def as_weighed(self) -> dict[int, cells.Weighed]:
        """Return every board as load cells need it."""
        return {one: cells.Weighed(board.fact, board.start_ms, board.weigh_ins) for one, board in self.boards.items()}

    def moves_ahead(self, board_id: int, now_ms: int) -> list[PlannedMove]:
        """Return where a board is planned to go, in order of time: by itself, and with the stack that it lies in now.

        Once it is taken out of its stack by a plan of its own, it goes nowhere with it any more.
        """
        own = planning.ahead(self.moves.get(board_id, []), self.where.boards.get(board_id, []), now_ms)
        position = self.where.board_at(board_id, now_ms)
        stack_id = position.stack_id if position else None
        if stack_id is None:
            return [own] if own else []
        shared = planning.ahead(self.moves.get(stack_id, []), self.where.stacks.get(stack_id, []), now_ms)
        if own and shared and own.true_at_ms <= shared.true_at_ms:
            shared = None
        return [one for one in (shared, own) if one]

    def cell_loads(self, board_id: int, now_ms: int) -> list[cells.Load]:
        """Return every time that a load cell carried a board, by itself or in a stack."""
        loads = (one for probe_id in self.cells for one in cells.loads_of(self.cells, self.where, probe_id, now_ms))
        return [one for one in loads if board_id in one.boards]


def read_entries(connection: Connection, now_ms: int, settings: Settings | None = None) -> Entries:
    """Read what is entered about every board; of the settings, where on earth the yard is."""
    by_board = {
        kind: airs.by_subject(facts.standing(connection, kind))
        for kind in (WeighIn, PinReading, OvenDryResult, BagTest, BoardRest, BoardCoat, BoardCut, WaterEvent, Outcome)
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
            sizes=history,
            rests=by_board[BoardRest].get(one.id, []),
            coats=by_board[BoardCoat].get(one.id, []),
            cuts=by_board[BoardCut].get(one.id, []),
            waters=by_board[WaterEvent].get(one.id, []),
            outcomes=by_board[Outcome].get(one.id, []),
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
        _on_earth(settings or Settings()),
        airs.by_subject(facts.standing(connection, PlannedMove)),
        {one.subject_id: one for one in facts.standing(connection, PlaceClimate)},
        limits_now.own_limits(connection, now_ms),
        {one.subject_id: one for one in facts.standing(connection, Lifted)},
        airs.by_subject(facts.standing(connection, Override)),
        airs.by_subject(facts.standing(connection, Joint)),
        (settings or Settings()).learn_from_finished,
    )


def _on_earth(settings: Settings) -> tuple[float, float] | None:
    position = (settings.latitude_deg, settings.longitude_deg)
    return None if position == (0.0, 0.0) else position


def members(connection: Connection, now_ms: int, known_at_ms: int | None = None) -> dict[int, SetMember]:
    """Return, by board, the set that it belongs to at ``now_ms``; ``known_at_ms``: as it was known then, None: now."""
    history = airs.by_subject(facts.standing(connection, SetMember, known_at_ms=known_at_ms))
    found = {board_id: facts.at(entries, now_ms) for board_id, entries in history.items()}
    return {board_id: member for board_id, member in found.items() if member is not None and member.set_id is not None}


def _plan(plans: dict[int, list[UsePlan]], board_id: int, member: SetMember | None, now_ms: int) -> UsePlan | None:
    """A piece of a set is wanted for what the set is wanted for, unless it has a use of its own."""
    own = facts.at(plans.get(board_id, []), now_ms)
    if own is not None or member is None or member.set_id is None:
        return own
    return facts.at(plans.get(member.set_id, []), now_ms)
