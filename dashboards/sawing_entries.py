"""Ripping a board into two narrower ones, cross-cutting it into two shorter ones, and trimming its width or length.

Such a cut is a BoardCut of the whole thickness and, true from the same moment, a BoardFact with the new width or
length: so what is left is told by the sizes before and after. Length is along the grain. The first piece keeps the
board's code and marked face; the new piece's marked face is of the same side.
"""

from __future__ import annotations

from dataclasses import dataclass

from dashboards import display, fields, regrouping
from dashboards.board_entries import LENGTH_MM, SMALLEST_M3, WIDTH_MM
from dashboards.cutting_entries import (
    NANOMETRES,
    Typed,
    first_and_kerf_mm,
    lie_beside,
    new_piece,
    uncut_since,
)
from dashboards.entering import Connection, Entered, Hand, hand, latest
from dashboards.regrouping import NO_SET, Into
from shared.errors import BadInput
from shared.store import facts
from shared.store import records as r
from shared.units import m_from_mm, mm_from_m

NARROWEST_MM, SHORTEST_MM = WIDTH_MM[0], LENGTH_MM[0]
OPEN_ENDS = " The sawn ends are open: say so anew once they are sealed."


def rip_board(
    connection: Connection,
    code: str,
    *,
    kerf_mm: Typed,
    piece: str,
    by: str,
    now_ms: int,
    width_mm: Typed = None,
    piece_name: str = "",
    into: Into = NO_SET,
    true_at_ms: int | None = None,
) -> Entered:
    """Saw a board along its length into two narrower ones: one keeps its code, the other is ``piece``.

    ``width_mm`` is that of the piece that keeps the code (empty: both alike), ``kerf_mm`` what became dust. The new
    piece lies where the board lies at that moment; ends that were sealed still are. ``into``: the set of both.
    """
    at = hand(connection, by, now_ms, true_at_ms)
    board, fact = uncut_since(at, code)
    across = _Across("width", fact.width_m, fact.thickness_m * fact.length_m, NARROWEST_MM, ends_open=False)
    made, told = _in_two(at, board, fact, across, width_mm, kerf_mm, new_piece(connection, piece, piece_name), into)
    return Entered(board, "cut", made, f"Board {board.code} is ripped: {told}")


def crosscut_board(
    connection: Connection,
    code: str,
    *,
    kerf_mm: Typed,
    piece: str,
    by: str,
    now_ms: int,
    length_mm: Typed = None,
    piece_name: str = "",
    into: Into = NO_SET,
    true_at_ms: int | None = None,
) -> Entered:
    """Saw a board across the grain into two shorter ones: one keeps its code, the other is ``piece``.

    ``length_mm`` is that of the piece that keeps the code (empty: both alike), ``kerf_mm`` what became dust. The new
    piece lies where the board lies at that moment. The sawn ends are open. ``into``: the set of both.
    """
    at = hand(connection, by, now_ms, true_at_ms)
    board, fact = uncut_since(at, code)
    across = _Across("length", fact.length_m, fact.thickness_m * fact.width_m, SHORTEST_MM, ends_open=True)
    made, told = _in_two(at, board, fact, across, length_mm, kerf_mm, new_piece(connection, piece, piece_name), into)
    return Entered(board, "cut", made, f"Board {board.code} is cross-cut: {told}")


@dataclass(frozen=True)
class _Across:
    """What a saw divides: a size of the board, the section that it passes, and what the smallest piece may have."""

    size: str  # width or length
    was_m: float
    section_m2: float
    least_mm: float
    ends_open: bool


def _in_two(
    at: Hand,
    board: r.Subject,
    fact: r.BoardFact,
    across: _Across,
    first_mm: Typed,
    kerf_mm: Typed,
    other: tuple[r.Subject, str],
    into: Into,
) -> tuple[int, str]:
    """Enter two pieces of a board; return the number of the cut and what to say of it."""
    field, was_mm = f"{across.size} of the piece", mm_from_m(across.was_m)
    first, kerf = first_and_kerf_mm(was_mm, field, first_mm, kerf_mm, across.least_mm)
    piece, named = other
    left_m, other_m = _metres(first), _metres(was_mm - first - kerf)
    _refuse_splinters(field, min(left_m, other_m), across.section_m2)
    made = _cut_whole(at, board, fact, {f"{across.size}_m": left_m})
    _cut_whole(at, piece, fact, {f"{across.size}_m": other_m, "name": named}, board.id)
    lie_beside(at, board, piece)
    now = {"width": "wide", "length": "long"}[across.size]
    told = f"{was_mm:.6g} → {mm_from_m(left_m):.6g} mm {now}{_beside(piece, other_m)}"
    coats = _carry_coat(at, board, piece, ends_open=across.ends_open)
    return made, f"{told}.{coats}{regrouping.put_together(at, into, board, piece)}"


