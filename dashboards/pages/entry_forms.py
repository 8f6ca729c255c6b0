"""The forms of the pages, each filled with what the store knows already."""

from __future__ import annotations

from collections.abc import Sequence
from enum import StrEnum
from typing import Any

from dashboards import display
from dashboards.pages.forms import Field, Form, Option, name_field, when_field
from shared import tables
from shared.store.records import Cut, Origin, PlaceKind, SubjectKind


def options_of(words: type[StrEnum]) -> tuple[Option, ...]:
    """Return the words of a list as choices."""
    return tuple(Option(word.value, word.value) for word in words)


def place_options(situation: Any, *, none: str = "") -> tuple[Option, ...]:
    """Return the places in use as choices, led by ``none`` when that may be chosen."""
    found = [Option(place.subject.code, place.fact.name) for place in situation.open_places]
    return tuple(([Option("", none)] if none else []) + found)


def where_options(situation: Any) -> tuple[Option, ...]:
    """Return every stack and place that a board can lie in, as ``stack:K7`` or ``place:loft``."""
    stacks = [Option(f"stack:{one.subject.code}", f"stack {one.fact.name}") for one in situation.stacks]
    places = [Option(f"place:{one.subject.code}", one.fact.name) for one in situation.open_places]
    return tuple(stacks + places)


def use_options() -> tuple[Option, ...]:
    """Return the uses as choices."""
    return tuple(Option(use.name, use.label) for use in tables.uses().values())


def weigh_in(code: str, by: str, last: str) -> Form:
    """Return the form for a weigh-in; ``last`` is the mass shown beside it."""
    hint = f"Last: {last}" if last else "The first weigh-in of this board."
    return Form(
        "weigh-in",
        "Weigh-in",
        f"/board/{code}/weigh-in",
        "Enter the mass",
        (
            Field("mass", "Mass", "number", needed=True, hint=hint, spoken="mass"),
            Field("unit", "Unit", "choice", value="g", options=(Option("g", "grams"), Option("kg", "kilograms"))),
            Field(
                "scale_error_g",
                "Scale reads to ±",
                "number",
                unit="g",
                hint="Empty: a thousandth of the mass.",
                spoken="scale error",
            ),
            when_field(),
            name_field(by),
            Field("sure", "I have looked again: this mass is right", "tick"),
        ),
        open=True,
    )


def pin_reading(code: str, by: str, thickness_m: float) -> Form:
    """Return the form for a pin reading."""
    quarter = display.millimetres(thickness_m / 4)
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
            when_field(),
            name_field(by),
        ),
    )


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
            name_field(by),
        ),
    )


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
            Field("role", "As", suggestions=("left half", "right half", "brace", "side", "neck"), spoken="role"),
            name_field(by),
        ),
    )


def _sizes(thickness: str = "", width: str = "", length: str = "") -> tuple[Field, ...]:
    return (
        Field("thickness_mm", "Thickness", "number", unit="mm", needed=True, value=thickness, spoken="thickness"),
        Field("width_mm", "Width", "number", unit="mm", needed=True, value=width, spoken="width"),
        Field("length_mm", "Length", "number", unit="mm", needed=True, value=length, spoken="length"),
    )


def _species(value: str = "") -> Field:
    known = tuple(one.label for one in tables.species().values())
    return Field(
        "species",
        "Species",
        value=value,
        needed=True,
        suggestions=known,
        spoken="species",
        hint="A common name alone can mean two timbers; the list gives both names.",
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
            _species(label),
            *_sizes(*sizes),
            Field("cut", "Cut", "choice", value=fact.cut.value, options=options_of(Cut)),
            Field("origin", "Came as", "choice", value=fact.origin.value, options=options_of(Origin), spoken="origin"),
            Field("note", "Note", value=fact.note),
            Field("supersedes", "", "hidden", value=str(fact.id)),
            name_field(by),
        ),
        intro="For a slip of the pen. What is written here counts for the board's whole history.",
    )


def add(kind: SubjectKind, situation: Any, by: str) -> Form:
    """Return the form that adds a place, probe, stack, board or set."""
    title, submit, fields, intro = {
        SubjectKind.PLACE: ("A place", "Add the place", _place_fields(), "Somewhere with its own air."),
        SubjectKind.PROBE: (
            "A probe",
            "Add the probe",
            _probe_fields(situation),
            "A probe that publishes on the broker appears by itself; add one here to name it first.",
        ),
        SubjectKind.STACK: (
            "A stack",
            "Add the stack",
            _stack_fields(situation),
            "Stickered boards that stand together.",
        ),
        SubjectKind.BOARD: (
            "A board",
            "Add the board",
            _board_fields(situation),
            "As it lies there now, in these sizes.",
        ),
        SubjectKind.SET: (
            "A matched set",
            "Add the set",
            _set_fields(),
            "Its pieces are boards; put them in afterwards.",
        ),
    }[kind]
    return Form(kind.value, title, f"/add/{kind.value}", submit, (*fields, name_field(by)), intro=intro)


