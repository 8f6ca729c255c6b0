"""What became of a board: checks, honeycomb, stain and the like, the prong test, its dry thickness, how it ended."""

from __future__ import annotations

from dashboards import display, entering, fields
from dashboards.entering import Connection, Entered, hand
from shared.errors import BadInput
from shared.store import records as r
from shared.store.records import Degree, OutcomeKind
from shared.units import m_from_mm, mm_from_m

HOW_BAD = (Degree.NONE, Degree.SLIGHT, Degree.BAD)
# How the prongs of a slotted section turn: straight without stress, in when case-hardened, out when reversed.
# Common practice, no source.
PRONGS = (Degree.STRAIGHT, Degree.IN, Degree.OUT)
PRONGS_MEAN: dict[Degree | None, str] = {Degree.IN: " (case-hardened)", Degree.OUT: " (reverse case-hardened)"}
ENDS = (Degree.WELL, Degree.SPOILT)
DEGREES: dict[OutcomeKind, tuple[Degree, ...]] = {
    **dict.fromkeys(OutcomeKind, HOW_BAD),
    OutcomeKind.CASE_HARDENING: PRONGS,
    OutcomeKind.THICKNESS: (),
    OutcomeKind.FINISHED: ENDS,
}
DRY_THICKNESS_SHARES = (0.5, 1.1)  # of the thickness entered: collapsed, or sawn full. Ours, wide on purpose


def add_outcome(
    connection: Connection,
    code: str,
    *,
    kind: str,
    by: str,
    now_ms: int,
    degree: str = "",
    thickness_mm: str | float | None = None,
    note: str = "",
    true_at_ms: int | None = None,
) -> Entered:
    """Enter what was found on a board: a degree in the words of that kind, or the thickness that was measured (mm)."""
    at = hand(connection, by, now_ms, true_at_ms)
    board, fact = entering.board_at(connection, code, at.true_at_ms)
    what = fields.choice("outcome", kind, OutcomeKind)
    values = {
        "kind": what,
        "degree": _degree(what, degree),
        "thickness_m": _thickness_m(what, thickness_mm, fact),
        "note": fields.text("note", note, entering.NOTE_LENGTH),
    }
    made = at.write(r.Outcome, board, **values)
    told = outcome_words(what, values["degree"], values["thickness_m"])
    return Entered(board, "outcome", made, f"Board {board.code}: {told}.")


def _degree(what: OutcomeKind, typed: str) -> Degree | None:
    allowed, wanted = DEGREES[what], str(typed or "").strip().lower()
    if not allowed and not wanted:
        return None
    for one in allowed:
        if wanted == one.value:
            return one
    accepted = "one of " + ", ".join(allowed) if allowed else "nothing: a thickness is given in mm"
    raise BadInput(f"degree of {what}", wanted, accepted)


def _thickness_m(what: OutcomeKind, typed: str | float | None, fact: r.BoardFact) -> float | None:
    empty = typed is None or str(typed).strip() == ""
    if what is not OutcomeKind.THICKNESS:
        if empty:
            return None
        raise BadInput("measured thickness", f"{typed} mm", f"nothing, unless the outcome is {OutcomeKind.THICKNESS}")
    entered_mm = mm_from_m(fact.thickness_m)
    low, high = (round(share * entered_mm, 1) for share in DRY_THICKNESS_SHARES)
    return m_from_mm(fields.number("measured thickness", typed, low, high, f"mm, of {entered_mm:.6g} mm entered"))


def outcome_words(kind: OutcomeKind, degree: Degree | None, thickness_m: float | None) -> str:
    """Return what was found in the words of the trade."""
    if thickness_m is not None:
        return f"{display.millimetres(thickness_m)} mm thick as measured"
    if kind is OutcomeKind.CASE_HARDENING:
        return f"prong test: {degree}{PRONGS_MEAN.get(degree, '')}"
    if kind is OutcomeKind.FINISHED:
        return "finished well" if degree is Degree.WELL else "finished, but spoilt"
    return f"no {kind}" if degree is Degree.NONE else f"{kind}, {degree}"
