"""Every act of a user, checked in one place for the web forms and the terminal alike.

Each function takes an open write transaction, what was typed (text or numbers), who enters it (``by``),
the time now and, where it matters, the time from which it is true (``true_at_ms``; None: now). It raises
BadInput or Refused with one sentence and leaves the store as it was; it returns what was entered, said
in a sentence. What is entered about a board's wood is in ``board_entries``, how it lies in ``lying_entries``,
what was planed or sawn off it in ``cutting_entries`` and ``sawing_entries``, what water came to it in
``water_entries``, what became of it in ``outcome_entries``, where it is to go in ``planning_entries``, what it is
wanted for in ``use_entries``, as which piece of a set in ``piece_entries`` and ``joint_entries``, out of which water in
``lifted_entries``, a verdict overridden in ``override_entries``, a limit of the yard's own in ``limit_entries``, a
place's usual months in ``climate_entries``, about instruments in ``instrument_entries``, about places and the probes in
them in ``place_entries``, about finishes and finish rooms in ``finish_entries`` and ``acknowledging``; all are offered
here too.
"""

from __future__ import annotations

from dashboards import entering, fields
from dashboards.acknowledging import acknowledge
from dashboards.board_entries import (
    add_board,
    add_oven_dry,
    add_pin_reading,
    add_weigh_in,
    correct_board,
    move_board,
)
from dashboards.climate_entries import say_climate
from dashboards.cutting_entries import plane_board, resaw_board
from dashboards.entering import Connection, Entered, hand
from dashboards.finish_entries import (
    add_finish,
    add_sprayed,
    add_surface_reading,
    change_finish,
    close_finish,
    reopen_finish,
    say_finish_room,
)
from dashboards.instrument_entries import add_bag_test, add_meter, add_meter_pair, check_hygrometer
from dashboards.joint_entries import add_joint
from dashboards.lifted_entries import say_lifted
from dashboards.limit_entries import set_limit
from dashboards.lying_entries import say_coat, say_rest
from dashboards.outcome_entries import add_outcome
from dashboards.override_entries import add_override
from dashboards.piece_entries import put_in_set
from dashboards.place_entries import add_place, add_probe, change_place, close_place, move_probe, name_probe
from dashboards.planning_entries import plan_move
from dashboards.region_entries import set_region
from dashboards.regrouping import Into
from dashboards.sawing_entries import crosscut_board, rip_board, trim_board
from dashboards.undoing import UNDOABLE, puts_back, undo
from dashboards.use_entries import plan_use
from dashboards.water_entries import add_water
from shared.errors import BadInput
from shared.store import records as r
from shared.store.records import SubjectKind

__all__ = [
    "UNDOABLE",
    "Entered",
    "Into",
    "acknowledge",
    "add_bag_test",
    "add_board",
    "add_finish",
    "add_joint",
    "add_meter",
    "add_meter_pair",
    "add_outcome",
    "add_oven_dry",
    "add_override",
    "add_pin_reading",
    "add_place",
    "add_probe",
    "add_set",
    "add_sprayed",
    "add_stack",
    "add_surface_reading",
    "add_water",
    "add_weigh_in",
    "change_finish",
    "change_place",
    "change_stack",
    "check_hygrometer",
    "close_finish",
    "close_place",
    "correct_board",
    "crosscut_board",
    "move_board",
    "move_probe",
    "move_stack",
    "name_probe",
    "plan_move",
    "plan_use",
    "plane_board",
    "put_in_set",
    "puts_back",
    "reopen_finish",
    "resaw_board",
    "rip_board",
    "say_climate",
    "say_coat",
    "say_finish_room",
    "say_lifted",
    "say_rest",
    "set_limit",
    "set_region",
    "trim_board",
    "undo",
]

MOST_BOARDS = 100_000


def add_stack(
    connection: Connection,
    code: str,
    *,
    place: str,
    by: str,
    now_ms: int,
    name: str = "",
    note: str = "",
    boards_in_all: str | int | None = None,
    true_at_ms: int | None = None,
) -> Entered:
    """Enter a stack, the place it stands in, and how many boards lie in it (empty: those that are entered)."""
    at = hand(connection, by, now_ms, true_at_ms)
    entering.checked_code(SubjectKind.STACK, code)
    where = entering.open_place(connection, place)
    named = fields.text("name", name or code, entering.NAME_LENGTH, needed=True)
    noted = fields.text("note", note, entering.NOTE_LENGTH)
    in_all = _boards_in_all(boards_in_all, 0)
    stack = entering.new_subject(connection, SubjectKind.STACK, code)
    made = at.write(r.StackFact, stack, name=named, note=noted, boards_in_all=in_all)
    at.write(r.StackPosition, stack, place_id=where.id)
    return Entered(stack, "stack", made, f"Stack {stack.code} stands in {where.code}.")


def change_stack(
    connection: Connection,
    code: str,
    *,
    by: str,
    now_ms: int,
    name: str | None = None,
    note: str | None = None,
    boards_in_all: str | int | None = None,
) -> Entered:
    """Correct what a stack is called and how many boards lie in it (empty: those that are entered).

    None leaves each of them as it was.
    """
    stack = entering.stack(connection, code)
    before = entering.described(connection, r.StackFact, stack)
    at = hand(connection, by, now_ms, before.true_at_ms)
    inside = len(entering.contents(connection, stack, now_ms))
    values = {
        "name": before.name if name is None else fields.text("name", name, entering.NAME_LENGTH, needed=True),
        "note": before.note if note is None else fields.text("note", note, entering.NOTE_LENGTH),
        "boards_in_all": before.boards_in_all if boards_in_all is None else _boards_in_all(boards_in_all, inside),
    }
    made = at.write(r.StackFact, stack, supersedes=before.id, **values)
    return Entered(stack, "stack", made, f"Stack {stack.code} is corrected.")


def _boards_in_all(typed: str | int | None, inside: int) -> int | None:
    if typed is None or str(typed).strip() == "":
        return None
    least = max(inside, 1)
    why = f"in a whole number, since {inside} of them are entered" if inside else "in a whole number"
    number = fields.number("boards in all", typed, least, MOST_BOARDS, why)
    if number != int(number):
        raise BadInput("boards in all", typed, f"{least} to {MOST_BOARDS} {why}")
    return int(number)


def move_stack(
    connection: Connection, code: str, *, place: str, by: str, now_ms: int, true_at_ms: int | None = None
) -> Entered:
    """Say where a stack, with every board in it, stands from a moment on."""
    at = hand(connection, by, now_ms, true_at_ms)
    stack = entering.stack(connection, code)
    where = entering.open_place(connection, place)
    made = at.write(r.StackPosition, stack, place_id=where.id)
    return Entered(stack, "stack-move", made, f"Stack {stack.code} stands in {where.code}.")


def add_set(
    connection: Connection,
    code: str,
    *,
    by: str,
    now_ms: int,
    name: str = "",
    note: str = "",
    true_at_ms: int | None = None,
) -> Entered:
    """Enter a matched set; its pieces are boards put into it afterwards."""
    at = hand(connection, by, now_ms, true_at_ms)
    entering.checked_code(SubjectKind.SET, code)
    named = fields.text("name", name or code, entering.NAME_LENGTH, needed=True)
    noted = fields.text("note", note, entering.NOTE_LENGTH)
    made_set = entering.new_subject(connection, SubjectKind.SET, code)
    made = at.write(r.SetFact, made_set, name=named, note=noted)
    return Entered(made_set, "set", made, f"Set {made_set.code} is entered; now put its pieces into it.")
