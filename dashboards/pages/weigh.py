"""Weigh-ins one after the other: a round through all boards, a stack, a set or one board, and its sheet of paper.

The page is read once, before walking out: it holds all that a round needs, with the moment at which it was read.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from dashboards import board_entries, display, fields, foretold, heavy, smelt
from dashboards.airs import by_subject
from dashboards.desk import found
from dashboards.foretold import weight
from dashboards.pages import board_forms
from dashboards.pages.forms import Form
from dashboards.situation import BoardNow, Situation
from kiln import next_weight
from kiln.records import Projection
from shared import tables
from shared.store import facts
from shared.store.records import BoardFact, OvenDryResult, WeighIn

DAY_LENGTH = len("2026-11-25")
KILOGRAMS_FROM_KG = 10.0  # lighter boards are mostly read off in grams
NEVER_WEIGHED, CUT_SINCE, NOT_PROJECTED = "never weighed", "cut since it was weighed", "not projected yet"
WEIGHED_TODAY, NEWS_SINCE = "weighed today", "not projected since it was weighed"
DOES_NOT_FIT, TOO_OLD = "its last weight does not fit its air", "the projection ends before now"


@dataclass(frozen=True)
class Weighing:
    """One board on its way to the scale. Masses for the script are in kg, as text; empty where nothing is known."""

    code: str = field(metadata={"help": "Its code"})
    name: str = field(metadata={"help": "What it is called"})
    where: str = field(metadata={"help": "Where it lies"})
    near: str = field(metadata={"help": "Its stack, or else its place"})
    species: str = field(metadata={"help": "Its wood"})
    stack: str = field(metadata={"help": "Code of its stack; empty: in none"})
    set: str = field(metadata={"help": "Code of its set; empty: in none"})
    last: str = field(metadata={"help": "Its last weight with its date; empty: never weighed"})
    age: str = field(metadata={"help": "How long ago that was"})
    expected: str = field(metadata={"help": "What it ought to weigh now; empty: cannot be said"})
    why_not: str = field(metadata={"help": "Why it cannot be said; empty: it can"})
    heavy: str = field(metadata={"help": "What it may weigh, said before it is lifted; empty: under the figure"})
    smelt: str = field(metadata={"help": "Tar or a foul smell, said before bare hands take hold; empty: neither"})
    reckoned: str = field(metadata={"help": "Of one never weighed, what it may weigh by its sizes; else empty"})
    last_kg: str = field(metadata={"help": "Its last weight"})
    change_error_kg: str = field(
        metadata={"help": "By how much a change of weight may be wrong for the scale, 8 in 10"}
    )
    low_kg: str = field(metadata={"help": "Lower end of what it ought to weigh"})
    high_kg: str = field(metadata={"help": "Upper end of that"})
    doubt_low_kg: str = field(metadata={"help": "Lighter than this the page asks, for what is expected"})
    doubt_high_kg: str = field(metadata={"help": "Heavier than this the page asks, for what is expected"})
    ask_low_kg: str = field(metadata={"help": "Lighter than this it is asked about"})
    ask_high_kg: str = field(metadata={"help": "Heavier than this it is asked about"})
    dry_low_kg: str = field(metadata={"help": "Its oven-dry mass: one in ten is below"})
    dry_kg: str = field(metadata={"help": "The middle of its oven-dry mass"})
    dry_high_kg: str = field(metadata={"help": "One in ten is above"})
    unit: str = field(metadata={"help": "Unit that its scale is likely to show"})
    read_ms: int = field(
        metadata={"help": "When this was read (UTC ms); the script holds the phone's clock against it"}
    )


@dataclass(frozen=True)
class Choice:
    """A round that may be chosen."""

    text: str = field(metadata={"help": "What it goes through"})
    query: str = field(metadata={"help": "Its query; empty: all boards"})
    chosen: bool = field(metadata={"help": "Whether it is the one that is shown"})


@dataclass(frozen=True)
class WeighPage:
    """Everything that weigh.html may use."""

    title: str = field(metadata={"help": "What the round goes through"})
    query: str = field(metadata={"help": "The query that chose it"})
    choices: tuple[Choice, ...] = field(metadata={"help": "All boards, each stack, each set"})
    boards: tuple[Weighing, ...] = field(metadata={"help": "The boards of the round, in the order of the yard"})
    form: Form | None = field(metadata={"help": "The form for the first of them; None: there is no board"})
    weighed_on: str = field(metadata={"help": "The moment set for the whole round; empty: as each is weighed"})


@dataclass(frozen=True)
class SheetPage:
    """Everything that weigh_sheet.html may use."""

    title: str = field(metadata={"help": "What the round goes through"})
    query: str = field(metadata={"help": "The query that chose it"})
    boards: tuple[Weighing, ...] = field(metadata={"help": "The boards, a row each, in the order of the page"})
    place: str = field(metadata={"help": "The place where all of them lie; empty: in several, or not known"})
    read_at: str = field(metadata={"help": "When the figures were read"})
    typed_at: str = field(metadata={"help": "Path on which the sheet is typed in afterwards"})


def weigh_page(situation: Situation, query: Mapping[str, str], by: str) -> WeighPage:
    """Fill the page of a round; ``query`` may name a stack, a set or a board, and the day of weighing (``on``)."""
    title, chosen, boards = _round(situation, query)
    on = _weighed_on(query.get("on", ""), situation.now_ms)
    shown = weighings(situation, boards)
    choices = tuple(Choice(text, one, one == chosen) for text, one in _choices(situation))
    return WeighPage(title, chosen, choices, shown, form_of(shown[0], by, on) if shown else None, on)


def sheet_page(situation: Situation, query: Mapping[str, str]) -> SheetPage:
    """Fill the sheet of a round."""
    title, chosen, boards = _round(situation, query)
    today = f"on={display.for_field(situation.now_ms)[:10]}"
    shown = weighings(situation, boards)
    typed_at = f"/weigh?{chosen}&{today}" if chosen else f"/weigh?{today}"
    places = {situation.place_name(board.place_id) for board in boards}
    place = places.pop() if len(places) == 1 else ""
    return SheetPage(title, chosen, shown, place, display.moment(situation.now_ms), typed_at)


def _weighed_on(typed: str, now_ms: int) -> str:
    """Return the moment of a whole round as a field takes it: a day's noon, or now where that is still to come."""
    noon = f"{typed.strip()}T12:00" if len(typed.strip()) == DAY_LENGTH else typed
    at_ms = fields.moment_ms("day of weighing", noon)
    return "" if at_ms is None else display.for_field(min(at_ms, now_ms))


