"""Planing a board, and sawing it in two through its thickness: what is left of it, and the new piece.

Each cut is a BoardCut and, true from the same moment, a BoardFact with the thickness that is left; no two cuts
of a board share a moment, so that the two are found together. Depths begin at the marked face. The piece at the
marked face keeps the board's code. The new piece's own depths begin at the sawn face: that is its marked face,
and its other face is the old board's other face.
"""

from __future__ import annotations

from dashboards import display, entering, fields
from dashboards.entering import Connection, Entered, Hand, hand
from shared.errors import BadInput
from shared.store import facts
from shared.store import records as r
from shared.store.records import SubjectKind
from shared.units import m_from_mm, mm_from_m

Typed = str | float | None

THINNEST_MM = 1.0
THICKEST_MM = 300.0
KERF_MM = (0.0, 20.0)  # from a riven board to a coarse chainsaw. Ours
NANOMETRES = 9  # decimals of a metre to which a difference of depths is kept, so that 30 − 5 mm is 25 mm


def plane_board(
    connection: Connection,
    code: str,
    *,
    by: str,
    now_ms: int,
    off_marked_mm: Typed = None,
    off_other_mm: Typed = None,
    true_at_ms: int | None = None,
) -> Entered:
    """Enter how much was planed off a board's marked face and off its other face, in mm (empty: nothing)."""
    at = hand(connection, by, now_ms, true_at_ms)
    board, fact = _uncut_since(at, code)
    near = _off("taken off the marked face", off_marked_mm)
    other = _off("taken off the other face", off_other_mm)
    thick = round(mm_from_m(fact.thickness_m), 6)
    if near + other == 0.0:
        raise BadInput("taken off", "0 mm", "more than 0 mm off one face or off both")
    if round(thick - near - other, 6) < THINNEST_MM:
        accepted = f"up to {thick - THINNEST_MM:.6g} mm in all, which leaves {THINNEST_MM:g} mm of {thick:.6g} mm"
        raise BadInput("taken off", f"{near + other:g} mm", accepted)
    made, left_m = _cut(at, board, fact, m_from_mm(near), fact.thickness_m - m_from_mm(other))
    faces = [f"{taken:g} mm off {face}" for taken, face in ((near, "the marked face"), (other, "the other")) if taken]
    told = f"{thick:.6g} → {mm_from_m(left_m):.6g} mm thick, {display.listed(faces)}"
    return Entered(board, "cut", made, f"Board {board.code} is planed: {told}.")


def _off(field: str, typed: Typed) -> float:
    empty = typed is None or str(typed).strip() == ""
    return 0.0 if empty else fields.number(field, typed, 0.0, THICKEST_MM, "mm")


def resaw_board(
    connection: Connection,
    code: str,
    *,
    kerf_mm: Typed,
    piece: str,
    by: str,
    now_ms: int,
    depth_mm: Typed = None,
    piece_name: str = "",
    true_at_ms: int | None = None,
) -> Entered:
    """Saw a board in two through its thickness; the piece at the marked face keeps its code, the other is ``piece``.

    ``kerf_mm`` is what the saw turned into dust, ``depth_mm`` how deep below the marked face it went in (both in
    mm; empty depth: through the middle). The new piece lies where the board lies at that moment.
    """
    at = hand(connection, by, now_ms, true_at_ms)
    board, fact = _uncut_since(at, code)
    depth, kerf = _depth_and_kerf_mm(mm_from_m(fact.thickness_m), depth_mm, kerf_mm)
    wanted = fields.code("code of the new piece", piece)
    named = fields.text("name of the new piece", piece_name or piece, entering.NAME_LENGTH, needed=True)
    other = _new_piece(connection, wanted)
    made, left_m = _cut(at, board, fact, 0.0, m_from_mm(depth))
    begin_m = m_from_mm(depth + kerf)
    sizes = facts.own_values(fact) | {"name": named}
    _made, other_m = _cut(at, other, fact, begin_m, fact.thickness_m, sizes, board.id)
    _lie_beside(at, board, other)
    finished = _carry_coat(at, board, other)
    told = f"{mm_from_m(fact.thickness_m):.6g} → {mm_from_m(left_m):.6g} mm thick"
    beside = f"{other.code}, {mm_from_m(other_m):.6g} mm, lies where it lies"
    return Entered(board, "cut", made, f"Board {board.code} is resawn: {told}; the new piece {beside}.{finished}")


def _uncut_since(at: Hand, code: str) -> tuple[r.Subject, r.BoardFact]:
    """Return a board in its present sizes; raises BadInput for a moment that is not later than they are."""
    board, fact = entering.board(at.connection, code)
    if at.true_at_ms <= fact.true_at_ms:
        accepted = f"later than {display.moment(fact.true_at_ms)}, since when {board.code} is in its present sizes"
        raise BadInput("time", display.moment(at.true_at_ms), accepted)
    return board, fact


def _depth_and_kerf_mm(thick_mm: float, depth_mm: Typed, kerf_mm: Typed) -> tuple[float, float]:
    kerf = fields.number("saw kerf", kerf_mm, *KERF_MM, "mm")
    deepest = round(thick_mm - kerf - THINNEST_MM, 6)
    if deepest < THINNEST_MM:
        accepted = f"one that leaves two pieces of {THINNEST_MM:g} mm or more of {thick_mm:.6g} mm"
        raise BadInput("saw kerf", f"{kerf:g} mm", accepted)
    if depth_mm is None or str(depth_mm).strip() == "":
        return (thick_mm - kerf) / 2, kerf
    return fields.number("depth of the cut", depth_mm, THINNEST_MM, deepest, "mm"), kerf


def _cut(
    at: Hand,
    board: r.Subject,
    fact: r.BoardFact,
    near_m: float,
    far_m: float,
    values: dict[str, object] | None = None,
    from_board_id: int | None = None,
) -> tuple[int, float]:
    """Write what was left between two depths [m] of ``fact``; return the cut's number and the thickness left [m]."""
    near_m, far_m = round(near_m, NANOMETRES), min(round(far_m, NANOMETRES), fact.thickness_m)
    left_m = round(far_m - near_m, NANOMETRES)
    made = at.write(r.BoardCut, board, from_board_id=from_board_id, near_m=near_m, far_m=far_m)
    at.write(r.BoardFact, board, **(values or facts.own_values(fact)) | {"thickness_m": left_m})
    return made, left_m


def _new_piece(connection: Connection, wanted: str) -> r.Subject:
    """Return the new piece under its code; one of which everything was taken back may be given again."""
    for one in facts.subjects(connection, SubjectKind.BOARD):
        if one.code == wanted and not any(facts.standing(connection, record, one.id) for record in facts.TABLES):
            return one
    return entering.new_subject(connection, SubjectKind.BOARD, wanted)


def _lie_beside(at: Hand, board: r.Subject, other: r.Subject) -> None:
    where = entering.latest(at.connection, r.BoardPosition, board, at.true_at_ms)
    if where is not None:
        at.write(r.BoardPosition, other, **facts.own_values(where))


def _carry_coat(at: Hand, board: r.Subject, other: r.Subject) -> str:
    """The ends of both pieces are sealed as the board's were; which face a finish was on, nobody said."""
    coat = entering.latest(at.connection, r.BoardCoat, board, at.true_at_ms)
    if coat is not None and coat.ends_sealed:
        at.write(r.BoardCoat, other, ends_sealed=True, coat=r.Coat.BARE)
    if coat is None or coat.coat is r.Coat.BARE:
        return ""
    return " The sawn faces are bare: say anew which faces of each are finished."
