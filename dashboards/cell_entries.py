"""Entries about load cells: what lies on one or hangs from it, and what it reads with nothing on it."""

from __future__ import annotations

from dashboards import display, entering, fields
from dashboards.entering import Connection, Entered, hand
from shared.errors import BadInput, Refused
from shared.store import facts, readings
from shared.store import records as r
from shared.store.records import Quality, Quantity, SubjectKind
from shared.units import MS_PER_MINUTE, kg_from_g

CELL_ERROR_G = (0.01, 100_000.0)
READING_KG = (-100_000.0, 100_000.0)
JUST_NOW_MS = 30 * MS_PER_MINUTE  # a reading so old is still one of the empty cell, if nobody says otherwise

Typed = str | float | None


def load_cell(
    connection: Connection,
    code: str,
    *,
    by: str,
    now_ms: int,
    board: str = "",
    stack: str = "",
    cell_error_g: Typed = None,
    true_at_ms: int | None = None,
) -> Entered:
    """Say which board or stack a load cell carries from a moment on; neither: nothing. Its stated error is in g."""
    at = hand(connection, by, now_ms, true_at_ms)
    probe = _cell(connection, code)
    on_it, told = _load(connection, board, stack)
    before = facts.at(facts.standing(connection, r.CellLoad, probe.id), at.true_at_ms)
    if not any(on_it.values()) and before is None:
        raise BadInput("what it carries", "", "the code of a board or of a stack")
    if before is not None and (cell_error_g is None or str(cell_error_g).strip() == ""):
        error = before.cell_error_kg
    else:
        error = kg_from_g(fields.number("error of the cell", cell_error_g, *CELL_ERROR_G, "g"))
    made = at.write(r.CellLoad, probe, cell_error_kg=error, **on_it)
    return Entered(probe, "cell-load", made, f"Load cell {probe.code} carries {told}.")


def _load(connection: Connection, board: str, stack: str) -> tuple[dict[str, int | None], str]:
    named = [kind for kind, code in (("board", board), ("stack", stack)) if code.strip()]
    if len(named) == 2:
        raise BadInput("what it carries", f"board {board} and stack {stack}", "a board or a stack, not both")
    if named == ["board"]:
        found, _fact = entering.board(connection, board)
        return {"board_id": found.id, "stack_id": None}, f"board {found.code}"
    if named == ["stack"]:
        found = entering.stack(connection, stack)
        return {"board_id": None, "stack_id": found.id}, f"stack {found.code}"
    return {"board_id": None, "stack_id": None}, "nothing"


def tare_cell(
    connection: Connection,
    code: str,
    *,
    by: str,
    now_ms: int,
    reading_kg: Typed = None,
    true_at_ms: int | None = None,
) -> Entered:
    """Enter what a load cell reads in kg with nothing but its own fittings on it; empty: what it reads just now."""
    at = hand(connection, by, now_ms, true_at_ms)
    probe = _cell(connection, code)
    if reading_kg is None or str(reading_kg).strip() == "":
        value = _newest_kg(connection, probe, at.true_at_ms)
    else:
        value = fields.number("reading of the empty cell", reading_kg, *READING_KG, "kg")
    made = at.write(r.CellTare, probe, reading_kg=value)
    return Entered(probe, "tare", made, f"Load cell {probe.code} is tared: it reads {value:g} kg with nothing on it.")


def _newest_kg(connection: Connection, probe: r.Subject, at_ms: int) -> float:
    for one in readings.all_series(connection):
        if one.probe_id == probe.id and one.quantity is Quantity.MASS_KG:
            recent = readings.raw(connection, one.id, at_ms - JUST_NOW_MS, at_ms + 1)
            good = [reading for reading in recent if reading.quality is Quality.GOOD]
            if good:
                return good[-1].value
    told = f"nothing heard in the {JUST_NOW_MS // MS_PER_MINUTE} min before {display.moment(at_ms)}"
    raise BadInput("reading of the empty cell", told, "a number in kg")


def _cell(connection: Connection, code: str) -> r.Subject:
    probe = facts.subject(connection, SubjectKind.PROBE, code)
    entering.described(connection, r.ProbeFact, probe)
    if not any(
        one.probe_id == probe.id and one.quantity is Quantity.MASS_KG for one in readings.all_series(connection)
    ):
        raise Refused(f"No mass has ever come from {probe.code}: it is no load cell, or its messages name no unit.")
    return probe
