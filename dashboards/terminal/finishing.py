"""`benchdry finish`: finishes by their data sheets, finish rooms, what was sprayed in them, surfaces measured."""

from __future__ import annotations

from typing import Annotated

import typer
from rich.markup import escape
from rich.table import Table

from dashboards import data_sheet, display, entries, finish_entries, finish_now, safety
from dashboards.acknowledging import RULE
from dashboards.pages import entry_words
from dashboards.pages.entered import names_of
from dashboards.terminal import home
from dashboards.terminal.entering import Code, enter
from dashboards.terminal.home import HERE, ByOption, FolderOption, WhenOption
from dashboards.terminal.output import console
from shared.store import facts
from shared.store.records import ExtractionKnown, FinishFact, MixedBy
from shared.tables import Region

finish = typer.Typer(
    no_args_is_help=True, help="Finishes by their data sheets, the rooms they are sprayed in, what was sprayed."
)
SheetRead = Annotated[bool, typer.Option("--sure", help="Section 3 and 15 of the sheet were read: it names none.")]
SureOfDate = Annotated[bool, typer.Option("--sure", help="More than a day ago, and the date is right.")]
PlaceCode = Annotated[str, typer.Argument(help="The finish room, a place.")]
SHEET_WORDS = ", ".join(data_sheet.SHEET_SAYS)

Name = Annotated[str | None, typer.Option(help="What it is called; the code, if not said.")]
Ingredients = Annotated[
    list[str] | None,
    typer.Option("--ingredient", help='Name or CAS number and share: "acetone 30-60". Once for each.'),
]
BasisOption = Annotated[str | None, typer.Option("--shares", help=f"The shares are {' or '.join(MixedBy)}.")]
Density = Annotated[str | None, typer.Option("--density-kg-l", help="Section 9 of the sheet, kg/l.")]
FlashPoint = Annotated[str | None, typer.Option("--flash-c", help="Section 9 of the sheet, °C.")]
Isocyanate = Annotated[str | None, typer.Option(help=f"Whether the sheet names one: {SHEET_WORDS}.")]
Formaldehyde = Annotated[str | None, typer.Option(help=f"Whether it gives off formaldehyde: {SHEET_WORDS}.")]
DryingOil = Annotated[
    str | None, typer.Option("--drying-oil", help=f"Whether its rags heat themselves: {SHEET_WORDS}.")
]
DryAfter = Annotated[str | None, typer.Option("--dry-h", help="Dry to handle after: 0.75, 45 min, 2 h.")]
DewGap = Annotated[str | None, typer.Option("--dew-gap", help="Surface above the dew point by, C°, as the sheet asks.")]
RhMax = Annotated[str | None, typer.Option("--rh-max", help="Air at most, %RH, as the sheet asks.")]
SurfaceMin = Annotated[str | None, typer.Option("--surface-min-c", help="Surface at least, °C, as the sheet asks.")]
Sheet = Annotated[str | None, typer.Option(help="Title and date of the safety data sheet.")]
Note = Annotated[str | None, typer.Option(help="Anything else.")]


@finish.command("add")
def add(
    code: Code,
    name: Name = None,
    ingredient: Ingredients = None,
    shares: BasisOption = None,
    density: Density = None,
    flash: FlashPoint = None,
    isocyanate: Isocyanate = None,
    formaldehyde: Formaldehyde = None,
    drying_oil: DryingOil = None,
    dry: DryAfter = None,
    dew_gap: DewGap = None,
    rh_max: RhMax = None,
    surface_min: SurfaceMin = None,
    sheet: Sheet = None,
    note: Note = None,
    folder: FolderOption = HERE,
    by: ByOption = "",
    when: WhenOption = "",
) -> None:
    """Put a finish on the shelf, as its safety data sheet tells of it; what is not said counts as unknown."""
    said = _said(
        name=name,
        ingredients=_lines(ingredient),
        basis=shares,
        density_kg_l=density,
        flash_point_c=flash,
        isocyanate=isocyanate,
        formaldehyde=formaldehyde,
        self_heating=drying_oil,
        dry_after_h=dry,
        dew_gap_c=dew_gap,
        rh_max_pct=rh_max,
        surface_min_c=surface_min,
        sheet=sheet,
        note=note,
    )
    enter(folder, by, entries.add_finish, code, when=when, **said)


