"""Taking a planing or sawing back, with everything that it left, and putting it back."""

from __future__ import annotations

from typing import TypeVar

from dashboards import cut_story, display
from dashboards.cut_story import CutKind
from dashboards.entering import Connection, Entered, Hand
from shared.errors import Refused
from shared.store import facts
from shared.store import records as r
from shared.store.records import Subject, SubjectKind
from shared.units import mm_from_m

F = TypeVar("F", bound=r.Fact)
# What sawing in two enters on the new piece, and what any cut may enter on the board beside its sizes and itself.
LEFT_OF_A_PIECE = (r.BoardCut, r.BoardFact, r.BoardPosition, r.BoardCoat, r.SetMember)
LEFT_OF_THE_BOARD = (r.BoardCoat, r.SetMember)
DONE = {
    CutKind.PLANED: "planing",
    CutKind.RESAWN: "resawing",
    CutKind.RIPPED: "ripping",
    CutKind.CROSSCUT: "cross-cutting",
    CutKind.TRIMMED: "trimming",
}


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
    own = facts.at(cuts, entry.true_at_ms) or entry
    kind = cut_story.kind_of(at.connection, own, in_two=piece is not None)
    if piece is not None:
        _refuse_entered_since(at.connection, piece, entry.true_at_ms, DONE[kind])
        for record in LEFT_OF_A_PIECE:
            _withdraw(at, record, piece, entry.true_at_ms)
    for other in LEFT_OF_THE_BOARD:
        _withdraw_together(at, other, board, entry)
    _withdraw_new_set(at, entry)
    _withdraw(at, r.BoardFact, board, entry.true_at_ms)
    made = _withdraw(at, r.BoardCut, board, entry.true_at_ms)
    gone = "" if piece is None else f", and there is no {piece.code}"
    now = f"it is {_sizes(at.connection, board, at.now_ms, kind)} again"
    return Entered(board, "cut", made, f"The {DONE[kind]} of board {board.code} is taken back: {now}{gone}.")


def _withdraw(at: Hand, record: type[F], subject: Subject, true_at_ms: int) -> int:
    """Take back what of one kind is true from this very moment; return the number of the last such entry, or 0."""
    made = 0
    for one in facts.standing(at.connection, record, subject.id):
        if one.true_at_ms == true_at_ms:
            made = facts.withdraw(at.connection, one, entered_at_ms=at.now_ms, by=at.by)
    return made


def _withdraw_together(at: Hand, record: type[F], subject: Subject, entry: r.Fact) -> None:
    """Take back what of one kind was entered on the board together with the cut."""
    for one in facts.standing(at.connection, record, subject.id):
        if _together(one, entry):
            facts.withdraw(at.connection, one, entered_at_ms=at.now_ms, by=at.by)


def _withdraw_new_set(at: Hand, entry: r.Fact) -> None:
    """Take back the set that was made for the two pieces, unless something else was entered about it or is in it."""
    used = {one.set_id for one in facts.standing(at.connection, r.SetMember)}
    for one in facts.standing(at.connection, r.SetFact):
        said = sum(len(facts.standing(at.connection, record, one.subject_id)) for record in facts.TABLES)
        if _together(one, entry) and one.subject_id not in used and said == 1:
            facts.withdraw(at.connection, one, entered_at_ms=at.now_ms, by=at.by)


def _refuse_entered_since(connection: Connection, piece: Subject, true_at_ms: int, done: str) -> None:
    for record in facts.TABLES:
        standing = facts.standing(connection, record, piece.id)
        of_the_cut = record in LEFT_OF_A_PIECE and all(one.true_at_ms == true_at_ms for one in standing)
        if standing and not (of_the_cut and len(standing) == 1):
            raise Refused(
                f"The new piece {piece.code} has entries of its own by now; take those back before the {done}, "
                "or leave it."
            )
    if any(load.board_id == piece.id for load in facts.standing(connection, r.CellLoad)):
        raise Refused(f"The new piece {piece.code} lies on a load cell by now; take that back before the {done}.")
    if any(piece.id in (one.a_board_id, one.b_board_id) for one in facts.standing(connection, r.Joint)):
        raise Refused(f"The new piece {piece.code} has a joint in a set by now; take that back before the {done}.")


def _put_back(at: Hand, board: Subject, entry: r.BoardCut) -> Entered:
    connection = at.connection
    if entry.id not in [one.id for one in facts.taken_back(connection, r.BoardCut, entry.subject_id)]:
        facts.withdraw(connection, entry, entered_at_ms=at.now_ms, by=at.by)  # which says who was quicker
    _refuse_changed(connection, board, entry)
    piece = _piece(connection, facts.taken_back(connection, r.BoardCut), board, entry)
    if piece is not None:
        if any(facts.standing(connection, record, piece.id) for record in facts.TABLES):
            raise Refused(f"There is another board {piece.code} by now; enter the cut anew with another code.")
        for record in LEFT_OF_A_PIECE:
            _restore(at, record, piece, entry)
    _restore_new_set(at, entry)
    _refuse_lost_set(connection, board, entry)
    for other in LEFT_OF_THE_BOARD:
        _restore(at, other, board, entry)
    _restore(at, r.BoardFact, board, entry)
    made = _restore(at, r.BoardCut, board, entry)
    kind = cut_story.kind_of(connection, facts.get(connection, r.BoardCut, made), in_two=piece is not None)
    now = f"it is {_sizes(connection, board, at.now_ms, kind)}"
    there = "" if piece is None else f", and {piece.code} is there again"
    return Entered(board, "cut", made, f"The {DONE[kind]} of board {board.code} is put back: {now}{there}.")


def _restore_new_set(at: Hand, entry: r.Fact) -> None:
    there = {one.subject_id for one in facts.standing(at.connection, r.SetFact)}
    for one in facts.taken_back(at.connection, r.SetFact):
        if _together(one, entry) and one.subject_id not in there:
            facts.undo(at.connection, r.SetFact, one.id, entered_at_ms=at.now_ms, by=at.by)


def _refuse_lost_set(connection: Connection, board: Subject, entry: r.Fact) -> None:
    there = {one.subject_id for one in facts.standing(connection, r.SetFact)}
    for one in facts.taken_back(connection, r.SetMember, board.id):
        if _together(one, entry) and one.set_id is not None and one.set_id not in there:
            raise Refused(
                f"The set that {board.code} was put into with this cut was taken back since: put it back first."
            )


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
    """A cut is of certain sizes: it can be put back only on those that it was entered for."""
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
    if was is None or _shown(was) != _shown(before):
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


def _shown(fact: r.BoardFact) -> str:
    return display.size(fact.thickness_m, fact.width_m, fact.length_m)


def _sizes(connection: Connection, board: Subject, now_ms: int, kind: CutKind) -> str:
    """Say what a cut changed as it is now: the thickness, or all sizes."""
    fact = facts.at(facts.standing(connection, r.BoardFact, board.id), now_ms)
    if fact is None:
        return ""
    return _shown(fact) if kind in cut_story.ACROSS else f"{mm_from_m(fact.thickness_m):.6g} mm thick"