def form_of(one: Weighing, by: str, on: str = "") -> Form:
    """Return the form of a weigh-in, as the page of the board has it; ``on``: a moment already filled in."""
    told = f"{one.last}, {one.age}" if one.last else ""
    return board_forms.weigh_in(one.code, by, told, unit=one.unit, true_at=on)


def _round(situation: Situation, query: Mapping[str, str]) -> tuple[str, str, list[BoardNow]]:
    """Return what a round is called, its query, and its boards."""
    for kind, things in (("stack", situation.stacks), ("set", situation.sets), ("board", situation.boards)):
        if query.get(kind):
            one = found(things, kind, query[kind])
            boards = [one] if kind == "board" else one.boards
            return f"{kind.capitalize()} {one.fact.name}", f"{kind}={one.subject.code}", boards
    return "All boards", "", in_yard_order(situation)


def _choices(situation: Situation) -> list[tuple[str, str]]:
    stacks = [(one.fact.name, f"stack={one.subject.code}") for one in situation.stacks if one.boards]
    sets = [(one.fact.name, f"set={one.subject.code}") for one in situation.sets if one.boards]
    return [("All boards", ""), *stacks, *sets]


def in_yard_order(situation: Situation) -> list[BoardNow]:
    """Return every board: stack by stack, then what lies by itself."""
    stacked = [board for stack in situation.stacks for board in stack.boards]
    held = {board.subject.id for board in stacked}
    return stacked + [board for board in situation.boards if board.subject.id not in held]


def weighings(situation: Situation, boards: list[BoardNow]) -> tuple[Weighing, ...]:
    """Return boards as a round needs them."""
    with situation.store.reading() as connection:
        sizes = by_subject(facts.standing(connection, BoardFact))
    return tuple(weighing(situation, board, sizes.get(board.subject.id, [])) for board in boards)


