"""The choices that forms offer, and the forms about places, probes, stacks and sets."""

from __future__ import annotations

from collections.abc import Sequence
from enum import StrEnum
from typing import Any

from dashboards.pages import finish_forms
from dashboards.pages.forms import Field, Form, Option, name_field, when_field
from shared import tables
from shared.store.records import PieceKind, PlaceKind


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


def in_all_field(boards_in_all: int | None = None) -> Field:
    """Return what is asked about how many boards lie in a stack."""
    return Field(
        "boards_in_all",
        "Boards in all",
        "number",
        value="" if boards_in_all is None else str(boards_in_all),
        spoken="boards in all",
        hint="Where only sample boards are entered. Empty: those that are entered.",
    )


def change_stack(stack: Any, by: str) -> Form:
    """Return the form that corrects a stack."""
    fact = stack.fact
    return Form(
        "change",
        "Correct the stack",
        f"/stack/{stack.subject.code}/change",
        "Correct it",
        (
            Field("name", "Name", value=fact.name, needed=True, spoken="name"),
            in_all_field(fact.boards_in_all),
            Field("note", "Note", value=fact.note, spoken="note"),
            name_field(by),
        ),
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
            *finish_forms.of_probe(situation),
            name_field(by),
        ),
    )


def air_fields(speed_m_s: float | None = None, *, in_sun: bool = False) -> tuple[Field, ...]:
    """Return what is asked about a place's air over the wood."""
    return (
        Field(
            "air_speed_m_s",
            "Speed of the air",
            "number",
            unit="m/s",
            value="" if speed_m_s is None else f"{speed_m_s:g}",
            spoken="speed of the air",
            hint="As measured over the wood. Empty: not known.",
        ),
        Field("in_sun", "Sun reaches the wood there", "tick", value="yes" if in_sun else ""),
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
            *air_fields(fact.air_speed_m_s, in_sun=fact.in_sun),
            *(() if fact.kind is PlaceKind.FINISH_ROOM else (finish_forms.of_place(),)),
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


def piece_fields() -> tuple[Field, ...]:
    """Return what is asked about a piece of a set: its role, and what kind of piece that is."""
    options = (Option("", "as those words say"), *options_of(PieceKind))
    return (
        Field("role", "As", suggestions=("left half", "right half", "brace", "side", "neck"), spoken="role"),
        Field("piece_kind", "Kind of piece", "choice", options=options),
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
            *piece_fields(),
            name_field(by),
        ),
    )
