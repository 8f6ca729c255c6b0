"""Commands about what verdicts are held against: limits, overrides, lifted wood, joints, what a piece is wanted for."""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import asdict
from typing import Annotated

import typer
from rich.markup import escape
from rich.padding import Padding

from dashboards import api, display, entries, limits_now
from dashboards.lifted_entries import SHAKE
from dashboards.limits_now import LimitNow, OwnLimits
from dashboards.terminal import home
from dashboards.terminal.entering import USES, Code, enter
from dashboards.terminal.home import HERE, ByOption, FolderOption, WhenOption
from dashboards.terminal.output import console
from shared.store.records import PieceKind, Sapwood, Smell, WaterBody

WATERS, SAPWOODS, SMELLS, SHAKES = ", ".join(WaterBody), ", ".join(Sapwood), ", ".join(Smell), ", ".join(SHAKE)
KINDS = ", ".join(PieceKind)
Because = Annotated[str, typer.Option("--reason", help="Why: whoever reads it in a year should see it.")]


def limit(
    name: Annotated[str, typer.Argument(help="Its name, as `benchdry limits` lists it.")],
    value: Annotated[str, typer.Argument(help="What it is to be, in the unit of the list.")],
    reason: Because,
    folder: FolderOption = HERE,
    by: ByOption = "",
) -> None:
    """Set a limit for this yard from now on, in place of the table's."""
    enter(folder, by, entries.set_limit, name, value=value, reason=reason)


def limits(
    folder: FolderOption = HERE,
    as_json: Annotated[bool, typer.Option("--json", help="The same, for programs.")] = False,
) -> None:
    """List every limit that verdicts are held against: in force, of the table, and who has set it otherwise."""
    with home.find(folder).store().reading() as connection:
        own: OwnLimits = limits_now.own_limits(connection, home.now_ms())
    every = limits_now.every(own)
    if as_json:
        typer.echo(json.dumps(api.as_json([asdict(one) for one in every]), indent=1, ensure_ascii=False))
        return
    for one in every:
        console.print(f"{one.name}: {limits_now.shown(one.value, one.unit)}", highlight=False, markup=False)
        for line in _lines(one):
            console.print(Padding(escape(line), (0, 0, 0, 4)), highlight=False)


def _lines(one: LimitNow) -> tuple[str, ...]:
    """What a limit limits, what it may be set to, on whose word the table has it, and who has set it otherwise."""
    most = limits_now.shown(one.accepted.high, one.unit)
    accepted = f"{one.accepted.low:g} to {most} accepted" if one.settable else "the same for every yard"
    source = one.source if one.status in one.source else f"{one.source} ({one.status})"
    told = f"{one.label[:1].upper()}{one.label[1:]}; {accepted}. {source[:1].upper()}{source[1:]}."
    if one.own is None:
        return (told,)
    usual = f"the table has {limits_now.shown(one.usual, one.unit)}"
    return told, f"Set here: {one.own.entered_by}, {display.moment(one.own.true_at_ms)}: {one.own.reason}; {usual}."


def override(kind: str) -> Callable[..., None]:
    """Return the command that overrides the verdict on a board or a set."""

    def override(
        code: Code,
        use: Annotated[str, typer.Argument(help=f"One of {USES}.")],
        reason: Because,
        folder: FolderOption = HERE,
        by: ByOption = "",
        when: WhenOption = "",
    ) -> None:
        """Go ahead whatever the verdict says, under your name; the verdict stays as it is."""
        enter(folder, by, entries.add_override, code, kind=kind, use=use, reason=reason, when=when)

    return override


def lifted(
    code: Code,
    water: Annotated[str, typer.Option(help=f"One of {WATERS}.")],
    sapwood: Annotated[str, typer.Option(help=f"One of {SAPWOODS}.")] = "unknown",
    shake: Annotated[str, typer.Option(help=f"Cracks along the rings: {SHAKES}.")] = "not looked",
    smell: Annotated[str, typer.Option(help=f"One of {SMELLS}.")] = "unknown",
    washed: Annotated[bool, typer.Option("--washed", help="It was washed since.")] = False,
    metal_searched: Annotated[bool, typer.Option("--metal-searched", help="It was searched for metal.")] = False,
    note: str = "",
    folder: FolderOption = HERE,
    by: ByOption = "",
    when: WhenOption = "",
) -> None:
    """Enter how a board or log came out of the water; --when is the moment, without it the last one is corrected."""
    marks = {"water": water, "sapwood": sapwood, "shake": shake, "smell": smell}
    done = {"washed": washed, "metal_searched": metal_searched}
    enter(folder, by, entries.say_lifted, code, when=when, note=note, **marks, **done)


def joint(
    code: Code,
    a: Annotated[str, typer.Argument(help="One piece of the set.")],
    b: Annotated[str, typer.Argument(help="The other.")],
    length: Annotated[str, typer.Option("--mm", help="How long the joint is, mm.")],
    grain_a: Annotated[str, typer.Option(help="Angle of the first one's grain to the joint, degrees.")] = "0",
    grain_b: Annotated[str, typer.Option(help="Angle of the other one's.")] = "0",
    name: Annotated[str, typer.Option(help="What it is called; after its pieces, if not said.")] = "",
    folder: FolderOption = HERE,
    by: ByOption = "",
    when: WhenOption = "",
) -> None:
    """Enter a joint between two pieces of a set."""
    grains = {"grain_a_deg": grain_a, "grain_b_deg": grain_b}
    enter(folder, by, entries.add_joint, code, a=a, b=b, length_mm=length, name=name, when=when, **grains)


def put_in_set(
    code: Code,
    piece: Annotated[str, typer.Argument(help="The board.")],
    role: Annotated[str, typer.Option(help="What it is: left half, back, brace …")] = "",
    kind: Annotated[str, typer.Option(help=f"One of {KINDS}; as the role's words say, if not said.")] = "",
    folder: FolderOption = HERE,
    by: ByOption = "",
    when: WhenOption = "",
) -> None:
    """Put a board into a set."""
    enter(folder, by, entries.put_in_set, piece, set_code=code, role=role, piece_kind=kind, when=when)


def plan_use(kind: str) -> Callable[..., None]:
    """Return the command that says what a board or a set is wanted for."""

    def plan_use(
        code: Code,
        use: Annotated[str, typer.Argument(help=f"One of {USES}.")],
        rh: Annotated[float | None, typer.Option(help="Humidity of the air it will live in, %RH.")] = None,
        temperature: Annotated[float | None, typer.Option(help="Temperature of that air, °C.")] = None,
        booked: Annotated[str | None, typer.Option(help="The day it is booked for, 2026-12-04.")] = None,
        mc_from: Annotated[str | None, typer.Option(help="Moisture that is also wanted, from, %MC.")] = None,
        mc_to: Annotated[str | None, typer.Option(help="And to, %MC.")] = None,
        begun: Annotated[bool, typer.Option("--begun", help="The work has begun.")] = False,
        folder: FolderOption = HERE,
        by: ByOption = "",
    ) -> None:
        """Say what it is wanted for, and when."""
        air = {"destination_rh_pct": rh, "destination_temperature_c": temperature}
        wet = {"wanted_mc_low_pct": mc_from, "wanted_mc_high_pct": mc_to}
        enter(folder, by, entries.plan_use, code, use=use, kind=kind, booked=booked, begun=begun, **air, **wet)

    return plan_use
