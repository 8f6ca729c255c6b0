"""How a board lies and its finish: the forms, and with its cuts the entries in plain words."""

from __future__ import annotations

from dashboards import display
from dashboards.cut_story import BoardStory
from dashboards.lying_entries import USUAL_CASE_AIR_L, coat_words, rest_words
from dashboards.pages.cut_forms import capital, cut_words
from dashboards.pages.entry_forms import options_of
from dashboards.pages.forms import Field, Form, Option, name_field, when_field
from dashboards.pages.parts import EntryLine
from shared.store.records import Coat, Fact, Rest

NOBODY_SAID_REST = "Nobody has said how it lies since it came here."
NOBODY_SAID_COAT = "Nobody has said what is on its faces and ends."


def rest(code: str, by: str, story: BoardStory) -> Form:
    """Return the form that says how a board lies."""
    held = story.rest.rest.value if story.rest else ""
    unsaid = () if story.rest else (Option("", "not said yet"),)
    return Form(
        "rest",
        "Say how it lies",
        f"/board/{code}/rest",
        "Enter how it lies",
        (
            Field("rest", "It lies", "choice", value=held, options=(*unsaid, *options_of(Rest)), spoken="how it lies"),
            Field(
                "case_air_l",
                "Air in the case",
                "number",
                unit="litres",
                spoken="air in the case",
                hint=f"Only for a closed case. Empty: {USUAL_CASE_AIR_L:g}, about as around a guitar in its case.",
            ),
            when_field(),
            name_field(by),
        ),
        intro="It counts until the board is moved; then say it again. On a bench the marked face is taken to look up.",
    )


def coat(code: str, by: str, story: BoardStory) -> Form:
    """Return the form that says what is on a board's faces and ends."""
    held = story.coat
    return Form(
        "coat",
        "Say its finish and sealed ends",
        f"/board/{code}/coat",
        "Enter the finish",
        (
            Field(
                "coat",
                "Finish",
                "choice",
                value=(held.coat if held else Coat.BARE).value,
                options=options_of(Coat),
                spoken="finish",
            ),
            Field("ends_sealed", "Its ends are sealed", "tick", value="yes" if held and held.ends_sealed else ""),
            when_field(),
            name_field(by),
        ),
        intro="One face finished: the marked one. A usual coat is reckoned with; finishes differ several times over.",
    )


def lies_now(story: BoardStory) -> str:
    """Say how a board lies and what is on it now."""
    lying, on_it = NOBODY_SAID_REST, NOBODY_SAID_COAT
    if story.rest is not None:
        since = display.moment(story.rest.true_at_ms)
        lying = f"It lies {rest_words(story.rest.rest, story.rest.case_air_m3)}, since {since}."
    if story.coat is not None:
        on_it = f"It is {coat_words(story.coat.coat, ends_sealed=story.coat.ends_sealed)}."
    return f"{lying} {on_it}"


def entry_lines(story: BoardStory) -> list[tuple[int, EntryLine]]:
    """Return how a board lay, its finishes and its cuts as entries that can be undone, each with its moment."""
    lines = [_line("rest", one, rest_words(one.rest, one.case_air_m3), "how it lies") for one in story.rests]
    for one in story.coats:
        lines.append(_line("coat", one, coat_words(one.coat, ends_sealed=one.ends_sealed), "faces and ends"))
    lines += [_line("cut", told.cut, cut_words(told), "cut") for told in story.cuts]
    return lines


def _line(kind: str, fact: Fact, words: str, word: str) -> tuple[int, EntryLine]:
    when = display.moment(fact.true_at_ms)
    return fact.true_at_ms, EntryLine(kind, fact.id, capital(words), when, fact.entered_by, "", word)