@finish.command("change")
def change(
    code: Code,
    name: Name = None,
    ingredient: Ingredients = None,
    shares: BasisOption = None,
    density: Density = None,
    flash: FlashPoint = None,
    isocyanate: Isocyanate = None,
    formaldehyde: Formaldehyde = None,
    drying_oil: DryingOil = None,
    dry: DryAfter = None,
    dew_gap: DewGap = None,
    rh_max: RhMax = None,
    surface_min: SurfaceMin = None,
    sheet: Sheet = None,
    note: Note = None,
    sure: SheetRead = False,
    folder: FolderOption = HERE,
    by: ByOption = "",
) -> None:
    """Correct what is known of a finish; what is not said stays as it was.

    Of what was sprayed before, the worse of what was said before and now counts.
    """
    said = _said(
        name=name,
        ingredients=_lines(ingredient),
        basis=shares,
        density_kg_l=density,
        flash_point_c=flash,
        isocyanate=isocyanate,
        formaldehyde=formaldehyde,
        self_heating=drying_oil,
        dry_after_h=dry,
        dew_gap_c=dew_gap,
        rh_max_pct=rh_max,
        surface_min_c=surface_min,
        sheet=sheet,
        note=note,
    )
    enter(folder, by, entries.change_finish, code, sure=sure, **said)


def _said(**values: str | None) -> dict[str, str]:
    return {name: value for name, value in values.items() if value is not None}


def _lines(some: list[str] | None) -> str | None:
    return "\n".join(some) if some else None


@finish.command("close")
def close(code: Code, folder: FolderOption = HERE, by: ByOption = "") -> None:
    """Take a finish off the shelf; what was sprayed of it stays."""
    enter(folder, by, entries.close_finish, code)


@finish.command("reopen")
def reopen(code: Code, folder: FolderOption = HERE, by: ByOption = "") -> None:
    """Put a finish back on the shelf."""
    enter(folder, by, entries.reopen_finish, code)


@finish.command("room")
def room(
    place: PlaceCode,
    volume: Annotated[str, typer.Argument(help='Its volume, m³, or "4.2 x 3 x 2.5 m".')],
    extraction: Annotated[
        str | None,
        typer.Option("--m3-h", help="Air drawn out, m³/h, or none; not known and counted as none, if not said."),
    ] = None,
    known: Annotated[
        str, typer.Option(help=f"How that is known: {' or '.join(one for one in ExtractionKnown if one)}.")
    ] = "",
    mixing: Annotated[str | None, typer.Option(help="Mixing factor, 3 to 10; 10, if not said.")] = None,
    sure: Annotated[bool, typer.Option("--sure", help="Keep figures that are rarely so.")] = False,
    folder: FolderOption = HERE,
    by: ByOption = "",
    when: WhenOption = "",
) -> None:
    """Say how large a finish room is and how much air is drawn out of it."""
    values = {"volume": volume, "extraction": extraction, "extraction_known": known, "mixing_factor": mixing}
    values["sure"] = sure
    enter(folder, by, entries.say_finish_room, place, when=when, **values)


@finish.command("sprayed")
def sprayed(
    place: PlaceCode,
    product: Annotated[str, typer.Argument(help="The finish.")],
    litres: Annotated[str, typer.Argument(help="How much, litres, thinner included.")],
    minutes: Annotated[str, typer.Argument(help="In how many minutes.")],
    extraction: Annotated[
        bool, typer.Option("--extraction", help="It ran all the while, and was left running.")
    ] = False,
    sure: SureOfDate = False,
    folder: FolderOption = HERE,
    by: ByOption = "",
    when: WhenOption = "",
) -> None:
    """Enter what was sprayed in a finish room, from --when on."""
    values = {"finish": product, "litres": litres, "minutes": minutes, "extraction_on": extraction, "sure": sure}
    enter(folder, by, entries.add_sprayed, place, when=when, **values)


