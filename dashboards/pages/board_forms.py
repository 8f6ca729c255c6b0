"""The forms about a board: its wood, its place, its use."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from dashboards import display
from dashboards.pages.entry_forms import options_of, piece_fields, use_options, where_options
from dashboards.pages.forms import Field, Form, Option, name_field, when_field
from kiln.oven_dry import BEFORE
from shared import tables
from shared.store.records import Cut, Origin

MINERALS = (
    "Salt and minerals from the water make pins read too wet: without a meter calibrated on this lot, a reading counts "
    "as the most that it can be."
)


def weigh_in(code: str, by: str, last: str, *, unit: str = "g", true_at: str = "") -> Form:
    """Return the form for a weigh-in; ``last`` is the mass shown beside it, ``true_at`` a moment already filled in."""
    hint = f"Last: {last}" if last else "The first weigh-in of this board."
    return Form(
        "weigh-in",
        "Weigh-in",
        f"/board/{code}/weigh-in",
        "Enter the mass",
        (
            Field("mass", "Mass", "number", needed=True, hint=hint, spoken="mass"),
            Field("unit", "Unit", "choice", value=unit, options=(Option("g", "grams"), Option("kg", "kilograms"))),
            Field(
                "scale_error_g",
                "Scale reads to ±",
                "number",
                unit="g",
                hint="Empty: a thousandth of the mass.",
                spoken="scale error",
            ),
            replace(when_field(), value=true_at),
            name_field(by),
            Field("sure", "I have looked again: this mass is right", "tick"),
        ),
        open=True,
    )


def pin_reading(situation: Any, code: str, by: str, fact: Any) -> Form:
    """Return the form for a pin reading."""
    quarter = display.millimetres(fact.thickness_m / 4)
    reclaimed = fact.origin is Origin.RECLAIMED
    return Form(
        "pin",
        "Pin reading",
        f"/board/{code}/pin",
        "Enter the reading",
        (
            Field("mc_pct", "Meter shows", "number", unit="%", needed=True, spoken="pin reading"),
            Field(
                "depth_mm",
                "Depth of the pins",
                "number",
                unit="mm",
                spoken="depth of the pins",
                hint=f"Empty: a quarter of the thickness, {quarter} mm.",
            ),
            Field(
                "temperature_c",
                "Wood at",
                "number",
                unit="°C",
                spoken="wood temperature",
                hint="Cold wood reads too low. Empty: as the scale wants it.",
            ),
            Field("meter", "Meter", "choice", options=meter_options(situation), spoken="meter"),
            when_field(),
            name_field(by),
        ),
        intro=MINERALS if reclaimed else "",
    )


def meter_options(situation: Any) -> tuple[Option, ...]:
    """Return the meters as choices, led by one that is not calibrated."""
    return (Option("", "not calibrated"), *(Option(m.subject.code, m.fact.name) for m in situation.meters))


def oven_dry(code: str, by: str) -> Form:
    """Return the form for an oven-dried section."""
    return Form(
        "oven-dry",
        "Oven-dried section",
        f"/board/{code}/oven-dry",
        "Enter the section",
        (
            Field("wet_g", "Mass when cut", "number", unit="g", needed=True, spoken="wet mass of the section"),
            Field("dry_g", "Mass oven-dry", "number", unit="g", needed=True, spoken="oven-dry mass of the section"),
            when_field(),
            name_field(by),
        ),
        intro="When is the moment at which the section was cut.",
        before=BEFORE,
    )


def plan(kind: str, code: str, by: str, held: Any | None) -> Form:
    """Return the form for what a board or set is wanted for; ``held`` is the plan in force."""
    return Form(
        "use",
        "Wanted for",
        f"/{kind}/{code}/use",
        "Set the use",
        (
            Field("use", "Use", "choice", value=held.use if held else "", options=use_options()),
            Field(
                "destination_rh_pct",
                "Air it will live in, RH",
                "number",
                unit="%",
                spoken="destination RH",
                value=f"{held.destination_rh_pct:g}" if held else "",
                hint="Empty: the usual air of this use.",
            ),
            Field(
                "destination_temperature_c",
                "and temperature",
                "number",
                unit="°C",
                spoken="destination temperature",
                value=f"{held.destination_temperature_c:g}" if held else "",
            ),
            Field(
                "booked",
                "Booked for",
                "day",
                spoken="booked date",
                value=display.for_field(held.booked_ms)[:10] if held and held.booked_ms else "",
            ),
            _wanted("wanted_mc_low_pct", "Also wanted as moisture, from", held and held.wanted_mc_low_pct),
            _wanted("wanted_mc_high_pct", "to", held and held.wanted_mc_high_pct),
            Field("begun", "The work has begun", "tick", value="yes" if held and held.begun else ""),
            name_field(by),
        ),
    )


def _wanted(key: str, label: str, mc_pct: float | None) -> Field:
    spoken = f"wanted moisture {label.rpartition(' ')[2]}"
    hint = "Empty: only what suits that air." if label != "to" else ""
    value = "" if mc_pct is None else f"{mc_pct:g}"
    return Field(key, label, "number", unit="%MC", spoken=spoken, value=value, hint=hint)


def move_board(situation: Any, code: str, by: str, lies_in: str) -> Form:
    """Return the form that moves a board."""
    return Form(
        "move",
        "Move the board",
        f"/board/{code}/move",
        "Move it",
        (
            Field("where", "To", "choice", value=lies_in, options=where_options(situation), spoken="where it lies"),
            when_field(),
            name_field(by),
        ),
    )


def join_set(situation: Any, code: str, by: str, set_code: str) -> Form:
    """Return the form that puts a board into a set, or takes it out."""
    sets = tuple(Option(one.subject.code, one.fact.name) for one in situation.sets)
    return Form(
        "set",
        "Piece of a set",
        f"/board/{code}/set",
        "Set it",
        (
            Field("set_code", "Set", "choice", value=set_code, options=(Option("", "no set"), *sets), spoken="set"),
            *piece_fields(),
            name_field(by),
        ),
    )


def size_fields(thickness: str = "", width: str = "", length: str = "") -> tuple[Field, ...]:
    """Return the three sizes of a board."""
    return (
        Field("thickness_mm", "Thickness", "number", unit="mm", needed=True, value=thickness, spoken="thickness"),
        Field("width_mm", "Width", "number", unit="mm", needed=True, value=width, spoken="width"),
        Field("length_mm", "Length", "number", unit="mm", needed=True, value=length, spoken="length"),
    )


def species_field(value: str = "") -> Field:
    """Return the timber, with the names of the table to choose from."""
    known = tuple(one.label for one in tables.species().values())
    return Field(
        "species",
        "Species",
        value=value,
        needed=True,
        suggestions=known,
        spoken="species",
        hint="Common or botanical; where a name means several timbers, you choose.",
    )


def correct_board(board: Any, by: str) -> Form:
    """Return the form that corrects what a board is."""
    fact = board.fact
    label = tables.species()[fact.species].label if fact.species in tables.species() else fact.species
    sizes = (display.millimetres(size) for size in (fact.thickness_m, fact.width_m, fact.length_m))
    return Form(
        "correct",
        "Correct the board",
        f"/board/{board.subject.code}/correct",
        "Correct it",
        (
            Field("name", "Name", value=fact.name, spoken="name"),
            species_field(label),
            *size_fields(*sizes),
            Field("cut", "Cut", "choice", value=fact.cut.value, options=options_of(Cut)),
            Field("origin", "Came as", "choice", value=fact.origin.value, options=options_of(Origin), spoken="origin"),
            Field("note", "Note", value=fact.note),
            Field("supersedes", "", "hidden", value=str(fact.id)),
            name_field(by),
        ),
        intro="For a slip of the pen. What is written here counts for the board's whole history.",
    )