def trim_board(
    connection: Connection,
    code: str,
    *,
    by: str,
    now_ms: int,
    width_mm: Typed = None,
    length_mm: Typed = None,
    true_at_ms: int | None = None,
) -> Entered:
    """Enter the width and length in mm that a board is trimmed to (empty: as it was); what is cut off is thrown away.

    It is taken as sawn off at one edge and one end. A sawn end is open.
    """
    at = hand(connection, by, now_ms, true_at_ms)
    board, fact = uncut_since(at, code)
    width_m = _trimmed("width left", width_mm, fact.width_m, NARROWEST_MM)
    length_m = _trimmed("length left", length_mm, fact.length_m, SHORTEST_MM)
    was = f"{display.millimetres(fact.width_m)} × {display.millimetres(fact.length_m)} mm"
    if (width_m, length_m) == (fact.width_m, fact.length_m):
        raise BadInput("width left", was, "less than that in width or in length, else nothing is cut off")
    _refuse_splinters("width left", width_m, fact.thickness_m * length_m)
    made = _cut_whole(at, board, fact, {"width_m": width_m, "length_m": length_m})
    more = _carry_coat(at, board, None, ends_open=length_m < fact.length_m)
    now = f"{display.millimetres(width_m)} × {display.millimetres(length_m)} mm"
    return Entered(board, "cut", made, f"Board {board.code} is trimmed: {was} → {now} in width and length.{more}")


def _metres(typed_mm: float) -> float:
    return round(m_from_mm(typed_mm), NANOMETRES)


def _beside(other: r.Subject, other_m: float) -> str:
    return f"; the new piece {other.code}, {mm_from_m(other_m):.6g} mm, lies where it lies"


def _trimmed(field: str, typed: Typed, now_m: float, least_mm: float) -> float:
    """Return the size [m] that is left, to the last digit what it was where the same was typed or nothing."""
    if typed is None or str(typed).strip() == "":
        return now_m
    left = fields.number(field, typed, least_mm, float(display.millimetres(now_m)), "mm")
    return now_m if f"{left:.6g}" == display.millimetres(now_m) else _metres(left)


def _refuse_splinters(field: str, left_m: float, section_m2: float) -> None:
    if left_m * section_m2 < SMALLEST_M3:
        raise BadInput(field, f"{mm_from_m(left_m):.6g} mm", "one that leaves every piece 2 cm³ of wood or more")


def _cut_whole(
    at: Hand, board: r.Subject, fact: r.BoardFact, left: dict[str, object], from_board_id: int | None = None
) -> int:
    """Write a cut through all of the thickness of ``fact`` and what it left; return the number of the cut."""
    made = at.write(r.BoardCut, board, from_board_id=from_board_id, near_m=0.0, far_m=fact.thickness_m)
    at.write(r.BoardFact, board, **facts.own_values(fact) | left)
    return made


def _carry_coat(at: Hand, board: r.Subject, other: r.Subject | None, *, ends_open: bool) -> str:
    """Carry what is on the faces, and whether the ends are sealed, to both pieces; say what the saw laid bare."""
    coat = latest(at.connection, r.BoardCoat, board, at.true_at_ms)
    told = OPEN_ENDS if ends_open else ""
    if coat is None:
        return told
    values = facts.own_values(coat) | {"ends_sealed": coat.ends_sealed and not ends_open}
    if other is not None:
        at.write(r.BoardCoat, other, **values)
    if coat.ends_sealed and ends_open:
        at.write(r.BoardCoat, board, **values)
    if coat.coat is r.Coat.ALL_ROUND:
        told += " What the saw laid bare has no finish: say anew what is finished."
    return told
