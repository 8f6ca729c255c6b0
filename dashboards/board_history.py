"""What a board was over its life: planing and sawing change its sizes, a correction what was said of all of it."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from dashboards import display
from dashboards.entering import Connection, Hand
from shared.errors import BadInput, Refused
from shared.store import facts
from shared.store import records as r
from shared.units import mm_from_m

SIZES = ("thickness_m", "width_m", "length_m")
# What a correction reaches wherever the same was said: sawing may have changed the width or the length.
OF_ALL_ITS_LIFE = ("name", "species", "width_m", "length_m", "cut", "origin", "note")
FACE = {"width_m": "width", "length_m": "length"}


def same_sizes(before: r.BoardFact, values: Mapping[str, Any]) -> dict[str, float]:
    """Return the sizes [m] of ``before`` that ``values`` repeat as a form shows them, without its rounding."""
    return {name: getattr(before, name) for name in SIZES if _alike(getattr(before, name), values[name])}


def _alike(one_m: float, other_m: float) -> bool:
    return display.millimetres(one_m) == display.millimetres(other_m)


def refuse_other_thickness(connection: Connection, board: r.Subject, held_m: float, wanted_m: float) -> None:
    """Raise BadInput when the thickness of a board changes that was planed or sawn: its cuts are depths in it."""
    if _alike(held_m, wanted_m) or not facts.standing(connection, r.BoardCut, board.id):
        return
    accepted = f"{mm_from_m(held_m):.6g} mm, since {board.code} was planed or sawn; take that back to correct it"
    raise BadInput("thickness", f"{mm_from_m(wanted_m):.6g} mm", accepted)


def refuse_grown(connection: Connection, board: r.Subject, held: r.BoardFact, wanted: Mapping[str, Any]) -> None:
    """Raise BadInput when a corrected width or length would undo what was sawn off it before or after."""
    history = facts.standing(connection, r.BoardFact, board.id)
    for name, spoken in FACE.items():
        now_m, wanted_m = getattr(held, name), wanted[name]
        if _alike(now_m, wanted_m):
            continue
        # What stands for its own moment is itself, or what somebody has made of it since this page was opened.
        apart = [one for one in history if one.true_at_ms != held.true_at_ms]
        others = [(one.true_at_ms < held.true_at_ms, getattr(one, name)) for one in apart]
        most = min((size for before, size in others if before and size > now_m), default=None)
        least = max((size for before, size in others if not before and size < now_m), default=None)
        if most is not None and wanted_m >= most:
            _refuse_size(spoken, wanted_m, f"less than {display.millimetres(most)} mm, as it was until it was sawn")
        if least is not None and wanted_m <= least:
            _refuse_size(spoken, wanted_m, f"more than {display.millimetres(least)} mm, to which it was sawn since")


def _refuse_size(spoken: str, wanted_m: float, accepted: str) -> None:
    raise BadInput(spoken, f"{display.millimetres(wanted_m)} mm", f"{accepted}; take that back to correct it")


def correct_alike(at: Hand, before: r.BoardFact, after: r.BoardFact) -> None:
    """Carry a correction to the same board's other standing descriptions, where they say what ``before`` said."""
    changed = [name for name in OF_ALL_ITS_LIFE if getattr(before, name) != getattr(after, name)]
    for one in facts.standing(at.connection, r.BoardFact, after.subject_id):
        wrong = [name for name in changed if getattr(one, name) == getattr(before, name)]
        if one.id == after.id or not wrong:
            continue
        facts.add(
            at.connection,
            r.BoardFact,
            one.subject_id,
            true_at_ms=one.true_at_ms,
            entered_at_ms=at.now_ms,
            by=at.by,
            supersedes=one.id,
            **facts.own_values(one) | {name: getattr(after, name) for name in wrong},
        )


def refuse_undo(connection: Connection, board: r.Subject, entry: r.BoardFact) -> None:
    """Raise Refused or BadInput when taking a description back, or putting it back, would contradict a cut."""
    before = None if entry.supersedes is None else facts.get(connection, r.BoardFact, entry.supersedes)
    if entry.withdrawn:
        _refuse_putting_back(connection, board, entry)
    elif before is not None and not before.withdrawn:
        refuse_other_thickness(connection, board, entry.thickness_m, before.thickness_m)
        refuse_grown(connection, board, entry, facts.own_values(before))
    else:
        _refuse_without(connection, board, entry)


def _refuse_without(connection: Connection, board: r.Subject, entry: r.BoardFact) -> None:
    cuts = facts.standing(connection, r.BoardCut, board.id)
    for cut in cuts:
        if cut.true_at_ms == entry.true_at_ms:
            raise Refused(f"These sizes of board {board.code} are what a cut left: take back cut {cut.id} instead.")
    if cuts:
        raise Refused(f"Board {board.code} was planed or sawn since: take back cut {cuts[-1].id} first.")


def _refuse_putting_back(connection: Connection, board: r.Subject, entry: r.BoardFact) -> None:
    for cut in facts.taken_back(connection, r.BoardCut, board.id):
        if cut.true_at_ms == entry.true_at_ms:
            raise Refused(f"These sizes of board {board.code} are what a cut left: put back cut {cut.id} instead.")
    if facts.standing(connection, r.BoardFact, board.id):
        raise Refused(f"Board {board.code} was entered anew since: there are not two of it.")
