"""What is planed or sawn off a board: the forms, and the cuts in plain words."""

from __future__ import annotations

from collections.abc import Sequence

from dashboards import cut_story, display
from dashboards.cut_story import BoardStory, CutKind, CutTold
from dashboards.pages.forms import Field, Form, Option, name_field, when_field
from dashboards.situation import SetNow
from kiln.sentences import capital
from shared.store.records import BoardFact

Sets = Sequence[SetNow]
ROLES = ("left half", "right half", "brace", "side", "neck")
KERF = Field(
    "kerf_mm",
    "Saw kerf",
    "number",
    unit="mm",
    needed=True,
    spoken="saw kerf",
    hint="How wide the saw cuts: that much becomes dust.",
)


def forms(code: str, by: str, fact: BoardFact, sets: Sets) -> tuple[Form, ...]:
    """Return all forms about what is planed or sawn off a board; ``fact``: as it is now."""
    return (
        plane(code, by, fact.thickness_m),
        resaw(code, by, fact.thickness_m, sets),
        rip(code, by, fact.width_m, sets),
        crosscut(code, by, fact.length_m, sets),
        trim(code, by, fact),
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


def resaw(code: str, by: str, thickness_m: float, sets: Sets) -> Form:
    """Return the form for sawing a board in two through its thickness, ``thickness_m`` thick now."""
    return Form(
        "resaw",
        "Enter a resawing into two",
        f"/board/{code}/resaw",
        "Enter the resawing",
        (
            KERF,
            Field(
                "depth_mm",
                "Depth of the cut",
                "number",
                unit="mm",
                spoken="depth of the cut",
                hint="Below the marked face. Empty: through the middle.",
            ),
            *_piece_fields(code, "The piece at the marked face", sets),
            when_field(),
            name_field(by),
        ),
        intro=f"It is {display.millimetres(thickness_m)} mm thick now. The new piece lies where it lies, and its "
        "marked face is the sawn one.",
    )


def rip(code: str, by: str, width_m: float, sets: Sets) -> Form:
    """Return the form for sawing a board along its length into two narrower ones, ``width_m`` wide now."""
    return Form(
        "rip",
        "Enter a ripping into two narrower ones",
        f"/board/{code}/rip",
        "Enter the ripping",
        (
            KERF,
            Field(
                "width_mm",
                f"Width of the piece that stays {code}",
                "number",
                unit="mm",
                spoken="width of the piece",
                hint="Empty: both alike.",
            ),
            *_piece_fields(code, "The first piece", sets),
            when_field(),
            name_field(by),
        ),
        intro=f"It is {display.millimetres(width_m)} mm wide now. The new piece lies where it lies; ends that were "
        "sealed still are.",
    )


def crosscut(code: str, by: str, length_m: float, sets: Sets) -> Form:
    """Return the form for sawing a board across the grain into two shorter ones, ``length_m`` long now."""
    return Form(
        "crosscut",
        "Enter a cross-cut into two shorter ones",
        f"/board/{code}/crosscut",
        "Enter the cross-cut",
        (
            KERF,
            Field(
                "length_mm",
                f"Length of the piece that stays {code}",
                "number",
                unit="mm",
                spoken="length of the piece",
                hint="Empty: both alike.",
            ),
            *_piece_fields(code, "The first piece", sets),
            when_field(),
            name_field(by),
        ),
        intro=f"It is {display.millimetres(length_m)} mm long now. The new piece lies where it lies. The sawn ends are "
        "open until you say that they are sealed.",
    )


def trim(code: str, by: str, fact: BoardFact) -> Form:
    """Return the form for trimming a board in width or length; ``fact``: as it is now."""
    width, length = display.millimetres(fact.width_m), display.millimetres(fact.length_m)
    return Form(
        "trim",
        "Enter a trimming in width or length",
        f"/board/{code}/trim",
        "Enter the trimming",
        (
            Field("width_mm", "Width left", "number", unit="mm", spoken="width left", hint=f"Empty: {width} mm still."),
            Field(
                "length_mm", "Length left", "number", unit="mm", spoken="length left", hint=f"Empty: {length} mm still."
            ),
            when_field(),
            name_field(by),
        ),
        intro=f"It is {width} mm wide and {length} mm long now. What is cut off is thrown away; it is taken as sawn "
        "off at one edge or end, so enter the two ends one after the other. A sawn end is open until you say that it "
        "is sealed.",
    )


def _piece_fields(code: str, stays: str, sets: Sets) -> tuple[Field, ...]:
    """What is asked about the new piece, and the set that both may go into."""
    known = tuple(Option(one.subject.code, one.fact.name) for one in sets)
    return (
        Field(
            "piece",
            "Code of the new piece",
            needed=True,
            spoken="code of the new piece",
            hint=f"Such as {code[:22]}-b. {stays} stays {code}.",
        ),
        Field("piece_name", "Name of the new piece", spoken="name of the new piece", hint="Empty: the code."),
        Field("set_code", "Put both into a set", "choice", options=(Option("", "no set"), *known), spoken="set"),
        Field("new_set", "or into a new set, its code", spoken="code of a new set", hint="To bookmatch them, say."),
        Field("role", f"{code} as", suggestions=ROLES, spoken="role", hint="Empty: nobody says."),
        Field("piece_role", "The new piece as", suggestions=ROLES, spoken="role of the new piece"),
    )


def cut_now(story: BoardStory, fact: BoardFact) -> str:
    """Say what the latest cut of a board left, and which sizes it once had; ``fact``: as it is now."""
    if not story.cuts:
        return f"Not yet: it is {display.size(fact.thickness_m, fact.width_m, fact.length_m)}, as it was entered."
    latest = story.cuts[-1]
    first = f"; at first it was {_first(story)}" if len(story.cuts) > 1 else ""
    return f"{capital(cut_words(latest))}. That was on {display.moment(latest.cut.true_at_ms)}{first}."


def _first(story: BoardStory) -> str:
    if any(one.kind in cut_story.ACROSS for one in story.cuts):
        return display.size(story.first_m, *story.first_face_m)
    return f"{display.millimetres(story.first_m)} mm thick"


def cut_words(told: CutTold) -> str:
    """Say a cut: what it was, the size before and after, and off which face."""
    if told.kind in cut_story.ACROSS:
        return _across_words(told)
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


def _across_words(told: CutTold) -> str:
    width, length = (
        f"{display.millimetres(before)} → {display.millimetres(after)} mm"
        for before, after in zip(told.before_face_m, told.left_face_m, strict=True)
    )
    was_wide, was_long = (display.millimetres(one) for one in told.before_face_m)
    wide, long = (display.millimetres(one) for one in told.left_face_m)
    if told.kind is CutKind.RIPPED:
        return f"ripped: {width} wide; the other piece is {told.other}"
    if told.kind is CutKind.CROSSCUT:
        return f"cross-cut: {length} long; the other piece is {told.other}"
    if told.kind is CutKind.RIPPED_OFF:
        return f"ripped off {told.other}, which was {was_wide} mm wide: {wide} mm wide"
    if told.kind is CutKind.CUT_OFF:
        return f"cross-cut off {told.other}, which was {was_long} mm long: {long} mm long"
    changed = [f"{width} wide"] * (wide != was_wide) + [f"{length} long"] * (long != was_long)
    return f"trimmed: {display.listed(changed)}"
