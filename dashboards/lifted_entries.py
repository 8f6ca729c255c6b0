"""Wood that came out of the water: what water, and what was seen, smelt and done when it came up."""

from __future__ import annotations

from dashboards import entering, fields
from dashboards.entering import Connection, Entered, Hand, hand
from shared.errors import BadInput
from shared.store import facts
from shared.store import records as r
from shared.store.records import Lifted, Sapwood, Smell, WaterBody

SHAKE: dict[str, bool | None] = {"yes": True, "no": False, "not looked": None}


def say_lifted(
    connection: Connection,
    code: str,
    *,
    water: str,
    sapwood: str,
    smell: str,
    by: str,
    now_ms: int,
    shake: str | bool | None = None,
    washed: bool = False,
    metal_searched: bool = False,
    note: str = "",
    true_at_ms: int | None = None,
) -> Entered:
    """Enter how a board or log was when it came out of the water; the moment is that of its lifting.

    Without a moment what was said before is corrected (washed by now, searched by now), its moment kept; said for the
    first time, it was lifted now. With another moment it was sunk again since and lifted again.
    ``shake``: yes, no, or not looked (empty, None).
    """
    board, fact = entering.board(connection, code)
    before = _before(connection, board, true_at_ms)
    at = hand(connection, by, now_ms, before.true_at_ms if before else true_at_ms)
    values = {
        "water": fields.choice("water", water, WaterBody),
        "sapwood": fields.choice("sapwood", sapwood, Sapwood),
        "shake": _shake(shake),
        "smell": fields.choice("smell", smell, Smell),
        "washed": fields.yes(washed),
        "metal_searched": fields.yes(metal_searched),
        "note": fields.text("note", note, entering.NOTE_LENGTH),
    }
    made = _write(at, board, before, values)
    entry = facts.get(connection, Lifted, made)
    other = "" if fact.origin is r.Origin.RECLAIMED else f" It is entered as {fact.origin}: correct that, if it is not."
    return Entered(board, "lifting", made, f"Board {board.code}: {lifted_words(entry)}.{other}")


def _before(connection: Connection, board: r.Subject, true_at_ms: int | None) -> Lifted | None:
    """Return the entry that is corrected: of that moment, or, where no moment is given, the newest."""
    held = facts.standing(connection, Lifted, board.id)
    if true_at_ms is None:
        return held[-1] if held else None
    return next((one for one in held if one.true_at_ms == true_at_ms), None)


def _write(at: Hand, board: r.Subject, before: Lifted | None, values: dict[str, object]) -> int:
    return at.write(Lifted, board, supersedes=before.id if before else None, **values)


def _shake(typed: str | bool | None) -> bool | None:
    if typed is None or isinstance(typed, bool):
        return typed
    wanted = str(typed).strip().lower() or "not looked"
    if wanted not in SHAKE:
        raise BadInput("shake", typed, f"one of {', '.join(SHAKE)}")
    return SHAKE[wanted]


def lifted_words(entry: Lifted) -> str:
    """Return how a board was when it came out of the water, as a sentence without its stop."""
    water = "unknown water" if entry.water is WaterBody.UNKNOWN else f"{entry.water} water"
    sapwood = {
        Sapwood.SOUND: "sapwood sound",
        Sapwood.LOST: "sapwood lost",
        Sapwood.NONE: "no sapwood on it",
        Sapwood.UNKNOWN: "sapwood not looked at",
    }[entry.sapwood]
    shake = {True: "shakes seen", False: "no shakes seen", None: "not looked at for shakes"}[entry.shake]
    smell = {Smell.NONE: "no smell", Smell.UNKNOWN: "smell not noted"}.get(entry.smell, f"smells {_smells(entry)}")
    washed = "washed" if entry.washed else "not washed"
    searched = "searched for metal" if entry.metal_searched else "not searched for metal"
    return f"out of {water}; {sapwood}; {shake}; {smell}; {washed}; {searched}"


def _smells(entry: Lifted) -> str:
    return f"of {entry.smell}" if entry.smell is Smell.TAR else str(entry.smell)
