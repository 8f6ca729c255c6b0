"""Commands that say how a board lies, what is on it, and what was planed or sawn off it."""

from __future__ import annotations

from typing import Annotated

import typer

from dashboards import entries
from dashboards.lying_entries import USUAL_CASE_AIR_L
from dashboards.terminal.entering import Code, enter
from dashboards.terminal.home import HERE, ByOption, FolderOption, WhenOption
from shared.store.records import Coat, Rest

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
    kerf: Annotated[str, typer.Option(help="Saw kerf, mm.")],
    depth: Annotated[
        str | None, typer.Option(help="Depth of the cut below the marked face, mm; the middle, if not said.")
    ] = None,
    name: Annotated[str, typer.Option(help="Name of the new piece; its code, if not said.")] = "",
    folder: FolderOption = HERE,
    by: ByOption = "",
    when: WhenOption = "",
) -> None:
    """Enter that a board was sawn in two through its thickness; the piece at its marked face keeps its code."""
    values = {"kerf_mm": kerf, "depth_mm": depth, "piece": piece, "piece_name": name}
    enter(folder, by, entries.resaw_board, code, when=when, **values)
