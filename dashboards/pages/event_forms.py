"""What came to a board, what became of it, and where it is to go: the forms, and the entries in plain words."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from dashboards import display
from dashboards.cut_story import BoardStory
from dashboards.outcome_entries import DEGREES, outcome_words
from dashboards.pages.entry_forms import options_of, place_options
from dashboards.pages.forms import Field, Form, Option, name_field, when_field
from dashboards.pages.parts import EntryLine
from dashboards.planning import PlanTold
from dashboards.planning_entries import move_words
from dashboards.water_entries import water_words
from kiln.sentences import capital
from shared.store.records import Degree, Faces, Fact, OutcomeKind, PlannedMove, WaterKind

NO_OUTCOME = "Nothing yet. What is found when it is dry tells whether the drying was too fast."
LOOKED_FOR = (OutcomeKind.MOULD, OutcomeKind.STAIN, OutcomeKind.CHECKS, OutcomeKind.COLLAPSE)  # first, and most
FOUND_FIRST = (*LOOKED_FOR, *(one for one in OutcomeKind if one not in LOOKED_FOR))
HOW_MUCH_WATER = (
    "Weigh the board before and after: that tells best. Else, how many grams a square metre of glue brings is on its "
    "data sheet."  # common practice, no source
)


def water(code: str, by: str) -> Form:
    """Return the form for water that came to a board."""
    faces = (Option("", "choose (rain: both)"), *options_of(Faces))
    return Form(
        "water",
        "Enter water that came to it",
        f"/board/{code}/water",
        "Enter the water",
        (
            Field("kind", "It was", "choice", options=options_of(WaterKind), spoken="how it got wet"),
            Field("water_g", "Water", "number", unit="g", needed=True, spoken="water"),
            Field("faces", "On", "choice", options=faces, spoken="wetted faces"),
            when_field(),
            name_field(by),
        ),
        intro=HOW_MUCH_WATER,
    )


def outcome(code: str, by: str) -> Form:
    """Return the form for what was found on a board: one choice, and a figure where it is a thickness."""
    return Form(
        "outcome",
        "Found something: mould, checks, stain …",
        f"/board/{code}/outcome",
        "Enter it",
        (
            Field("found", "Found", "choice", options=_found_options(), spoken="outcome"),
            Field(
                "thickness_mm",
                "Thickness, dry",
                "number",
                unit="mm",
                spoken="measured thickness",
                hint="Only where a thickness was measured.",
            ),
            Field("note", "Note", spoken="note", hint="Where, how long, how deep."),
            when_field(),
            name_field(by),
        ),
        intro="One finding at a time. That there are no checks is a finding too.",
    )


def _found_options() -> tuple[Option, ...]:
    """Return every finding as a choice, as ``checks:slight``: by kind, that there is none of it after what there is."""
    found = [Option("", "choose")]
    for kind in FOUND_FIRST:
        if kind is OutcomeKind.THICKNESS:
            found.append(Option(f"{kind}:", "thickness, as measured below"))
        degrees = sorted(DEGREES[kind], key=lambda one: one is Degree.NONE)
        found += [Option(f"{kind}:{one}", outcome_words(kind, one, None)) for one in degrees]
    return tuple(found)


def plan(situation: Any, kind: str, code: str, by: str, plans: Sequence[PlanTold]) -> Form:
    """Return the form that plans a move of a board or a stack."""
    ahead = next((told.move for told in plans if told.ahead), None)
    where = "" if ahead is None else _code_of_place(situation, ahead.place_id)
    return Form(
        "plan-move",
        "Plan a move" if ahead is None else "Plan another move instead",
        f"/{kind}/{code}/plan-move",
        "Plan it",
        (
            Field("place", "To", "choice", value=where, options=place_options(situation), spoken="place"),
            Field(
                "day",
                "On",
                "day",
                value=display.for_field(ahead.true_at_ms)[:10] if ahead else "",
                needed=True,
                spoken="day of the move",
            ),
            name_field(by),
        ),
        intro="A plan for the forecast: it stays where it is until you enter the move.",
    )


def _code_of_place(situation: Any, place_id: int) -> str:
    return next((one.subject.code for one in situation.places if one.subject.id == place_id), "")


def planned(situation: Any, board: Any) -> str:
    """Say where a board is to go, by itself or with its stack; empty where nothing is planned."""
    told = [
        _to(situation, move) + ("" if move.subject_id == board.subject.id else " with its stack")
        for move in board.moves
    ]
    return f"Planned: {', then '.join(told)}" if told else ""


def _to(situation: Any, move: PlannedMove) -> str:
    return move_words(move, situation.place_name(move.place_id), situation.now_ms)


def found_so_far(story: BoardStory) -> str:
    """Say what became of a board as far as it was entered, the newest first."""
    told = [outcome_words(one.kind, one.degree, one.thickness_m) for one in reversed(story.outcomes)]
    return f"{capital('; '.join(told))}." if told else NO_OUTCOME


def entry_lines(situation: Any, story: BoardStory) -> list[tuple[int, EntryLine]]:
    """Return a board's water, outcomes and plans as entries that can be undone, each with its moment."""
    lines = [_line("water", one, water_words(one.kind, one.water_kg, one.faces), "water") for one in story.waters]
    for one in story.outcomes:
        noted = f": {one.note}" if one.note else ""
        found = f"{outcome_words(one.kind, one.degree, one.thickness_m)}{noted}"
        lines.append(_line("outcome", one, found, "outcome"))
    return lines + plan_lines(situation, story.plans)


def plan_lines(situation: Any, plans: Sequence[PlanTold]) -> list[tuple[int, EntryLine]]:
    """Return planned moves as entries that can be undone: what lies ahead, what was done, what was not."""
    return [_line("planned-move", one.move, _plan_words(situation, one), "plan") for one in plans]


def _plan_words(situation: Any, told: PlanTold) -> str:
    if told.ahead:
        return f"planned: {_to(situation, told.move)}"
    if told.done_ms is None:
        return f"was planned: {_to(situation, told.move)}; no move there was entered"
    return f"was planned: {_to(situation, told.move)}; moved there {display.day(told.done_ms, situation.now_ms)}"


def _line(kind: str, fact: Fact, words: str, word: str) -> tuple[int, EntryLine]:
    when = display.moment(fact.true_at_ms)
    return fact.true_at_ms, EntryLine(kind, fact.id, capital(words), when, fact.entered_by, "", word)
