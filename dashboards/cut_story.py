"""What was said of a board over its life: how it lies and what is on it, its cuts, water, outcome and planned moves."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from dashboards import planning
from dashboards.planning import PlanTold
from dashboards.resting import coat_at, rest_at
from shared.store import Connection, Store, facts
from shared.store.records import (
    BoardCoat,
    BoardCut,
    BoardFact,
    BoardPosition,
    BoardRest,
    Outcome,
    PlannedMove,
    Subject,
    SubjectKind,
    WaterEvent,
)


class CutKind(StrEnum):
    """What a cut was to the board that it is shown with."""

    PLANED = "planed"
    RESAWN = "resawn"
    SAWN_OFF = "sawn off another board"


@dataclass(frozen=True)
class CutTold:
    """One cut: what it was, how thick that was just before [m], and the other board that had to do with it."""

    cut: BoardCut
    kind: CutKind
    before_m: float
    other: str  # code of the board that it was sawn from, or of the piece that was sawn off it; empty for a planing


@dataclass(frozen=True)
class BoardStory:
    """Everything said of how a board lies, its finish, its cuts, what came to it, what became of it, where it is to go.

    ``rest`` and ``coat`` are those in force.
    """

    rest: BoardRest | None
    coat: BoardCoat | None
    rests: list[BoardRest]
    coats: list[BoardCoat]
    cuts: list[CutTold]
    first_m: float  # how thick it was when it was entered, or sawn off another
    waters: list[WaterEvent]
    outcomes: list[Outcome]
    plans: list[PlanTold]  # moves planned for the board itself


def read(store: Store, board: Subject, now_ms: int) -> BoardStory:
    """Read the story of a board as it stands at ``now_ms`` (UTC ms)."""
    with store.reading() as connection:
        rests = facts.standing(connection, BoardRest, board.id)
        coats = facts.standing(connection, BoardCoat, board.id)
        positions = facts.standing(connection, BoardPosition, board.id)
        sizes = facts.standing(connection, BoardFact, board.id)
        return BoardStory(
            rest=rest_at(rests, positions, now_ms),
            coat=coat_at(coats, now_ms),
            rests=rests,
            coats=coats,
            cuts=_cuts(connection, board),
            first_m=sizes[0].thickness_m if sizes else 0.0,
            waters=facts.standing(connection, WaterEvent, board.id),
            outcomes=facts.standing(connection, Outcome, board.id),
            plans=planning.told(facts.standing(connection, PlannedMove, board.id), positions, now_ms),
        )


def _cuts(connection: Connection, board: Subject) -> list[CutTold]:
    every = facts.standing(connection, BoardCut)
    codes = {one.id: one.code for one in facts.subjects(connection, SubjectKind.BOARD)}
    pieces = {one.true_at_ms: codes[one.subject_id] for one in every if one.from_board_id == board.id}
    found = []
    for cut in (one for one in every if one.subject_id == board.id):
        if cut.from_board_id is not None:
            kind, other = CutKind.SAWN_OFF, codes[cut.from_board_id]
        else:
            other = pieces.get(cut.true_at_ms, "")
            kind = CutKind.RESAWN if other else CutKind.PLANED
        found.append(CutTold(cut, kind, _before_m(connection, cut), other))
    return found


def _before_m(connection: Connection, cut: BoardCut) -> float:
    """Return how thick [m] what was cut was just before; the far end of what was left, where nobody says."""
    source = cut.subject_id if cut.from_board_id is None else cut.from_board_id
    was = facts.at(facts.standing(connection, BoardFact, source), cut.true_at_ms - 1)
    return cut.far_m if was is None else was.thickness_m
