"""Water that came to a board: glue, bending, rain, a wet cloth; how much, and on which faces."""

from __future__ import annotations

from dashboards import display, entering, fields
from dashboards.board_entries import believable_mass_kg, shown_mass
from dashboards.entering import Connection, Entered, Hand, hand
from shared.errors import BadInput
from shared.store import facts
from shared.store import records as r
from shared.units import g_from_kg, kg_from_g


def add_water(
    connection: Connection,
    code: str,
    *,
    kind: str,
    water_g: str | float | None,
    by: str,
    now_ms: int,
    faces: str = "",
    true_at_ms: int | None = None,
) -> Entered:
    """Enter how much water (g) came to a board at this moment, how, and on which faces; empty faces of rain: both."""
    at = hand(connection, by, now_ms, true_at_ms)
    board, fact = entering.board_at(connection, code, at.true_at_ms)
    how = fields.choice("how it got wet", kind, r.WaterKind)
    unsaid = r.Faces.BOTH.value if how is r.WaterKind.RAINED_ON else ""
    where = fields.choice("wetted faces", str(faces or "").strip() or unsaid, r.Faces)
    water_kg = _water_kg(at, board, fact, water_g)
    made = at.write(r.WaterEvent, board, kind=how, water_kg=water_kg, faces=where)
    return Entered(board, "water", made, f"Board {board.code} was {water_words(how, water_kg, where)}.")


def water_words(kind: r.WaterKind, water_kg: float, faces: r.Faces) -> str:
    """Return what water came to a board, as the end of a sentence that begins with "it was"."""
    on = str(faces) if faces is r.Faces.BOTH else f"the {faces}"
    return f"{kind}: {display.mass(water_kg)} of water on {on}"


def _water_kg(at: Hand, board: r.Subject, fact: r.BoardFact, typed: str | float | None) -> float:
    most_kg, why = _most_kg(at, board, fact)
    most_g = float(f"{g_from_kg(most_kg):.3g}")
    water_g = fields.number("water", typed, 0.0, most_g, f"g: {why}")
    if water_g == 0.0:
        raise BadInput("water", "0 g", f"more than 0, up to {most_g:g} g")
    return kg_from_g(water_g)


def _most_kg(at: Hand, board: r.Subject, fact: r.BoardFact) -> tuple[float, str]:
    """Return how much water [kg] a board could take at most at that moment, and why."""
    least_kg, full_kg = believable_mass_kg(fact)
    weighed = entering.latest(at.connection, r.WeighIn, board, at.true_at_ms)
    sizes = facts.standing(at.connection, r.BoardFact, board.id)
    was = facts.at(sizes, weighed.true_at_ms) if weighed else None
    if weighed is not None and was is not None:
        before_kg = weighed.mass_kg * fact.volume_m3 / was.volume_m3
        if before_kg < full_kg:  # else somebody was sure of a mass that the table's timber cannot have
            return full_kg - before_kg, f"{board.code}, last weighed at {shown_mass(before_kg)}, cannot hold more"
    return full_kg - least_kg, f"{board.code} cannot hold more, were it bone-dry before"
