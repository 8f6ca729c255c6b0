"""How a board lies, and what is on its ends and faces."""

from __future__ import annotations

from dashboards import display, entering, fields
from dashboards.entering import Connection, Entered, hand
from shared.errors import BadInput
from shared.store import facts
from shared.store import records as r
from shared.tables import constants
from shared.units import l_from_m3, m3_from_l

CASE_AIR_L = (0.1, 5000.0)  # from a small box to a cupboard. Ours
USUAL_CASE_AIR_L = l_from_m3(constants("drying")["case_air_m3"].value)


def say_rest(
    connection: Connection,
    code: str,
    *,
    rest: str,
    by: str,
    now_ms: int,
    case_air_l: str | float | None = None,
    true_at_ms: int | None = None,
) -> Entered:
    """Say how a board lies from a moment on, until it is moved; in a closed case, with how many litres of air.

    Empty litres of a case: USUAL_CASE_AIR_L.
    """
    at = hand(connection, by, now_ms, true_at_ms)
    board, _fact = entering.board_at(connection, code, at.true_at_ms)
    how = fields.choice("how it lies", rest, r.Rest)
    litres = _case_air_l(how, case_air_l)
    case_air_m3 = None if litres is None else m3_from_l(litres)
    made = at.write(r.BoardRest, board, rest=how, case_air_m3=case_air_m3)
    told = f"lies {rest_words(how, case_air_m3)}, {_until(at, board)}"
    return Entered(board, "rest", made, f"Board {board.code} {told}.")


def _until(at: entering.Hand, board: r.Subject) -> str:
    """Say until when: what is entered for a time before a move ended with that move."""
    for position in facts.standing(at.connection, r.BoardPosition, board.id):
        if at.true_at_ms < position.true_at_ms <= at.now_ms:
            return f"until it was moved on {display.moment(position.true_at_ms)}"
    return "until it is moved"


def _case_air_l(how: r.Rest, typed: str | float | None) -> float | None:
    empty = typed is None or str(typed).strip() == ""
    if how is r.Rest.CASE:
        return fields.number("air in the case", USUAL_CASE_AIR_L if empty else typed, *CASE_AIR_L, "litres")
    if not empty:
        raise BadInput("air in the case", f"{typed} litres", f"nothing, unless it lies {r.Rest.CASE}")
    return None


def rest_words(rest: r.Rest, case_air_m3: float | None) -> str:
    """Return how a board lies as the end of a sentence that begins with "it lies"."""
    lead = {r.Rest.WINDWARD: "at the ", r.Rest.MIDDLE: "in the ", r.Rest.TOP: "at the "}.get(rest, "")
    litres = "" if case_air_m3 is None else f" with {l_from_m3(case_air_m3):.3g} litres of air"
    return f"{lead}{rest}{litres}"


def say_coat(
    connection: Connection,
    code: str,
    *,
    coat: str,
    by: str,
    now_ms: int,
    ends_sealed: bool = False,
    true_at_ms: int | None = None,
) -> Entered:
    """Say from a moment on which of a board's faces carry a finish, and whether its ends are sealed."""
    at = hand(connection, by, now_ms, true_at_ms)
    board, _fact = entering.board_at(connection, code, at.true_at_ms)
    what = fields.choice("finish", coat, r.Coat)
    made = at.write(r.BoardCoat, board, ends_sealed=ends_sealed, coat=what)
    return Entered(board, "coat", made, f"Board {board.code} is {coat_words(what, ends_sealed=ends_sealed)}.")


def coat_words(coat: r.Coat, *, ends_sealed: bool) -> str:
    """Return what is on a board as the end of a sentence that begins with "it is"."""
    what = "finished on one face" if coat is r.Coat.ONE_FACE else str(coat)
    return f"{what}, its ends {'sealed' if ends_sealed else 'not sealed'}"
