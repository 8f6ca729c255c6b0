"""What the yard knows of a board, as fields take it."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from dashboards import display
from shared.errors import BadInput
from shared.units import g_from_kg


def board_of(yard: Any, typed: Mapping[str, str]) -> Any | None:
    """Return the board that was chosen; None when none was."""
    return thing_of(yard.boards, "board", typed)


def thing_of(things: Any, kind: str, typed: Mapping[str, str]) -> Any | None:
    """Return the thing that was chosen, None when none was; raises BadInput for a code that nothing has."""
    wanted = typed.get(kind, "").strip()
    if not wanted:
        return None
    for one in things:
        if one.subject.code.lower() == wanted.lower():
            return one
    raise BadInput(kind, wanted, ", ".join(one.subject.code for one in things) or f"none yet; add a {kind} first")


def known_of(board: Any) -> dict[str, str]:
    """Return a board's wood and sizes."""
    fact = board.fact
    return {
        "species": fact.species,
        "thickness_mm": display.millimetres(fact.thickness_m),
        "width_mm": display.millimetres(fact.width_m),
        "length_mm": display.millimetres(fact.length_m),
        "origin": fact.origin.value,
    }


def last_mass_g(board: Any) -> str:
    """Return a board's last mass in g, as a field takes it; empty when it was not weighed in the sizes that it has."""
    weighed = [one for one in board.weigh_ins if one.true_at_ms >= board.fact.true_at_ms]
    return f"{g_from_kg(weighed[-1].mass_kg):.6g}" if weighed else ""
