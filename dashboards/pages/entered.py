"""Everything entered about a board, each entry in words and the user's units: on its page, and in the terminal."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from dashboards import cut_story, display, judging_story
from dashboards.board_entries import DEFAULT_SCALE_SHARE
from dashboards.pages.event_forms import entry_lines as event_lines
from dashboards.pages.matched_set import use_sentence
from dashboards.pages.parts import EntryLine
from dashboards.pages.verdict_forms import board_lines
from dashboards.pages.wood_forms import entry_lines as wood_lines
from kiln.records import Z80, Measured
from shared import tables
from shared.store import Connection, Store, facts
from shared.store import records as r

TWICE_A_STANDARD_ERROR = 2.0
Lines = list[tuple[int, EntryLine]]


@dataclass(frozen=True)
class Names:
    """What things are called, and the time now."""

    now_ms: int
    of: dict[int, str]  # by subject: the name of a place, the code of anything else

    def place_name(self, place_id: int | None) -> str:
        """What a place is called; empty when nobody said where."""
        return "" if place_id is None else self.of.get(place_id, "")


def every(store: Store, board: r.Subject, now_ms: int) -> tuple[EntryLine, ...]:
    """Return all that stands of a board, newest first: what it is, where it was, what was measured and done."""
    story, said = cut_story.read(store, board, now_ms), judging_story.of_board(store, board)
    with store.reading() as connection:
        names = names_of(connection, now_ms)
        found = [
            _line(kind, one, words(one, names), SAID.get(kind, ""))
            for kind, record, words in DESCRIBED
            for one in facts.standing(connection, record, board.id)
        ]
        kinds = (r.WeighIn, r.PinReading, r.OvenDryResult, r.BagTest)
        taken = measured([one for record in kinds for one in facts.standing(connection, record, board.id)])
    return in_order([*found, *taken, *wood_lines(story), *event_lines(names, story), *board_lines(said)])


def in_order(lines: Lines) -> tuple[EntryLine, ...]:
    """Return entries newest first; of one moment as they came."""
    return tuple(line for _at_ms, line in sorted(lines, key=lambda pair: -pair[0]))


def measured(facts_of_it: Sequence[r.Fact], made: Sequence[Measured] = ()) -> Lines:
    """Return weigh-ins, pin readings, sections and bag tests; ``made``: what each came to by the projection."""
    lines = []
    for one in facts_of_it:
        kind, figure = _figure(one)
        said = kind.replace("bag-test", "bag test")
        note = next((_fit(found) for found in made if (found.kind, found.at_ms) == (said, one.true_at_ms)), "")
        lines.append(_line(kind, one, figure, note=note))
    return lines


def _figure(one: r.Fact) -> tuple[str, str]:
    """The kind of a measurement as undo knows it, and its figures."""
    if isinstance(one, r.WeighIn):
        unsaid = abs(one.scale_error_kg - DEFAULT_SCALE_SHARE * one.mass_kg) < 1e-9
        of_scale = " (scale not named)" if unsaid else ""
        return "weigh-in", f"{display.mass(one.mass_kg)} ± {display.mass(one.scale_error_kg)}{of_scale}"
    if isinstance(one, r.PinReading):
        warmth = one.wood_temperature_c
        warm = "" if warmth is None else f", wood at {display.with_unit(warmth, '°C', 0)}"
        return "pin", f"{display.number(one.mc_pct)} % at {display.millimetres(one.depth_m)} mm{warm}"
    if isinstance(one, r.OvenDryResult):
        return "oven-dry", f"{display.mass(one.wet_mass_kg)} wet, {display.mass(one.dry_mass_kg)} dry"
    if isinstance(one, r.BagTest):
        warm = display.with_unit(one.temperature_c, "°C", 0)
        return "bag-test", f"{display.with_unit(one.rh_pct, '%RH', 0)} at {warm} in the bag"
    raise TypeError(type(one))


def _fit(one: Measured) -> str:
    """Say what a measurement came to as moisture, and whether it agrees with the others."""
    shown = f"{display.number(one.mc_pct)} % ± {display.number(Z80 * one.error_mc_pct)}"
    misfit = abs(one.misfit)
    away = "" if misfit < TWICE_A_STANDARD_ERROR else f"; {display.number(misfit)} errors off the projection"
    return f"{shown}{away}{'; ' + one.note if one.note else ''}"


def _line(kind: str, fact: r.Fact, figure: str, word: str = "", note: str = "") -> tuple[int, EntryLine]:
    when = display.moment(fact.true_at_ms)
    return fact.true_at_ms, EntryLine(kind, fact.id, figure, when, fact.entered_by, note, word)


def names_of(connection: Connection, now_ms: int) -> Names:
    """Return what everything is called."""
    of = {one.id: one.code for kind in r.SubjectKind for one in facts.subjects(connection, kind)}
    return Names(now_ms, of | {one.subject_id: one.name for one in facts.standing(connection, r.PlaceFact)})


def _what(one: r.BoardFact, _names: Names) -> str:
    known = tables.species().get(one.species)
    sizes = display.size(one.thickness_m, one.width_m, one.length_m)
    noted = f": {one.note}" if one.note else ""
    return f"{one.name}, {known.label if known else one.species}, {sizes}, {one.cut}, {one.origin}{noted}"


def _where(one: r.BoardPosition, names: Names) -> str:
    if one.stack_id is not None:
        return f"Into stack {names.of[one.stack_id]}"
    return "Nobody says where" if one.place_id is None else f"To {names.place_name(one.place_id)}"


def _member(one: r.SetMember, names: Names) -> str:
    if one.set_id is None:
        return "In no set"
    return f"In set {names.of[one.set_id]}{f' as {one.role}' if one.role else ''} ({one.kind})"


def _wanted(one: r.UsePlan, names: Names) -> str:
    return use_sentence(one, names.now_ms)


DESCRIBED: tuple[tuple[str, type[r.Fact], Callable[..., str]], ...] = (
    ("board", r.BoardFact, _what),
    ("board-move", r.BoardPosition, _where),
    ("set-member", r.SetMember, _member),
    ("use", r.UsePlan, _wanted),
)
SAID = {"board": "what it is", "board-move": "where it is", "set-member": "set", "use": "wanted for"}
