"""Taking a planing or a resawing back, with everything that it left, and putting it back."""

from __future__ import annotations

from typing import TypeVar

from dashboards import display
from dashboards.entering import Connection, Entered, Hand
from shared.errors import Refused
from shared.store import facts
from shared.store import records as r
from shared.store.records import Subject, SubjectKind
from shared.units import mm_from_m

F = TypeVar("F", bound=r.Fact)
LEFT_OF_A_PIECE = (r.BoardCut, r.BoardFact, r.BoardPosition, r.BoardCoat)  # what resawing enters on the new piece


def undo_cut(at: Hand, about: Subject, entry: r.BoardCut) -> Entered:
    """Take a cut back or put it back: the cut, the sizes that it left, and the piece that it made.

    ``entry`` may be the cut of the board or that of its new piece. Raises Refused when the board was cut again,
    when anything else was entered on the new piece, or when the board is no longer what was cut.
    """
    board = about if entry.from_board_id is None else _board(at.connection, entry.from_board_id)
    return _put_back(at, board, entry) if entry.withdrawn else _take_back(at, board, entry)


def _take_back(at: Hand, board: Subject, entry: r.BoardCut) -> Entered:
    if entry.id not in [one.id for one in facts.standing(at.connection, r.BoardCut, entry.subject_id)]:
        facts.withdraw(at.connection, entry, entered_at_ms=at.now_ms, by=at.by)  # which says who was quicker
    cuts = facts.standing(at.connection, r.BoardCut, board.id)
    later = [one for one in cuts if one.true_at_ms > entry.true_at_ms]
    if later:
        when = display.moment(later[-1].true_at_ms)
        raise Refused(f"Board {board.code} was planed or sawn again on {when}: take cut {later[-1].id} back first.")
    piece = _piece(at.connection, facts.standing(at.connection, r.BoardCut), board, entry)
    if piece is not None:
        _refuse_entered_since(at.connection, piece, entry.true_at_ms)
        for record in LEFT_OF_A_PIECE:
            _withdraw(at, record, piece, entry.true_at_ms)
    _withdraw(at, r.BoardFact, board, entry.true_at_ms)
    made = _withdraw(at, r.BoardCut, board, entry.true_at_ms)
    what = "planing" if piece is None else "resawing"
    gone = "" if piece is None else f", and there is no {piece.code}"
    now = f"it is {_thickness_mm(at.connection, board, at.now_ms)} mm thick again"
    return Entered(board, "cut", made, f"The {what} of board {board.code} is taken back: {now}{gone}.")


def _withdraw(at: Hand, record: type[F], subject: Subject, true_at_ms: int) -> int:
    """Take back what of one kind is true from this very moment; return the number of the last such entry, or 0."""
    made = 0
    for one in facts.standing(at.connection, record, subject.id):
        if one.true_at_ms == true_at_ms:
            made = facts.withdraw(at.connection, one, entered_at_ms=at.now_ms, by=at.by)
    return made


def _refuse_entered_since(connection: Connection, piece: Subject, true_at_ms: int) -> None:
    for record in facts.TABLES:
        standing = facts.standing(connection, record, piece.id)
        of_the_cut = record in LEFT_OF_A_PIECE and all(one.true_at_ms == true_at_ms for one in standing)
        if standing and not (of_the_cut and len(standing) == 1):
            raise Refused(
                f"The new piece {piece.code} has entries of its own by now; take those back before the resawing, "
                "or leave it."
            )
    if any(load.board_id == piece.id for load in facts.standing(connection, r.CellLoad)):
        raise Refused(f"The new piece {piece.code} lies on a load cell by now; take that back before the resawing.")


def _put_back(at: Hand, board: Subject, entry: r.BoardCut) -> Entered:
    connection = at.connection
    if entry.id not in [one.id for one in facts.taken_back(connection, r.BoardCut, entry.subject_id)]:
        facts.withdraw(connection, entry, entered_at_ms=at.now_ms, by=at.by)  # which says who was quicker
    _refuse_changed(connection, board, entry)
    piece = _piece(connection, facts.taken_back(connection, r.BoardCut), board, entry)
    if piece is not None:
        if any(facts.standing(connection, record, piece.id) for record in facts.TABLES):
            raise Refused(f"There is another board {piece.code} by now; enter the resawing anew with another code.")
        for record in LEFT_OF_A_PIECE:
            _restore(at, record, piece, entry)
    _restore(at, r.BoardFact, board, entry)
    made = _restore(at, r.BoardCut, board, entry)
    what = "planing" if piece is None else "resawing"
    now = f"it is {_thickness_mm(connection, board, at.now_ms)} mm thick"
    there = "" if piece is None else f", and {piece.code} is there again"
    return Entered(board, "cut", made, f"The {what} of board {board.code} is put back: {now}{there}.")


def _restore(at: Hand, record: type[F], subject: Subject, entry: r.BoardCut) -> int:
    """Put back what was taken back together with ``entry``; return the number of the last such entry, or 0."""
    made = 0
    for one in facts.taken_back(at.connection, record, subject.id):
        if _together(one, entry):
            made = facts.undo(at.connection, record, one.id, entered_at_ms=at.now_ms, by=at.by)
    return made


def _together(one: r.Fact, entry: r.Fact) -> bool:
    return (one.true_at_ms, one.entered_at_ms, one.entered_by) == (
        entry.true_at_ms,
        entry.entered_at_ms,
        entry.entered_by,
    )


def _refuse_changed(connection: Connection, board: Subject, entry: r.BoardCut) -> None:
    """A cut is a depth in a thickness: it can be put back only on the thickness that it was entered for."""
    again = f"Board {board.code} is not as it was when this cut was entered; enter the cut anew."
    history = facts.standing(connection, r.BoardFact, board.id)
    cuts = facts.standing(connection, r.BoardCut, board.id)
    before = facts.at(history, entry.true_at_ms - 1)
    if before is None or any(one.true_at_ms >= entry.true_at_ms for one in (*history[1:], *cuts)):
        raise Refused(again)
    first: r.BoardCut = entry
    while first.supersedes is not None:
        first = facts.get(connection, r.BoardCut, first.supersedes)
    known = facts.standing(connection, r.BoardFact, board.id, first.entered_at_ms)
    was = facts.at(known, entry.true_at_ms - 1)
    if was is None or display.millimetres(was.thickness_m) != display.millimetres(before.thickness_m):
        raise Refused(again)


def _piece(connection: Connection, cuts: list[r.BoardCut], board: Subject, entry: r.BoardCut) -> Subject | None:
    """Return the piece that a cut sawed off, found among ``cuts``; None for a planing."""
    for one in cuts:
        if one.from_board_id != board.id or one.true_at_ms != entry.true_at_ms:
            continue
        if not entry.withdrawn or _together(one, entry):
            return _board(connection, one.subject_id)
    return None


def _board(connection: Connection, subject_id: int) -> Subject:
    return next(one for one in facts.subjects(connection, SubjectKind.BOARD) if one.id == subject_id)


def _thickness_mm(connection: Connection, board: Subject, now_ms: int) -> str:
    fact = facts.at(facts.standing(connection, r.BoardFact, board.id), now_ms)
    return "" if fact is None else f"{mm_from_m(fact.thickness_m):.6g}"
