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
    RIPPED = "ripped"
    CROSSCUT = "cross-cut"
    TRIMMED = "trimmed"
    SAWN_OFF = "sawn off another board"
    RIPPED_OFF = "ripped off another board"
    CUT_OFF = "cross-cut off another board"


AS_A_PIECE = {
    CutKind.RESAWN: CutKind.SAWN_OFF,
    CutKind.RIPPED: CutKind.RIPPED_OFF,
    CutKind.CROSSCUT: CutKind.CUT_OFF,
}
ACROSS = frozenset(CutKind) - {CutKind.PLANED, CutKind.RESAWN, CutKind.SAWN_OFF}  # all of the thickness is left


@dataclass(frozen=True)
class CutTold:
    """One cut: what it was, how thick that was just before [m], and the other board that had to do with it."""

    cut: BoardCut
    kind: CutKind
    before_m: float
    other: str  # code of the board that it was sawn from, or of the piece that was sawn off it; else empty
    before_face_m: tuple[float, float]  # width and length of what was cut, just before
    left_face_m: tuple[float, float]  # and of what is told here, just after


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
    first_face_m: tuple[float, float]  # and how wide and long
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
            first_face_m=_face_m(sizes[0] if sizes else None),
            waters=facts.standing(connection, WaterEvent, board.id),
            outcomes=facts.standing(connection, Outcome, board.id),
            plans=planning.told(facts.standing(connection, PlannedMove, board.id), positions, now_ms),
        )


def _face_m(fact: BoardFact | None) -> tuple[float, float]:
    return (0.0, 0.0) if fact is None else (fact.width_m, fact.length_m)


def _cuts(connection: Connection, board: Subject) -> list[CutTold]:
    codes = {one.id: one.code for one in facts.subjects(connection, SubjectKind.BOARD)}
    return [_told(connection, cut, codes) for cut in facts.standing(connection, BoardCut, board.id)]


def _told(connection: Connection, cut: BoardCut, codes: dict[int, str]) -> CutTold:
    pieces = [
        one.subject_id
        for one in facts.standing(connection, BoardCut)
        if (one.from_board_id, one.true_at_ms) == (cut.subject_id, cut.true_at_ms)
    ]
    other = cut.from_board_id if cut.from_board_id is not None else (pieces or [None])[0]
    left = facts.at(facts.standing(connection, BoardFact, cut.subject_id), cut.true_at_ms)
    was = _just_before(connection, cut) or left
    return CutTold(
        cut,
        kind_of(connection, cut, in_two=other is not None),
        cut.far_m if was is None else was.thickness_m,
        "" if other is None else codes[other],
        _face_m(was),
        _face_m(left),
    )


def kind_of(connection: Connection, cut: BoardCut, *, in_two: bool) -> CutKind:
    """Return what a cut that stands was; ``in_two``: it left two pieces."""
    left = facts.at(facts.standing(connection, BoardFact, cut.subject_id), cut.true_at_ms)
    kind = _kind(cut, _just_before(connection, cut), left, in_two=in_two)
    return AS_A_PIECE[kind] if cut.from_board_id is not None else kind


def _kind(cut: BoardCut, was: BoardFact | None, left: BoardFact | None, *, in_two: bool) -> CutKind:
    """A cut that left all of the thickness went across: through the width or the length, whichever it left less of."""
    if was is None or left is None or (cut.near_m, cut.far_m) != (0.0, was.thickness_m):
        return CutKind.RESAWN if in_two else CutKind.PLANED
    if not in_two:
        return CutKind.TRIMMED
    return CutKind.RIPPED if left.width_m / was.width_m < left.length_m / was.length_m else CutKind.CROSSCUT


def _just_before(connection: Connection, cut: BoardCut) -> BoardFact | None:
    """What was cut, just before; None where nobody says."""
    source = cut.subject_id if cut.from_board_id is None else cut.from_board_id
    return facts.at(facts.standing(connection, BoardFact, source), cut.true_at_ms - 1)
