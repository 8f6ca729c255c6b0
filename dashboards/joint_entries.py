"""A joint between two pieces of a set: along which length, and at which angle to each piece's grain."""

from __future__ import annotations

import math

from dashboards import display, entering, fields
from dashboards.entering import Connection, Entered, Hand, hand
from shared.errors import BadInput
from shared.store import records as r
from shared.units import m_from_mm, mm_from_m

SHORTEST_MM = 5.0
GRAIN_DEG = (0.0, 90.0)


def add_joint(
    connection: Connection,
    code: str,
    *,
    a: str,
    b: str,
    length_mm: str | float,
    by: str,
    now_ms: int,
    grain_a_deg: str | float | None = 0.0,
    grain_b_deg: str | float | None = 0.0,
    name: str = "",
    true_at_ms: int | None = None,
) -> Entered:
    """Enter a joint of two pieces of a set: its length (mm), the angle of each one's grain to the joint line (degrees).

    An empty angle is 0: the grain runs along the joint. Several joints stand at once.
    """
    at = hand(connection, by, now_ms, true_at_ms)
    matched = entering.matched_set(connection, code)
    (one, one_fact), (other, other_fact) = _piece(at, matched, "first piece", a), _piece(at, matched, "second piece", b)
    if one.id == other.id:
        raise BadInput("second piece", b, f"another piece of the set {matched.code} than the first")
    longest_mm = math.floor(min(_diagonal_mm(one_fact), _diagonal_mm(other_fact)))
    why = "mm: no piece is longer, from corner to corner"
    values = {
        "a_board_id": one.id,
        "b_board_id": other.id,
        "length_m": m_from_mm(fields.number("length of the joint", length_mm, SHORTEST_MM, longest_mm, why)),
        "grain_a_deg": _angle("grain of the first piece", grain_a_deg),
        "grain_b_deg": _angle("grain of the second piece", grain_b_deg),
        "name": fields.text("name", name or f"{one.code} to {other.code}", entering.NAME_LENGTH),
    }
    made = at.write(r.Joint, matched, **values)
    told = joint_words(
        values["name"], one.code, other.code, values["length_m"], values["grain_a_deg"], values["grain_b_deg"]
    )
    return Entered(matched, "joint", made, f"Set {matched.code}: {told}.")


def _piece(at: Hand, matched: r.Subject, field: str, typed: str) -> tuple[r.Subject, r.BoardFact]:
    pieces = entering.pieces_of(at.connection, matched, at.true_at_ms)
    wanted = (typed or "").strip().casefold()
    found = next((one for one in pieces if one.code.casefold() == wanted), None)
    if found is None:
        known = ", ".join(one.code for one in pieces) or f"none yet; put two boards into the set {matched.code} first"
        raise BadInput(field, (typed or "").strip(), known)
    return entering.board_at(at.connection, found.code, at.true_at_ms)


def _diagonal_mm(fact: r.BoardFact) -> float:
    return mm_from_m(math.hypot(fact.length_m, fact.width_m))


def _angle(field: str, typed: str | float | None) -> float:
    empty = typed is None or str(typed).strip() == ""
    return 0.0 if empty else fields.number(field, typed, *GRAIN_DEG, "degrees; 0 runs along the joint")


def joint_words(name: str, a: str, b: str, length_m: float, grain_a_deg: float, grain_b_deg: float) -> str:
    """Return a joint in words, without a stop."""
    grains = f"grain of {a} at {grain_a_deg:g}°, of {b} at {grain_b_deg:g}° to it"
    return f"joint {name}, {display.millimetres(length_m)} mm between {a} and {b}; {grains}"
