"""Commands that say how a board lies, what is on it, and what was planed, sawn or trimmed off it."""

from __future__ import annotations

from typing import Annotated

import typer

from dashboards import entries
from dashboards.lying_entries import USUAL_CASE_AIR_L
from dashboards.terminal.entering import Code, enter
from dashboards.terminal.home import HERE, ByOption, FolderOption, WhenOption
from shared.store.records import Coat, Rest

Kerf = Annotated[str, typer.Option("--kerf", help="Saw kerf, mm.")]
PieceName = Annotated[str, typer.Option("--name", help="Name of the new piece; its code, if not said.")]
SetCode = Annotated[str, typer.Option("--set", help="Put both pieces into this set.")]
NewSet = Annotated[str, typer.Option("--new-set", help="Or into a new set of this code.")]
Role = Annotated[str, typer.Option("--role", help="What the piece that keeps its code is in the set: left half …")]
PieceRole = Annotated[str, typer.Option("--piece-role", help="What the new piece is in it: right half …")]
RESTS, COATS = ", ".join(Rest), ", ".join(Coat)


def rest(
    code: Code,
    how: Annotated[str, typer.Argument(help=f"One of {RESTS}.")],
    case_air: Annotated[
        str | None, typer.Option("--litres", help=f"Air in the closed case, litres; {USUAL_CASE_AIR_L:g}, if not said.")
    ] = None,
    folder: FolderOption = HERE,
    by: ByOption = "",
    when: WhenOption = "",
) -> None:
    """Say how a board lies, until it is moved."""
    enter(folder, by, entries.say_rest, code, rest=how, case_air_l=case_air, when=when)


def coat(
    code: Code,
    finish: Annotated[str, typer.Argument(help=f"One of {COATS}.")],
    ends_sealed: Annotated[bool, typer.Option("--ends-sealed", help="Its ends are sealed; not, if not said.")] = False,
    folder: FolderOption = HERE,
    by: ByOption = "",
    when: WhenOption = "",
) -> None:
    """Say which faces of a board are finished, and whether its ends are sealed."""
    enter(folder, by, entries.say_coat, code, coat=finish, ends_sealed=ends_sealed, when=when)


def plane(
    code: Code,
    marked: Annotated[str | None, typer.Option("--marked", help="Taken off the marked face, mm.")] = None,
    other: Annotated[str | None, typer.Option("--other", help="Taken off the other face, mm.")] = None,
    folder: FolderOption = HERE,
    by: ByOption = "",
    when: WhenOption = "",
) -> None:
    """Enter what was planed off a board; --when is the moment of the planing."""
    enter(folder, by, entries.plane_board, code, off_marked_mm=marked, off_other_mm=other, when=when)


def resaw(
    code: Code,
    piece: Annotated[str, typer.Argument(help="Code of the new piece, the one away from the marked face.")],
    kerf: Kerf,
    depth: Annotated[
        str | None, typer.Option(help="Depth of the cut below the marked face, mm; the middle, if not said.")
    ] = None,
    name: PieceName = "",
    set_code: SetCode = "",
    new_set: NewSet = "",
    role: Role = "",
    piece_role: PieceRole = "",
    folder: FolderOption = HERE,
    by: ByOption = "",
    when: WhenOption = "",
) -> None:
    """Enter that a board was sawn in two through its thickness; the piece at its marked face keeps its code."""
    into = entries.Into(set_code, new_set, role, piece_role)
    values = {"kerf_mm": kerf, "depth_mm": depth, "piece": piece, "piece_name": name, "into": into}
    enter(folder, by, entries.resaw_board, code, when=when, **values)


def rip(
    code: Code,
    piece: Annotated[str, typer.Argument(help="Code of the new piece.")],
    kerf: Kerf,
    width: Annotated[
        str | None, typer.Option(help="Width of the piece that keeps its code, mm; both alike, if not said.")
    ] = None,
    name: PieceName = "",
    set_code: SetCode = "",
    new_set: NewSet = "",
    role: Role = "",
    piece_role: PieceRole = "",
    folder: FolderOption = HERE,
    by: ByOption = "",
    when: WhenOption = "",
) -> None:
    """Enter that a board was sawn along its length into two narrower ones; the first keeps its code."""
    into = entries.Into(set_code, new_set, role, piece_role)
    values = {"kerf_mm": kerf, "width_mm": width, "piece": piece, "piece_name": name, "into": into}
    enter(folder, by, entries.rip_board, code, when=when, **values)


def crosscut(
    code: Code,
    piece: Annotated[str, typer.Argument(help="Code of the new piece.")],
    kerf: Kerf,
    length: Annotated[
        str | None, typer.Option(help="Length of the piece that keeps its code, mm; both alike, if not said.")
    ] = None,
    name: PieceName = "",
    set_code: SetCode = "",
    new_set: NewSet = "",
    role: Role = "",
    piece_role: PieceRole = "",
    folder: FolderOption = HERE,
    by: ByOption = "",
    when: WhenOption = "",
) -> None:
    """Enter that a board was sawn across the grain into two shorter ones; the first keeps its code."""
    into = entries.Into(set_code, new_set, role, piece_role)
    values = {"kerf_mm": kerf, "length_mm": length, "piece": piece, "piece_name": name, "into": into}
    enter(folder, by, entries.crosscut_board, code, when=when, **values)


def trim(
    code: Code,
    width: Annotated[str | None, typer.Option(help="Width that is left, mm; as it was, if not said.")] = None,
    length: Annotated[str | None, typer.Option(help="Length that is left, mm; as it was, if not said.")] = None,
    folder: FolderOption = HERE,
    by: ByOption = "",
    when: WhenOption = "",
) -> None:
    """Enter that a board was trimmed in width or length; what was cut off is thrown away."""
    enter(folder, by, entries.trim_board, code, width_mm=width, length_mm=length, when=when)


def take_out(
    piece: Annotated[str, typer.Argument(help="The board.")],
    folder: FolderOption = HERE,
    by: ByOption = "",
    when: WhenOption = "",
) -> None:
    """Take a piece out of the set that it is in; to put it into another, put it there."""
    enter(folder, by, entries.put_in_set, piece, set_code="", when=when)
