"""What bears on verdicts: the forms for overrides, lifted wood, joints and limits, and the entries in plain words."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from dashboards import display, region_entries
from dashboards.joint_entries import joint_words
from dashboards.judging_story import BoardSaid, SetSaid
from dashboards.lifted_entries import SHAKE, lifted_words
from dashboards.limits_now import LimitNow, shown
from dashboards.override_entries import override_words
from dashboards.pages.entry_forms import options_of, use_options
from dashboards.pages.forms import Field, Form, Option, name_field
from dashboards.pages.parts import EntryLine
from dashboards.region_entries import RegionNow
from dashboards.yard_entries import DEFAULT_USE
from kiln.sentences import capital
from shared.store.records import Fact, Lifted, Origin, Override, Sapwood, Smell, WaterBody
from shared.tables import Region

OVERRIDE_INTRO = (
    "The verdict stays as it is, and your name and reason stand beside it, for this use, until you take them back."
)
JOINT_INTRO = "Where two pieces meet along a line. Grain along the joint is 0°, across it 90°."


def about_board(board: Any, by: str, said: BoardSaid) -> tuple[Form, ...]:
    """Return the forms of a board; that of its lifting where it came out of water, or somebody said that it did."""
    code, use = board.subject.code, board.plan.use if board.plan else DEFAULT_USE
    held = said.liftings[-1] if said.liftings else None
    wet = board.fact.origin is Origin.RECLAIMED or held is not None
    return (*((lifted(code, by, held),) if wet else ()), override("board", code, by, use))


def about_set(matched: Any, by: str) -> tuple[Form, ...]:
    """Return the forms of a set; that of a joint where there are two pieces to join."""
    code, use = matched.subject.code, matched.plan.use if matched.plan else DEFAULT_USE
    pieces = [(one.subject.code, one.fact.name) for one in matched.boards]
    joined = (joint(code, by, pieces),) if len(pieces) > 1 else ()
    return (*joined, override("set", code, by, use))


def override(kind: str, code: str, by: str, use: str) -> Form:
    """Return the form for going ahead whatever the verdict on a board or set says; ``use``: what it is wanted for."""
    return Form(
        "override",
        "Go ahead whatever the verdict says",
        f"/{kind}/{code}/override",
        "Go ahead, under my name",
        (
            Field("use", "For", "choice", value=use, options=use_options(), spoken="use"),
            Field("reason", "Because", needed=True, spoken="reason", hint="Whoever reads it in a year should see why."),
            name_field(by),
        ),
        intro=OVERRIDE_INTRO,
    )


def lifted(code: str, by: str, held: Lifted | None) -> Form:
    """Return the form for how a board came out of the water; ``held``: what was said before, to be corrected."""
    shake = next((word for word, meant in SHAKE.items() if held is not None and meant is held.shake), "not looked")
    return Form(
        "lifted",
        "Came out of the water" if held is None else "Correct how it came out of the water",
        f"/board/{code}/lifted",
        "Enter it",
        (
            _lifted_on() if held is None else _when_again(held),
            Field(
                "water", "Out of", "choice", value=held.water if held else "unknown", options=_waters(), spoken="water"
            ),
            Field(
                "sapwood", "Sapwood", "choice", value=held.sapwood if held else "unknown", options=options_of(Sapwood)
            ),
            Field(
                "shake",
                "Shakes seen",
                "choice",
                value=shake,
                options=tuple(Option(word, word) for word in SHAKE),
                spoken="shake",
                hint="Cracks along the rings, at the ends.",
            ),
            Field("smell", "Smell", "choice", value=held.smell if held else "unknown", options=options_of(Smell)),
            Field("washed", "Washed since", "tick", value="yes" if held and held.washed else ""),
            Field("metal_searched", "Searched for metal", "tick", value="yes" if held and held.metal_searched else ""),
            Field("note", "Note", value=held.note if held else "", spoken="note"),
            name_field(by),
        ),
        intro="Smell it in the open air, not in a cellar or a closed van.",
    )


def _lifted_on() -> Field:
    hint = "Its clock runs from then on. A rough hour will do."
    return Field("true_at", "Lifted on", "moment", needed=True, hint=hint, spoken="time")


def _when_again(held: Lifted) -> Field:
    hint = f"Empty: {display.moment(held.true_at_ms)}, as entered. Sunk and lifted again: the new moment."
    return Field("true_at", "Lifted on", "moment", hint=hint, spoken="time")


def _waters() -> tuple[Option, ...]:
    told = {WaterBody.FRESH: "fresh water (river, lake, pond)"}
    return tuple(Option(one.value, told.get(one, f"{one} water")) for one in WaterBody)


def joint(code: str, by: str, pieces: Sequence[tuple[str, str]]) -> Form:
    """Return the form for a joint of a set; ``pieces``: code and name of each of its boards."""
    options = tuple(Option(one, name) for one, name in pieces)
    second = options[1].value if len(options) > 1 else ""
    return Form(
        "joint",
        "Enter a joint",
        f"/set/{code}/joint",
        "Enter the joint",
        (
            Field("a", "Between", "choice", options=options, spoken="first piece"),
            Field("b", "and", "choice", value=second, options=options, spoken="second piece"),
            Field("length_mm", "Length", "number", unit="mm", needed=True, spoken="length of the joint"),
            _grain("grain_a_deg", "Grain of the first", "grain of the first piece"),
            _grain("grain_b_deg", "Grain of the second", "grain of the second piece"),
            Field("name", "Called", spoken="name", hint="Empty: after its two pieces."),
            name_field(by),
        ),
        intro=JOINT_INTRO,
    )


def _grain(key: str, label: str, spoken: str) -> Field:
    return Field(key, label, "number", unit="°", spoken=spoken, hint="To the joint. Empty: 0, along it.")


def region(now: RegionNow, by: str) -> Form:
    """Return the form that chooses whose limits for breathed air count in this yard."""
    options = tuple(Option(one.value, one.label) for one in Region)
    return Form(
        "region",
        f"For breathed air: {region_entries.said(now.region)}",
        f"/limit/{region_entries.CODE}/region",
        "Choose it for this yard",
        (
            Field("region", "Whose limits", "choice", value=now.region.value, options=options, spoken="region"),
            Field("note", "Because", spoken="note", hint="Whoever reads it in a year should see why."),
            name_field(by),
        ),
        intro="The lowest of all listed is the default. A region's own may be higher: that others list lower ones is "
        "told beside them, and where only the lowest of all is passed, beside the word.",
    )


def region_line(now: RegionNow) -> EntryLine | None:
    """Return who has chosen the region, when and why, as an entry that can be taken back; None: nobody has."""
    if now.own is None:
        return None
    when = display.moment(now.own.true_at_ms)
    figure = f"{now.own.region}: {now.own.note}" if now.own.note else now.own.region
    return EntryLine("region", now.own.id, figure, when, now.own.entered_by, "", "chosen here")


def limit(one: LimitNow, by: str) -> Form:
    """Return the form that sets a limit for this yard, under what is in force."""
    accepted = one.accepted
    whole = " in whole numbers" if accepted.whole else ""
    degrees = " °C" if one.unit == "°C" else ""  # so that it is told in the unit of the field
    return Form(
        f"limit-{one.name}",
        limit_words(one),
        f"/limit/{one.name}/set",
        "Set it for this yard",
        (
            Field(
                "value",
                "To",
                "number",
                value="" if one.value is None else f"{one.value:g}",
                unit="days" if one.unit == "day" else one.unit,
                needed=True,
                spoken=one.name,
                hint=f"{accepted.low:g} to {accepted.high:g}{degrees}{whole}.",
            ),
            Field("reason", "Because", needed=True, spoken="reason"),
            name_field(by),
        ),
        intro=by_the_table(one),
    )


def limit_words(one: LimitNow) -> str:
    """Return what a limit limits, and its figure in force."""
    return f"{capital(one.label)}: {shown(one.value, one.unit)}"


def by_the_table(one: LimitNow) -> str:
    """Return how a limit is called, what the table says of it, and on whose word where it has one of its own."""
    usual = "" if one.own is None else f" The table has {shown(one.usual, one.unit)}."
    source = "" if one.group else f" {capital(one.source)} ({one.status})."
    return f"{one.name}.{usual}{source}"


def limit_line(one: LimitNow) -> EntryLine | None:
    """Return who has set a limit, when and why, as an entry that can be taken back; None: nobody has."""
    if one.own is None:
        return None
    when = display.moment(one.own.true_at_ms)
    figure = f"{shown(one.own.value, one.unit)}: {one.own.reason}"
    return EntryLine("limit", one.own.id, figure, when, one.own.entered_by, "", "set here")


def board_lines(said: BoardSaid) -> list[tuple[int, EntryLine]]:
    """Return a board's overrides and liftings as entries that can be undone, each with its moment."""
    return [_override_line(one) for one in said.overrides] + [
        _line("lifting", one, lifted_words(one) + (f": {one.note}" if one.note else ""), "lifting")
        for one in said.liftings
    ]


def set_lines(said: SetSaid) -> tuple[EntryLine, ...]:
    """Return a set's overrides and joints as entries that can be undone, the newest first."""
    lines = [_override_line(one) for one in said.overrides]
    for one in said.joints:
        made = one.joint
        words = joint_words(made.name, one.a, one.b, made.length_m, made.grain_a_deg, made.grain_b_deg)
        lines.append(_line("joint", made, words, "joint"))
    return tuple(line for _at_ms, line in sorted(lines, key=lambda pair: -pair[0]))


def _override_line(one: Override) -> tuple[int, EntryLine]:
    return _line("override", one, override_words(one.use, one.entered_by, one.reason), "override")


def _line(kind: str, fact: Fact, words: str, word: str) -> tuple[int, EntryLine]:
    figure = capital(words)
    return fact.true_at_ms, EntryLine(kind, fact.id, figure, display.moment(fact.true_at_ms), fact.entered_by, "", word)
