"""Commands about what came to a board, what became of it, where it is to go, and the usual months of a place."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Annotated

import typer

from dashboards import climate_entries, entries
from dashboards.outcome_entries import ENDS, HOW_BAD, PRONGS
from dashboards.terminal.entering import Code, enter
from dashboards.terminal.home import HERE, ByOption, FolderOption, WhenOption
from shared.store.records import Faces, OutcomeKind, WaterKind

WATERS, FACES, OUTCOMES = ", ".join(WaterKind), ", ".join(Faces), ", ".join(OutcomeKind)
DEGREES = (
    f"{', '.join(HOW_BAD)}; of {OutcomeKind.CASE_HARDENING}, how the prongs turned: {', '.join(PRONGS)}; "
    f"of {OutcomeKind.FINISHED}: {', '.join(ENDS)}."
)


def water(
    code: Code,
    kind: Annotated[str, typer.Argument(help=f"One of {WATERS}.")],
    grams: Annotated[str, typer.Option("--g", help="How much water came to it, g.")],
    faces: Annotated[str, typer.Option(help=f"One of {FACES}; of rain both, if not said.")] = "",
    folder: FolderOption = HERE,
    by: ByOption = "",
    when: WhenOption = "",
) -> None:
    """Enter water that came to a board."""
    enter(folder, by, entries.add_water, code, kind=kind, water_g=grams, faces=faces, when=when)


def outcome(
    code: Code,
    kind: Annotated[str, typer.Argument(help=f"One of {OUTCOMES}.")],
    degree: Annotated[str, typer.Argument(help=DEGREES)] = "",
    thickness: Annotated[str | None, typer.Option("--mm", help="The thickness that was measured, mm.")] = None,
    note: str = "",
    folder: FolderOption = HERE,
    by: ByOption = "",
    when: WhenOption = "",
) -> None:
    """Enter what became of a board."""
    values = {"kind": kind, "degree": degree, "thickness_mm": thickness, "note": note}
    enter(folder, by, entries.add_outcome, code, when=when, **values)


def plan_move(kind: str) -> Callable[..., None]:
    """Return the command that plans a move of a board or of a stack."""

    def plan_move(
        code: Code,
        to: Annotated[str, typer.Argument(help="The place that it is to go to.")],
        day: Annotated[str, typer.Argument(help="The day ahead, 2027-03-03.")],
        folder: FolderOption = HERE,
        by: ByOption = "",
    ) -> None:
        """Say where it is to go, and when: a plan for the forecast, instead of the one that stood."""
        enter(folder, by, entries.plan_move, code, kind=kind, place=to, day=day)

    return plan_move


def change_stack(
    code: Code,
    name: Annotated[str | None, typer.Option(help="As it was, if not said.")] = None,
    note: Annotated[str | None, typer.Option(help="As it was, if not said.")] = None,
    in_all: Annotated[
        str | None, typer.Option("--boards-in-all", help='How many boards lie in it; "" for those entered.')
    ] = None,
    folder: FolderOption = HERE,
    by: ByOption = "",
) -> None:
    """Correct what a stack is called, and how many boards lie in it."""
    enter(folder, by, entries.change_stack, code, name=name, note=note, boards_in_all=in_all)


def climate(
    place: Annotated[str, typer.Argument(help="The place.")],
    file: Annotated[Path, typer.Argument(help="CSV of twelve lines under month,temperature_c,rh_pct.")],
    source: Annotated[str, typer.Option(help="Whose figures they are: weather service normals of the nearest town.")],
    folder: FolderOption = HERE,
    by: ByOption = "",
) -> None:
    """Enter a place's usual months, for the months that its own record has not seen."""
    months = climate_entries.read_file(file)
    enter(folder, by, entries.say_climate, place, months=months, source=source)
