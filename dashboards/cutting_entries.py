"""Planing a board, and sawing it in two through its thickness: what is left of it, and the new piece.

Each cut is a BoardCut and, true from the same moment, a BoardFact with the sizes that are left; no two cuts
of a board share a moment, so that the two are found together. Depths begin at the marked face. The piece at the
marked face keeps the board's code. The new piece's own depths begin at the sawn face: that is its marked face,
and its other face is the old board's other face. Cuts across the width and the length are in ``sawing_entries``.
"""

from __future__ import annotations

from dashboards import display, entering, fields, regrouping
from dashboards.entering import Connection, Entered, Hand, hand
from dashboards.regrouping import NO_SET, Into
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
    board, fact = uncut_since(at, code)
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
    into: Into = NO_SET,
    true_at_ms: int | None = None,
) -> Entered:
    """Saw a board in two through its thickness; the piece at the marked face keeps its code, the other is ``piece``.

    ``kerf_mm`` is what the saw turned into dust, ``depth_mm`` how deep below the marked face it went in (both in
    mm; empty depth: through the middle). The new piece lies where the board lies at that moment. ``into``: the set
    that both pieces are put into.
    """
    at = hand(connection, by, now_ms, true_at_ms)
    board, fact = uncut_since(at, code)
    depth, kerf = first_and_kerf_mm(mm_from_m(fact.thickness_m), "depth of the cut", depth_mm, kerf_mm, THINNEST_MM)
    other, named = new_piece(connection, piece, piece_name)
    made, left_m = _cut(at, board, fact, 0.0, m_from_mm(depth))
    begin_m = m_from_mm(depth + kerf)
    sizes = facts.own_values(fact) | {"name": named}
    _made, other_m = _cut(at, other, fact, begin_m, fact.thickness_m, sizes, board.id)
    lie_beside(at, board, other)
    finished = _carry_coat(at, board, other) + regrouping.put_together(at, into, board, other)
    told = f"{mm_from_m(fact.thickness_m):.6g} → {mm_from_m(left_m):.6g} mm thick"
    beside = f"{other.code}, {mm_from_m(other_m):.6g} mm, lies where it lies"
    return Entered(board, "cut", made, f"Board {board.code} is resawn: {told}; the new piece {beside}.{finished}")


def uncut_since(at: Hand, code: str) -> tuple[r.Subject, r.BoardFact]:
    """Return a board in its present sizes; raises BadInput for a moment that is not later than they are."""
    board, fact = entering.board(at.connection, code)
    if at.true_at_ms <= fact.true_at_ms:
        accepted = f"later than {display.moment(fact.true_at_ms)}, since when {board.code} is in its present sizes"
        raise BadInput("time", display.moment(at.true_at_ms), accepted)
    return board, fact


def first_and_kerf_mm(
    whole_mm: float, field: str, first_mm: Typed, kerf_mm: Typed, least_mm: float
) -> tuple[float, float]:
    """Return how much of a thickness, width or length the first of two pieces has (empty: both alike), and the kerf.

    Raises BadInput, naming ``field``, where one of them would be less than ``least_mm``.
    """
    kerf = fields.number("saw kerf", kerf_mm, *KERF_MM, "mm")
    most = round(whole_mm - kerf - least_mm, 6)
    if most < least_mm:
        accepted = f"one that leaves two pieces of {least_mm:g} mm or more of {whole_mm:.6g} mm"
        raise BadInput("saw kerf", f"{kerf:g} mm", accepted)
    if first_mm is None or str(first_mm).strip() == "":
        return (whole_mm - kerf) / 2, kerf
    return fields.number(field, first_mm, least_mm, most, "mm"), kerf


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


def new_piece(connection: Connection, typed: str, typed_name: str) -> tuple[r.Subject, str]:
    """Return the new piece under its code, and its name; one of which everything was taken back may be given again."""
    wanted = fields.code("code of the new piece", typed)
    named = fields.text("name of the new piece", typed_name or typed, entering.NAME_LENGTH, needed=True)
    return regrouping.subject(connection, SubjectKind.BOARD, wanted), named


def lie_beside(at: Hand, board: r.Subject, other: r.Subject) -> None:
    """Lay the new piece where the board lies at that moment."""
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