def weighing(situation: Situation, board: BoardNow, sizes: list[BoardFact]) -> Weighing:
    """Return a board as a weigh-in needs it; ``sizes``: those that it had, in order of time."""
    now_ms, made = situation.now_ms, board.projection
    last = board.weigh_ins[-1] if board.weigh_ins else None
    expected, why_not = _expected_kg(board, last, sizes, now_ms)
    dry = made.oven_dry_mass_kg if made else None
    known = tables.species().get(board.fact.species)
    stack = next((one for one in situation.stacks if one.subject.id == board.stack_id), None)
    matched = next((one for one in situation.sets if one.subject.id == board.set_id), None)
    place, stacked = situation.place_name(board.place_id), f"stack {stack.fact.name}" if stack else ""
    usual = _usual_kg(board.fact, last, sizes, now_ms)
    low, _middle, high = _kg(expected)
    mass = heavy.of_board(board, now_ms)
    doubt = next_weight.doubtful_kg(expected) if expected else None
    return Weighing(
        code=board.subject.code,
        name=board.fact.name,
        where=", ".join(one for one in (stacked, place) if one),
        near=stacked or place,
        species=known.common_name if known else board.fact.species,
        stack=stack.subject.code if stack else "",
        set=matched.subject.code if matched else "",
        last=f"{weight(last.mass_kg)} on {display.day(last.true_at_ms, now_ms)}" if last else "",
        age=display.age(last.true_at_ms, now_ms) if last else "",
        expected=foretold.mass_span(expected) if expected else "",
        why_not=why_not,
        heavy=heavy.in_short(mass),
        smelt=smelt.in_short(board),
        reckoned="" if last else heavy.reckoned(mass),
        last_kg=f"{last.mass_kg:.5f}" if last else "",
        change_error_kg=f"{next_weight.change_error_kg(last.scale_error_kg):.5f}" if last else "",
        low_kg=low,
        high_kg=high,
        doubt_low_kg=f"{doubt[0]:.5f}" if doubt else "",
        doubt_high_kg=f"{doubt[1]:.5f}" if doubt else "",
        ask_low_kg=f"{usual[0]:.5f}",
        ask_high_kg=f"{usual[1]:.5f}",
        **dict(zip(("dry_low_kg", "dry_kg", "dry_high_kg"), _kg(dry), strict=True)),
        unit=_unit(board, last, expected, usual, now_ms),
        read_ms=now_ms,
    )


def _kg(three: tuple[float, float, float] | None) -> tuple[str, str, str]:
    return ("", "", "") if three is None else (f"{three[0]:.5f}", f"{three[1]:.5f}", f"{three[2]:.5f}")


def _usual_kg(fact: BoardFact, last: WeighIn | None, sizes: list[BoardFact], now_ms: int) -> tuple[float, float]:
    """The masses that are entered without asking."""
    least, greatest = board_entries.believable_mass_kg(fact)
    if last is None:
        return least, greatest
    was = facts.at(sizes, last.true_at_ms) or fact
    low, high = board_entries.usual_mass_kg(last, was, fact, now_ms)
    return max(low, least), min(high, greatest)


def _unit(
    board: BoardNow,
    last: WeighIn | None,
    expected: tuple[float, float, float] | None,
    usual: tuple[float, float],
    now_ms: int,
) -> str:
    """The unit that its scale is likely to show: by what is expected, else weighed last, else held of its wood."""
    likely_kg = expected[1] if expected else last.mass_kg if last else None
    if likely_kg is None and board.projection is not None:
        likely_kg = next_weight.likely_kg(board.projection, now_ms)
    if likely_kg is None:
        likely_kg = sum(usual) / 2.0  # the middle of what wood of its sizes can weigh
    return "kg" if likely_kg >= KILOGRAMS_FROM_KG else "g"


def _expected_kg(
    board: BoardNow, last: WeighIn | None, sizes: list[BoardFact], now_ms: int
) -> tuple[tuple[float, float, float] | None, str]:
    """What a board ought to weigh now [kg]; where that cannot be said, None and why."""
    if last is None:
        return None, NEVER_WEIGHED
    if board.projection is None:
        return None, NOT_PROJECTED
    sections: list[OvenDryResult] = board.oven_dry
    cut = facts.at(sizes, last.true_at_ms) != facts.at(sizes, now_ms)
    if cut or any(one.true_at_ms > last.true_at_ms for one in sections):
        return None, CUT_SINCE
    expected = next_weight.expected_kg(board.projection, last.mass_kg, last.scale_error_kg, last.true_at_ms, now_ms)
    return expected, "" if expected else _why_not(board.projection, last, now_ms)


def _why_not(projection: Projection, last: WeighIn, now_ms: int) -> str:
    if not next_weight.rests_on(projection, last.true_at_ms):
        today = display.for_field(last.true_at_ms)[:DAY_LENGTH] == display.for_field(now_ms)[:DAY_LENGTH]
        return WEIGHED_TODAY if today else NEWS_SINCE
    return TOO_OLD if now_ms > projection.at_ms[-1] else DOES_NOT_FIT
