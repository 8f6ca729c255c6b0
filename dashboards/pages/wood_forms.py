"""How a board lies, its finish and its cuts: the forms, and the entries in plain words."""

from __future__ import annotations

from dashboards import display
from dashboards.cut_story import BoardStory, CutKind, CutTold
from dashboards.lying_entries import USUAL_CASE_AIR_L, coat_words, rest_words
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


def plane(code: str, by: str, thickness_m: float) -> Form:
    """Return the form for planing a board, ``thickness_m`` thick now."""
    return Form(
        "plane",
        "Enter a planing",
        f"/board/{code}/plane",
        "Enter the planing",
        (
            Field(
                "off_marked_mm",
                "Off the marked face",
                "number",
                unit="mm",
                spoken="taken off the marked face",
                hint="The face that you measure from; chalk a mark on it. Empty: nothing.",
            ),
            Field(
                "off_other_mm",
                "Off the other face",
                "number",
                unit="mm",
                spoken="taken off the other face",
                hint="Empty: nothing.",
            ),
            when_field(),
            name_field(by),
        ),
        intro=f"It is {display.millimetres(thickness_m)} mm thick now. A finish that went with the shavings is "
        "entered apart, above.",
    )


def resaw(code: str, by: str, thickness_m: float) -> Form:
    """Return the form for sawing a board in two through its thickness, ``thickness_m`` thick now."""
    return Form(
        "resaw",
        "Enter a resawing into two",
        f"/board/{code}/resaw",
        "Enter the resawing",
        (
            Field(
                "kerf_mm",
                "Saw kerf",
                "number",
                unit="mm",
                needed=True,
                spoken="saw kerf",
                hint="How wide the saw cuts: that much becomes dust.",
            ),
            Field(
                "depth_mm",
                "Depth of the cut",
                "number",
                unit="mm",
                spoken="depth of the cut",
                hint="Below the marked face. Empty: through the middle.",
            ),
            Field(
                "piece",
                "Code of the new piece",
                needed=True,
                spoken="code of the new piece",
                hint=f"Such as {code[:22]}-b. The piece at the marked face stays {code}.",
            ),
            Field("piece_name", "Name of the new piece", spoken="name of the new piece", hint="Empty: the code."),
            when_field(),
            name_field(by),
        ),
        intro=f"It is {display.millimetres(thickness_m)} mm thick now. The new piece lies where it lies, and its "
        "marked face is the sawn one.",
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


def cut_now(story: BoardStory, thickness_m: float) -> str:
    """Say what the latest cut of a board left, and how thick it once was."""
    if not story.cuts:
        return f"Neither yet: it is {display.millimetres(thickness_m)} mm thick, as it was entered."
    latest = story.cuts[-1]
    first = f"; at first it was {display.millimetres(story.first_m)} mm thick" if len(story.cuts) > 1 else ""
    return f"{_capital(cut_words(latest))}. That was on {display.moment(latest.cut.true_at_ms)}{first}."


def cut_words(told: CutTold) -> str:
    """Say a cut: what it was, the thickness before and after, and off which face."""
    cut, before = told.cut, display.millimetres(told.before_m)
    after = display.millimetres(cut.far_m - cut.near_m)
    if told.kind is CutKind.SAWN_OFF:
        depths = f"its {display.millimetres(cut.near_m)} to {display.millimetres(cut.far_m)} mm of {before} mm"
        return f"sawn off {told.other}, {depths}: {after} mm thick"
    if told.kind is CutKind.RESAWN:
        return f"resawn: {before} → {after} mm thick, the piece at the marked face; the other is {told.other}"
    taken = ((cut.near_m, "the marked face"), (told.before_m - cut.far_m, "the other"))
    off = [f"{display.millimetres(one)} mm off {face}" for one, face in taken if display.millimetres(one) != "0"]
    return f"planed: {before} → {after} mm thick, {display.listed(off)}"


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]


def entry_lines(story: BoardStory) -> list[tuple[int, EntryLine]]:
    """Return how a board lay, its finishes and its cuts as entries that can be undone, each with its moment."""
    lines = [_line("rest", one, rest_words(one.rest, one.case_air_m3), "how it lies") for one in story.rests]
    for one in story.coats:
        lines.append(_line("coat", one, coat_words(one.coat, ends_sealed=one.ends_sealed), "faces and ends"))
    lines += [_line("cut", told.cut, cut_words(told), "cut") for told in story.cuts]
    return lines


def _line(kind: str, fact: Fact, words: str, word: str) -> tuple[int, EntryLine]:
    when = display.moment(fact.true_at_ms)
    return fact.true_at_ms, EntryLine(kind, fact.id, _capital(words), when, fact.entered_by, "", word)
