"""The forms that enter something new."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from dashboards.pages import finish_forms
from dashboards.pages.board_forms import size_fields, species_field
from dashboards.pages.entry_forms import air_fields, in_all_field, options_of, place_options, where_options
from dashboards.pages.forms import Field, Form, Option, name_field, when_field
from shared.store.records import Cut, Origin, PlaceKind, SubjectKind

CHOOSE = Option("", "choose")  # for what nobody should enter without having looked


@dataclass(frozen=True)
class Chosen:
    """What the address of the page already says: the stack, place or set that something is added to; empty: not."""

    stack: str = ""
    place: str = ""
    set: str = ""

    @property
    def where(self) -> str:
        """Where a board is to lie, as its field has it."""
        return f"stack:{self.stack}" if self.stack else f"place:{self.place}" if self.place else ""


def add(kind: SubjectKind, situation: Any, by: str, chosen: Chosen = Chosen()) -> Form:
    """Return the form that adds a place, probe, stack, board, set or finish."""
    if kind is SubjectKind.FINISH:
        return finish_forms.add_finish(by)
    title, submit, fields, intro = {
        SubjectKind.PLACE: ("A place", "Add the place", _place_fields(), "Somewhere with its own air."),
        SubjectKind.PROBE: (
            "A probe",
            "Add the probe",
            _probe_fields(situation, chosen),
            "A probe that publishes on the broker appears by itself; add one here to name it first.",
        ),
        SubjectKind.STACK: (
            "A stack",
            "Add the stack",
            _stack_fields(situation, chosen),
            "Stickered boards that stand together.",
        ),
        SubjectKind.BOARD: (
            "A board",
            "Add the board",
            _board_fields(situation, chosen),
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
        hint=f"Short, as you would chalk it on: {example}. Letters, digits, dash, dot; no spaces.",
    )


def _place_fields() -> tuple[Field, ...]:
    return (
        _code("place", "shed"),
        Field("name", "Name", hint="Empty: the code.", spoken="name"),
        Field(
            "kind", "Kind", "choice", value=PlaceKind.SHED.value, options=options_of(PlaceKind), spoken="kind of place"
        ),
        Field("altitude_m", "Height above the sea", "number", unit="m", value="0", spoken="altitude"),
        *air_fields(),
        finish_forms.of_place(),
    )


def _probe_fields(situation: Any, chosen: Chosen) -> tuple[Field, ...]:
    return (
        _code("probe", "shed-1"),
        Field("topic", "Topic it publishes on", needed=True, spoken="topic"),
        Field("name", "Name", hint="Empty: the code.", spoken="name"),
        Field("place", "Place", "choice", value=chosen.place, options=place_options(situation, none="not placed yet")),
        *finish_forms.of_probe(situation),
    )


def _stack_fields(situation: Any, chosen: Chosen) -> tuple[Field, ...]:
    return (
        _code("stack", "K7"),
        Field("name", "Name", hint="Empty: the code.", spoken="name"),
        Field("place", "Stands in", "choice", value=chosen.place, options=place_options(situation), spoken="place"),
        in_all_field(),
        Field("note", "Note", spoken="note"),
        when_field(),
    )


def _board_fields(situation: Any, chosen: Chosen) -> tuple[Field, ...]:
    return (
        _code("board", "K7-3"),
        Field("name", "Name", hint="As you speak of it. Empty: the code.", spoken="name"),
        species_field(),
        *size_fields(),
        Field("cut", "Cut", "choice", options=options_of(Cut)),
        Field("origin", "Came as", "choice", needed=True, options=(CHOOSE, *options_of(Origin)), spoken="origin"),
        Field(
            "where", "Lies in", "choice", value=chosen.where, options=where_options(situation), spoken="where it lies"
        ),
        *_set_field(situation, chosen),
        Field("note", "Note", spoken="note"),
        when_field(),
    )


def _set_field(situation: Any, chosen: Chosen) -> tuple[Field, ...]:
    """Return what is asked where there are sets that a board could be a piece of."""
    if not situation.sets:
        return ()
    sets = tuple(Option(one.subject.code, one.fact.name) for one in situation.sets)
    options = (Option("", "no set"), *sets)
    return (Field("set_code", "Piece of", "choice", value=chosen.set, options=options, spoken="set"),)


def _set_fields() -> tuple[Field, ...]:
    return (
        _code("set", "A12"),
        Field("name", "Name", hint="Empty: the code.", spoken="name"),
        Field("note", "Note", spoken="note"),
    )
