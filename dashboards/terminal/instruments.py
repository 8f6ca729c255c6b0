"""Commands about instruments: meters and their offcuts, checks of probes, bag tests."""

from __future__ import annotations

from typing import Annotated

import typer
from rich.markup import escape

from dashboards import calibrations, cell_entries, entries
from dashboards.terminal import home
from dashboards.terminal.entering import Code, enter
from dashboards.terminal.home import HERE, ByOption, FolderOption, WhenOption
from dashboards.terminal.output import console
from kiln import hygrometers
from shared.store.records import LastMoved, Origin

meter = typer.Typer(no_args_is_help=True, help="A pin meter, calibrated on a lot of wood.")
SALTS = ", ".join(hygrometers.salts())


@meter.command("add")
def add_meter(
    code: Code,
    species: Annotated[str, typer.Option(help="The timber of the lot; `benchdry species` lists them.")],
    origin: Annotated[str, typer.Option(help=f"How the lot came: {', '.join(Origin)}.")] = Origin.FRESH.value,
    name: str = "",
    scale_c: Annotated[
        float | None, typer.Option("--scale-c", help="Wood temperature that its scale is made for.")
    ] = None,
    note: str = "",
    folder: FolderOption = HERE,
    by: ByOption = "",
) -> None:
    """Add a meter on a lot of wood."""
    values = {"species": species, "origin": origin, "name": name, "calibration_temperature_c": scale_c, "note": note}
    enter(folder, by, entries.add_meter, code, **values)


@meter.command("pair")
def add_pair(
    code: Code,
    reading: Annotated[str, typer.Option(help="What the meter showed on the offcut, %.")],
    wet: Annotated[str, typer.Option(help="Mass of the offcut then, g.")],
    dry: Annotated[str, typer.Option(help="Its mass oven-dried, g.")],
    wood: Annotated[str | None, typer.Option("--wood-c", help="How warm the wood was, °C.")] = None,
    folder: FolderOption = HERE,
    by: ByOption = "",
    when: WhenOption = "",
) -> None:
    """Enter an offcut that was read with the pins and then oven-dried."""
    values = {"reading_pct": reading, "wet_g": wet, "dry_g": dry, "temperature_c": wood}
    enter(folder, by, entries.add_meter_pair, code, when=when, **values)


@meter.command("list")
def list_meters(folder: FolderOption = HERE) -> None:
    """List the meters and how each reads on its lot."""
    with home.find(folder).store().reading() as connection:
        found = calibrations.meters_now(connection)
    if not found:
        console.print("No meter is entered yet; `benchdry meter add` enters one.")
    for one in found.values():
        console.print(f"{one.subject.code}  {escape(one.fact.name)}  ({escape(one.fact.species)})", highlight=False)
        console.print(f"  {escape(one.sentence)}", highlight=False)


def check(
    code: Annotated[str, typer.Argument(help="The probe.")],
    temperature: Annotated[str, typer.Option("--at-c", help="Temperature over the salts, °C.")],
    low: Annotated[str, typer.Option("--low-salt", help=f"The drier salt, one of {SALTS}.")] = "",
    low_read: Annotated[str | None, typer.Option(help="What the probe read over it, %RH.")] = None,
    high: Annotated[str, typer.Option("--high-salt", help="The moister salt.")] = "",
    high_read: Annotated[str | None, typer.Option(help="What the probe read over it, %RH.")] = None,
    hours: Annotated[str | None, typer.Option(help="Hours over the salts; they are not its place's air.")] = None,
    folder: FolderOption = HERE,
    by: ByOption = "",
    when: WhenOption = "",
) -> None:
    """Enter what a probe read over one or two saturated salts; from then on it is corrected when read."""
    values = {
        "temperature_c": temperature,
        "low_salt": low,
        "low_read_rh_pct": low_read,
        "high_salt": high,
        "high_read_rh_pct": high_read,
        "waited_h": hours,
    }
    enter(folder, by, entries.check_hygrometer, code, when=when, **values)


def carry(
    code: Annotated[str, typer.Argument(help="The probe that is a load cell.")],
    board: Annotated[str, typer.Option(help="The board that hangs on it.")] = "",
    stack: Annotated[str, typer.Option(help="The stack that stands on it; neither: nothing does.")] = "",
    error: Annotated[str | None, typer.Option("--error-g", help="What the cell is good to, ± g.")] = None,
    folder: FolderOption = HERE,
    by: ByOption = "",
    when: WhenOption = "",
) -> None:
    """Say which board or stack a load cell carries; its weight then counts in the projections."""
    enter(folder, by, cell_entries.load_cell, code, when=when, board=board, stack=stack, cell_error_g=error)


def tare(
    code: Annotated[str, typer.Argument(help="The probe that is a load cell.")],
    reading: Annotated[str | None, typer.Option("--reading-kg", help="What it reads empty; now, if not said.")] = None,
    folder: FolderOption = HERE,
    by: ByOption = "",
    when: WhenOption = "",
) -> None:
    """Enter what a load cell reads with nothing but its own hooks, pallet and cover on it."""
    enter(folder, by, cell_entries.tare_cell, code, when=when, reading_kg=reading)


def bag_test(
    code: Annotated[str, typer.Argument(help="The board.")],
    rh: Annotated[str, typer.Option(help="Humidity in the bag, %RH.")],
    temperature: Annotated[str, typer.Option("--at-c", help="Temperature in the bag, °C.")],
    hours: Annotated[str, typer.Option(help="How long it was closed, h.")],
    litres: Annotated[str, typer.Option(help="Air in the bag, litres.")],
    before: Annotated[str, typer.Option(help=f"Which way the wood last went: {', '.join(LastMoved)}.")] = "unknown",
    probe: Annotated[str, typer.Option(help="The probe that read it; its checks correct it.")] = "",
    rh_error: Annotated[str | None, typer.Option(help="One standard error of another hygrometer, %RH.")] = None,
    folder: FolderOption = HERE,
    by: ByOption = "",
    when: WhenOption = "",
) -> None:
    """Enter a bag test: the humidity that a board makes itself, sealed in a bag."""
    values = {
        "temperature_c": temperature,
        "rh_pct": rh,
        "waited_h": hours,
        "bag_l": litres,
        "last_moved": before,
        "probe": probe,
        "rh_error_pct": rh_error,
    }
    enter(folder, by, entries.add_bag_test, code, when=when, **values)
