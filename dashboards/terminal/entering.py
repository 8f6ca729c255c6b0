"""Commands that enter something: places, probes, stacks, boards, sets, weigh-ins, moves, undo."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Annotated, Any

import typer

from dashboards import entries, fields
from dashboards.terminal import home
from dashboards.terminal.home import HERE, ByOption, FolderOption, WhenOption
from dashboards.terminal.output import console
from shared import tables
from shared.store.records import Cut, Origin, PlaceKind

place = typer.Typer(no_args_is_help=True, help="Somewhere with its own air.")
probe = typer.Typer(no_args_is_help=True, help="A sensor that measures the air of a place.")
stack = typer.Typer(no_args_is_help=True, help="Boards in stick.")
board = typer.Typer(no_args_is_help=True, help="A board, billet, plate or blank.")
matched_set = typer.Typer(no_args_is_help=True, help="Pieces that belong together.")

Code = Annotated[str, typer.Argument(help="Its short name.")]
Acknowledged = Annotated[
    bool, typer.Option("--acknowledged", help="For a finish room: nothing unrated is in its spray area.")
]
PLACE_KINDS = ", ".join(PlaceKind)
CUTS, ORIGINS = ", ".join(Cut), ", ".join(Origin)
USES = ", ".join(tables.uses())


def enter(
    folder: Path, by: str, act: Callable[..., entries.Entered], *args: Any, when: str | None = None, **values: Any
) -> None:
    """Do one entry in one transaction and say what was entered, and how to take it back."""
    store = home.find(folder).store()
    now = home.now_ms()
    if when is not None:
        values["true_at_ms"] = fields.moment_ms("time", when or None)
    with store.writing() as connection:
        made = act(connection, *args, by=by or home.me(), now_ms=now, **values)
    undone = f"undo: benchdry undo {made.kind} {made.fact_id}"
    console.print(f"{made.sentence} ({undone})", highlight=False, soft_wrap=True, markup=False)


@place.command("add")
def add_place(
    code: Code,
    kind: Annotated[str, typer.Option(help=f"One of {PLACE_KINDS}.")] = "shed",
    name: str = "",
    altitude: Annotated[float, typer.Option(help="Height above sea level, m.")] = 0.0,
    air_speed: Annotated[
        str | None, typer.Option(help="Speed of the air as measured over the wood, m/s; not known, if not said.")
    ] = None,
    in_sun: Annotated[bool, typer.Option("--in-sun", help="Sun reaches the wood there.")] = False,
    acknowledged: Acknowledged = False,
    folder: FolderOption = HERE,
    by: ByOption = "",
    when: WhenOption = "",
) -> None:
    """Add a place."""
    air = {"altitude_m": altitude, "air_speed_m_s": air_speed, "in_sun": in_sun, "acknowledged": acknowledged}
    enter(folder, by, entries.add_place, code, name=name, kind=kind, when=when, **air)


@place.command("close")
def close_place(code: Code, folder: FolderOption = HERE, by: ByOption = "") -> None:
    """Close a place that is no longer used; its history stays."""
    enter(folder, by, entries.close_place, code)


@probe.command("add")
def add_probe(
    code: Code,
    topic: Annotated[str, typer.Option(help="The MQTT topic it publishes on.")],
    name: str = "",
    in_place: Annotated[str, typer.Option("--place", help="The place it measures.")] = "",
    acknowledged: Acknowledged = False,
    folder: FolderOption = HERE,
    by: ByOption = "",
    when: WhenOption = "",
) -> None:
    """Add a probe; one that is simply heard is added by itself."""
    values = {"topic": topic, "name": name, "place": in_place, "acknowledged": acknowledged}
    enter(folder, by, entries.add_probe, code, when=when, **values)


@probe.command("move")
def move_probe(
    code: Code,
    to: Annotated[str, typer.Argument(help="The place it measures from then on; empty for none.")],
    acknowledged: Acknowledged = False,
    folder: FolderOption = HERE,
    by: ByOption = "",
    when: WhenOption = "",
) -> None:
    """Say in which place a probe is, from now or from an earlier time on."""
    enter(folder, by, entries.move_probe, code, place=to, acknowledged=acknowledged, when=when)


@stack.command("add")
def add_stack(
    code: Code,
    in_place: Annotated[str, typer.Option("--place", help="Where it stands.")],
    name: str = "",
    note: str = "",
    in_all: Annotated[
        str | None, typer.Option("--boards-in-all", help="How many boards lie in it; those entered, if not said.")
    ] = None,
    folder: FolderOption = HERE,
    by: ByOption = "",
    when: WhenOption = "",
) -> None:
    """Add a stack."""
    values = {"place": in_place, "name": name, "note": note, "boards_in_all": in_all}
    enter(folder, by, entries.add_stack, code, when=when, **values)


@stack.command("move")
def move_stack(
    code: Code,
    to: Annotated[str, typer.Argument(help="The place it stands in from then on.")],
    folder: FolderOption = HERE,
    by: ByOption = "",
    when: WhenOption = "",
) -> None:
    """Move a stack, and every board in it, to another place."""
    enter(folder, by, entries.move_stack, code, place=to, when=when)


@board.command("add")
def add_board(
    code: Code,
    species: Annotated[str, typer.Option(help="Botanical name; `benchdry species` lists them.")],
    thickness: Annotated[float, typer.Option(help="mm")],
    width: Annotated[float, typer.Option(help="mm")],
    length: Annotated[float, typer.Option(help="mm")],
    origin: Annotated[str, typer.Option(help=f"One of {ORIGINS}.")] = "fresh-sawn",
    cut: Annotated[str, typer.Option(help=f"One of {CUTS}.")] = "flat-sawn",
    in_stack: Annotated[str, typer.Option("--stack", help="The stack it lies in.")] = "",
    in_place: Annotated[str, typer.Option("--place", help="The place it lies in, outside a stack.")] = "",
    name: str = "",
    note: str = "",
    folder: FolderOption = HERE,
    by: ByOption = "",
    when: WhenOption = "",
) -> None:
    """Add a board; --when is the moment from which it is in these sizes."""
    enter(
        folder,
        by,
        entries.add_board,
        code,
        species=species,
        thickness_mm=thickness,
        width_mm=width,
        length_mm=length,
        cut=cut,
        origin=origin,
        stack=in_stack,
        place=in_place,
        name=name,
        note=note,
        when=when,
    )


@board.command("move")
def move_board(
    code: Code,
    to_stack: Annotated[str, typer.Option("--stack")] = "",
    to_place: Annotated[str, typer.Option("--place")] = "",
    folder: FolderOption = HERE,
    by: ByOption = "",
    when: WhenOption = "",
) -> None:
    """Move a board to a stack or a place; its air history goes with it."""
    enter(folder, by, entries.move_board, code, stack=to_stack, place=to_place, when=when)


@board.command("weigh")
def weigh(
    code: Code,
    grams: Annotated[float | None, typer.Option("--g", help="Mass in g.")] = None,
    kilograms: Annotated[float | None, typer.Option("--kg", help="Mass in kg.")] = None,
    scale_error: Annotated[float | None, typer.Option("--scale-error-g", help="Error of the scale, g.")] = None,
    sure: Annotated[bool, typer.Option("--sure", help="Keep it although it seems impossible.")] = False,
    folder: FolderOption = HERE,
    by: ByOption = "",
    when: WhenOption = "",
) -> None:
    """Enter a weigh-in."""
    enter(
        folder,
        by,
        entries.add_weigh_in,
        code,
        mass_g=grams,
        mass_kg=kilograms,
        scale_error_g=scale_error,
        sure=sure,
        when=when,
    )


@board.command("pin")
def pin(
    code: Code,
    mc: Annotated[str, typer.Argument(help="What the meter shows, %.")],
    depth: Annotated[
        str | None, typer.Option(help="Depth of the pins, mm; a quarter of the thickness, if not said.")
    ] = None,
    wood: Annotated[str | None, typer.Option("--wood-c", help="How warm the wood is, °C.")] = None,
    meter: Annotated[str, typer.Option(help="The calibrated meter that read it (`benchdry meter list`).")] = "",
    folder: FolderOption = HERE,
    by: ByOption = "",
    when: WhenOption = "",
) -> None:
    """Enter a pin reading."""
    values = {"mc_pct": mc, "depth_mm": depth, "temperature_c": wood, "meter": meter}
    enter(folder, by, entries.add_pin_reading, code, when=when, **values)


@board.command("oven-dry")
def oven_dry(
    code: Code,
    wet: Annotated[float, typer.Option(help="Mass of the section when cut, g.")],
    dry: Annotated[float, typer.Option(help="Its mass oven-dried, g.")],
    folder: FolderOption = HERE,
    by: ByOption = "",
    when: WhenOption = "",
) -> None:
    """Enter a section cut from a board and oven-dried; --when is the moment of the cut."""
    enter(folder, by, entries.add_oven_dry, code, wet_g=wet, dry_g=dry, when=when)


@matched_set.command("add")
def add_set(code: Code, name: str = "", note: str = "", folder: FolderOption = HERE, by: ByOption = "") -> None:
    """Add a matched set."""
    enter(folder, by, entries.add_set, code, name=name, note=note)


def undo(
    kind: Annotated[str, typer.Argument(help="What it is: " + ", ".join(entries.UNDOABLE))],
    number: Annotated[int, typer.Argument(help="The number shown when it was entered.")],
    folder: FolderOption = HERE,
    by: ByOption = "",
) -> None:
    """Take an entry back; nothing is erased, and the undo can be undone."""
    enter(folder, by, entries.undo, kind, number)