@finish.command("surface")
def surface(
    place: PlaceCode,
    surface_c: Annotated[str, typer.Argument(metavar="SURFACE-C", help="How warm the surface is, °C.")],
    what: Annotated[str, typer.Option(help="What was measured.")],
    air: Annotated[str | None, typer.Option("--air-c", help="The air there, °C.")] = None,
    rh: Annotated[str | None, typer.Option("--rh", help="and its humidity, %RH.")] = None,
    sure: SureOfDate = False,
    folder: FolderOption = HERE,
    by: ByOption = "",
    when: WhenOption = "",
) -> None:
    """Enter how warm a surface in a finish room is."""
    values = {"surface_c": surface_c, "what": what, "air_c": air, "rh_pct": rh, "sure": sure}
    enter(folder, by, entries.add_surface_reading, place, when=when, **values)


@finish.command("acknowledge", help=f"Say of a finish room and the probes in it that it is so: {RULE}")
def acknowledge(
    place: PlaceCode,
    acknowledged: Annotated[bool, typer.Option("--acknowledged", help="It is so.")] = False,
    folder: FolderOption = HERE,
    by: ByOption = "",
) -> None:
    """Say of a finish room and the probes in it that nothing unrated is in the spray area."""
    enter(folder, by, entries.acknowledge, place, acknowledged=acknowledged)


@finish.command("region")
def region(
    whose: Annotated[str, typer.Argument(help=f"One of {', '.join(Region)}; lowest is the lowest of all listed.")],
    note: Annotated[str, typer.Option(help="Why.")] = "",
    folder: FolderOption = HERE,
    by: ByOption = "",
) -> None:
    """Choose whose limits for breathed air count in this yard from now on."""
    enter(folder, by, entries.set_region, region=whose, note=note)


@finish.command("list")
def listed(
    closed: Annotated[bool, typer.Option("--all", help="Those that were taken off the shelf too.")] = False,
    folder: FolderOption = HERE,
) -> None:
    """List the finishes on the shelf."""
    with home.find(folder).store().reading() as connection:
        found = finish_now.finishes(connection, closed=closed)
    if not found:
        console.print("No finish is entered; `benchdry finish add` enters one.", highlight=False)
        return
    shown = Table(box=None, padding=(0, 2, 0, 0))
    for column in ("code", "name", "the sheet names", "flash point"):
        shown.add_column(column, overflow="fold")
    for one in found:
        fact = one.fact
        flash = display.with_unit(fact.flash_point_c, "°C")
        name = f"{fact.name} (off the shelf)" if fact.closed else fact.name
        shown.add_row(escape(one.subject.code), escape(name), _named(fact), flash)
    console.print(shown, highlight=False)


def _named(fact: FinishFact) -> str:
    """What a finish's sheet names of what no air answers, and of oil; and for what nobody has read it."""
    flags = {"isocyanate": fact.isocyanate, "formaldehyde": fact.formaldehyde, "a drying oil": fact.self_heating}
    named = [what for what, said in flags.items() if said]
    unread = [what for what, said in flags.items() if said is None]
    return (
        "; ".join([*named, *([f"not read for {display.listed(unread)}"] if unread else [])])
        or "none of isocyanate, formaldehyde, oil"
    )


@finish.command("show")
def show(code: Code, folder: FolderOption = HERE) -> None:
    """Show what is known of a finish, and what is still to be read in its data sheet."""
    with home.find(folder).store().reading() as connection:
        _subject, fact = finish_entries.finish_of(connection, code)
        said = entry_words.words(fact, names_of(connection, home.now_ms()))
    mixture = finish_now.mixture_of(fact)
    refused = mixture.refusal()
    told = data_sheet.by_its_words(facts.own_values(fact)).strip()
    lines = [
        safety.FIRST_LINE,
        *said.split("; "),
        *([told] if told else []),
        *([refused.sentence] if refused else mixture.unknowns()),
    ]
    for line in (*lines, safety.LAST_LINE):
        console.print(escape(line), highlight=False, soft_wrap=True)