def _code(kind: str, example: str) -> Field:
    return Field(
        "code",
        "Code",
        needed=True,
        spoken=f"{kind} code",
        hint=f"Short, as you would chalk it on: {example}. Letters, digits, dash, dot.",
    )


def _place_fields() -> tuple[Field, ...]:
    return (
        _code("place", "shed"),
        Field("name", "Name", hint="Empty: the code.", spoken="name"),
        Field(
            "kind", "Kind", "choice", value=PlaceKind.SHED.value, options=options_of(PlaceKind), spoken="kind of place"
        ),
        Field("altitude_m", "Height above the sea", "number", unit="m", value="0", spoken="altitude"),
    )


def _probe_fields(situation: Any) -> tuple[Field, ...]:
    return (
        _code("probe", "shed-1"),
        Field("topic", "Topic it publishes on", needed=True, spoken="topic"),
        Field("name", "Name", hint="Empty: the code.", spoken="name"),
        Field("place", "Place", "choice", options=place_options(situation, none="not placed yet")),
    )


def _stack_fields(situation: Any) -> tuple[Field, ...]:
    return (
        _code("stack", "K7"),
        Field("name", "Name", hint="Empty: the code.", spoken="name"),
        Field("place", "Stands in", "choice", options=place_options(situation), spoken="place"),
        Field("note", "Note", spoken="note"),
        when_field(),
    )


def _board_fields(situation: Any) -> tuple[Field, ...]:
    return (
        _code("board", "K7-3"),
        _species(),
        *_sizes(),
        Field("cut", "Cut", "choice", options=options_of(Cut)),
        Field("origin", "Came as", "choice", options=options_of(Origin), spoken="origin"),
        Field("where", "Lies in", "choice", options=where_options(situation), spoken="where it lies"),
        Field("note", "Note", spoken="note"),
        when_field(),
    )


def _set_fields() -> tuple[Field, ...]:
    return (
        _code("set", "A12"),
        Field("name", "Name", hint="Empty: the code.", spoken="name"),
        Field("note", "Note", spoken="note"),
    )


def move_stack(situation: Any, code: str, by: str, place_code: str) -> Form:
    """Return the form that moves a stack with its boards."""
    return Form(
        "move",
        "Move the stack",
        f"/stack/{code}/move",
        "Move it",
        (
            Field("place", "To", "choice", value=place_code, options=place_options(situation), spoken="place"),
            when_field(),
            name_field(by),
        ),
        intro="Its boards go with it.",
    )


def move_probe(situation: Any, probe: Any, by: str, place_code: str) -> Form:
    """Return the form that places a probe."""
    code = probe.subject.code
    return Form(
        f"probe-{code}",
        "Place the probe",
        f"/probe/{code}/move",
        "Place it",
        (
            Field(
                "place", "Measures in", "choice", value=place_code, options=place_options(situation, none="no place")
            ),
            Field(
                "true_at",
                "Since",
                "moment",
                hint="Empty: now. A time in the past changes what is known of then.",
                spoken="time",
            ),
            name_field(by),
        ),
    )


def change_place(place: Any, by: str) -> Form:
    """Return the form that corrects a place."""
    fact = place.fact
    return Form(
        "change",
        "Correct the place",
        f"/place/{place.subject.code}/change",
        "Correct it",
        (
            Field("name", "Name", value=fact.name, needed=True, spoken="name"),
            Field(
                "kind", "Kind", "choice", value=fact.kind.value, options=options_of(PlaceKind), spoken="kind of place"
            ),
            Field(
                "altitude_m",
                "Height above the sea",
                "number",
                unit="m",
                value=f"{fact.altitude_m:g}",
                spoken="altitude",
            ),
            name_field(by),
        ),
    )


def close_place(code: str, by: str) -> Form:
    """Return the form that closes a place."""
    return Form(
        "close",
        "Close the place",
        f"/place/{code}/close",
        "Close it",
        (name_field(by),),
        intro="Only when nothing is in it any more. Its history stays.",
    )


def pieces(situation: Any, code: str, by: str) -> Form:
    """Return the form that puts a board into this set."""
    boards: Sequence[Any] = situation.boards
    return Form(
        "put",
        "Put a piece in",
        f"/set/{code}/put",
        "Put it in",
        (
            Field(
                "board",
                "Board",
                "choice",
                options=tuple(Option(b.subject.code, b.fact.name) for b in boards),
                spoken="board",
            ),
            Field("role", "As", suggestions=("left half", "right half", "brace", "side", "neck"), spoken="role"),
            name_field(by),
        ),
    )
