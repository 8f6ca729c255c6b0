"""What is said of a wood's dust, and every limit for wood dust in breathed air; nothing is worked out."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from dashboards import display, wood_warnings
from dashboards.answers.boards import board_of
from dashboards.answers.records import Answer, Asked, Basis, Line, Question
from dashboards.pages.dust import STANDING
from dashboards.pages.forms import Field
from kiln.sentences import capital
from shared import tables
from shared.errors import BadInput
from shared.tables.dust import DustLimit, Fraction, names_wood
from shared.tables.timber_names import TO_THE_LIST, plain_name

FIELDS = (
    Field("board", "A board of the yard", "board", hint="Fills in its wood."),
    Field("species", "or a wood", "species", spoken="species"),
)


def answer(asked: Asked) -> Answer:
    """Answer it; raises BadInput when no one timber goes by that name."""
    wood, group = _named(asked)
    warning = wood_warnings.of_wood(wood)
    harms = tables.dust_harms(wood, group)
    limits = sorted(tables.dust_limits(), key=lambda one: list(Fraction).index(one.fraction))  # never mixed
    named = [one for one in limits if names_wood(one, wood, group)]
    return Answer(
        headline=warning.name,
        band=wood if wood != warning.name else "a botanical name; no name in the trade is held here",
        sentence=f"{warning.short} Below: who says so, and limits in breathed air as printed. None is a default, and "
        "figures of different fractions (inhalable, total, respirable) are not comparable.",
        lines=(
            *(Line("Of this wood", capital(one.told), one.source) for one in warning.said),
            *(Line("Of its genus", capital(one.told), one.source) for one in warning.kin),
            *(Line("Of every such wood", capital(one.told), one.source) for one in warning.of_all),
            *(_limit(one) for one in named),
            *_others([one for one in limits if one not in named]),
        ),
        flags=() if warning.listed else (wood_warnings.NOT_LISTED,),
        next_step="Catch it at the tool, with a fitted respirator for sanding; stop at the first rash or tight chest.",
        formula=("Nothing is worked out: each figure stands as its source prints it.",),
        bases=tuple(dict.fromkeys(Basis(one.source, one.status) for one in (*harms.listed, *harms.of_all, *limits))),
        validity="A limit is for dust sampled at the collar over a shift; nothing in this yard measures that.",
    )


def _named(asked: Asked) -> tuple[str, str]:
    """Return the botanical name and the group of the wood that was asked for; group empty: not known.

    A timber needs no values in the tables: what it is called, or a botanical name that some list of harm has, will do.
    """
    try:
        one = asked.species()
    except BadInput as refused:
        typed = asked.text("species")
        called = {name.botanical_name for name in tables.other_names() if plain_name(name.name) == plain_name(typed)}
        harms = tables.dust_harms(typed, "")
        if len(called) == 1:
            return called.pop(), ""
        if not (harms.listed or harms.kin):
            raise _better(refused, typed) from None
        return typed.capitalize(), ""
    return one.botanical_name, one.group


def _better(refused: BadInput, typed: str) -> BadInput:
    """A list of the terminal helps nobody who holds a phone."""
    if refused.accepted != TO_THE_LIST:
        return refused
    accepted = "a wood by its name in the trade (yew, obeche), its botanical name (Taxus baccata) or its genus (Taxus)"
    return BadInput("species", typed, accepted)


def _limit(one: DustLimit) -> Line:
    told = (one.scope, one.average.value, STANDING[one.standing].lower(), one.year, one.legal)
    note = "; ".join(part for part in told if part)
    source = wood_warnings.shown_source(one)
    return Line(f"{capital(one.fraction.value)}: {one.body}", f"{one.value_mg_m3:g} mg/m³", f"{note}. {source}")


def _others(limits: list[DustLimit]) -> tuple[Line, ...]:
    """Name what is printed for other wood in one line: nothing is hidden."""
    told = [f"{one.body} {one.value_mg_m3:g} mg/m³ {one.fraction.value} ({one.scope})" for one in limits]
    note = f"{display.listed(told)}. Their sources and years: on the page of dust."
    return (Line("Printed for other wood", f"{len(told)} more", note),) if told else ()


def fill(yard: Any, typed: Mapping[str, str]) -> dict[str, str]:
    """Return the wood of the board that was chosen."""
    board = board_of(yard, typed)
    return {} if board is None else {"species": board.fact.species}


QUESTION = Question(
    name="dust",
    title="What a wood's dust does",
    lead="Who lists a wood for its dust, and limits in breathed air side by side, each with source and year.",
    fields=FIELDS,
    answer=answer,
    fill=fill,
    wanted=("species",),
    defers=True,
)
