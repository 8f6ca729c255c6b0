"""The dew gap of a room's work: how near its surface stands to the dew point, and what each rule says to that.

Nothing here gives leave to spray. What is missed or cannot be said is never folded away; of a rule that is kept only
the distance is told.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

from markupsafe import Markup

from dashboards import (
    control_marks,
    dew_drawings,
    dew_rule_words,
    dew_surfaces,
    dew_words,
    display,
    finish_now,
    vapours,
)
from dashboards.bases import Basis
from dashboards.dew_surfaces import Surface
from dashboards.heard import PlaceNow
from dashboards.pages.parts import Link
from dashboards.situation import Situation
from kiln import dew_gap
from kiln.control import WORST_FIRST, Control, worst
from kiln.dew_gap import Air, Asks, Held, Rule, State
from shared.store.records import FinishFact
from shared.tables import constants, limit
from shared.units import MS_PER_DAY

FINISH_USE = "finish"


@dataclass(frozen=True)
class RuleLine:
    """One rule, and what it says to the gap now."""

    key: str = field(metadata={"help": "Its word as a style: over, cant-say, not-shown"})
    limit: str = field(metadata={"help": "What it asks, as a figure"})
    words: str = field(metadata={"help": "What it asks, as it is written"})
    said: str = field(metadata={"help": "Whether it is missed, and by how much"})
    control: Control = field(
        metadata={"help": "Over: missed; can't say; not shown: it is not missed, and gives no leave"}
    )
    sheet: bool = field(metadata={"help": "Whether it is the finish's own data sheet that asks"})
    decides: bool = field(metadata={"help": "Whether it counts: a data sheet comes before others that ask the same"})
    source: str = field(metadata={"help": "Where it stands, and how it is known"})


@dataclass(frozen=True)
class BoardLine:
    """A board in the room that is to be finished: whether its wood is dry enough is another judgement."""

    name: str = field(metadata={"help": "What it is called"})
    to: str = field(metadata={"help": "Path of its page"})
    word: str = field(metadata={"help": "The verdict on its water"})
    reason: str = field(metadata={"help": "Why"})


@dataclass(frozen=True)
class DewGap:
    """How near the surface of the work stands to the dew point in one room."""

    name: str = field(metadata={"help": "What the room is called"})
    code: str = field(metadata={"help": "Its code"})
    control: Control = field(metadata={"help": "The worst of the rules that decide"})
    key: str = field(metadata={"help": "Its word as a style: over, cant-say, not-shown"})
    mark: Markup = field(metadata={"help": "The mark of its word"})
    word: str = field(metadata={"help": "OVER, CAN'T SAY or NOT SHOWN TO BE UNDER CONTROL"})
    headline: str = field(metadata={"help": "The gap as one figure; of an unknown surface that it is unknown"})
    sentence: str = field(metadata={"help": "What that rests on, and which rules are missed"})
    doubts: tuple[str, ...] = field(metadata={"help": "What is old, not believed or left out: never folded"})
    no_vapour: str = field(metadata={"help": "That a gap says nothing of vapour, mist and fire"})
    vapour: Link = field(metadata={"help": "Where vapour is told"})
    lead: str = field(metadata={"help": "What a rule that is not missed says; said once above the rules"})
    wetting: str = field(metadata={"help": "That dew forms on the work, or can; empty otherwise"})
    cooled: str = field(metadata={"help": "The gap under evaporating thinner; empty where the surface is not known"})
    figures: tuple[tuple[str, str], ...] = field(metadata={"help": "Surface, air, dew point and the room's own gap"})
    rules: tuple[RuleLine, ...] = field(metadata={"help": "Every rule, the data sheet's first, then the strictest"})
    others: bool = field(metadata={"help": "Whether there are rules that a data sheet comes before"})
    sheet: str = field(metadata={"help": "Whose data sheet decides, or that none does"})
    sheet_missed: str = field(metadata={"help": "What the sheet asks that is missed now; empty: nothing that is known"})
    sheet_missed_short: str = field(metadata={"help": "That in a few words"})
    contradiction: str = field(metadata={"help": "How far the rules disagree in this room, in figures"})
    drawing: Markup = field(metadata={"help": "The scale with surface, dew point and rules; empty without air"})
    drawing_words: str = field(metadata={"help": "What the marks of the drawing are"})
    adhesion: tuple[str, ...] = field(metadata={"help": "What else keeps a finish from holding"})
    dryness: str = field(metadata={"help": "That wood dry enough is another judgement"})
    boards: tuple[BoardLine, ...] = field(metadata={"help": "Boards in the room that are to be finished"})
    next_step: str = field(metadata={"help": "What to do next"})
    measure: Link | None = field(metadata={"help": "Where a surface that was read is entered; None: stay out"})


def gap_of(situation: Situation, place: PlaceNow, finish: FinishFact | None = None) -> DewGap:
    """Fill the record of one room. ``finish``: to be sprayed; None: the last sprayed there, or the only one."""
    out = stay_out(situation, place)
    surface = dew_surfaces.surface_now(situation, place)
    state = State(air_of(place, surface), surface.three_c)
    sheets, chosen, sheet_told = _sheets(situation, place, finish)
    asked = [dew_gap.hold(rule, state) for one in sheets for rule in _asked(one)]
    others = [dew_gap.hold(one, state) for one in _strictest_first(dew_gap.rules())]
    held = (*sorted(asked, key=lambda one: WORST_FIRST.index(one.control)), *others)
    decide = dew_gap.deciding(held, [one.name for one in sheets]) if chosen else held
    of_sheets = tuple(one for one in held if one.rule.sheet)
    control = worst(state.at_best, *(one.control for one in decide))
    lines = tuple(_line(one, state, surface, situation.now_ms, decides=one in decide, out=out) for one in held)
    headline, basis = dew_words.headline(state, surface, situation.now_ms)
    return DewGap(
        name=place.fact.name,
        code=place.subject.code,
        control=control,
        key=control_marks.KEYS[control],
        mark=control_marks.drawn(control),
        word=control_marks.WORDS[control],
        headline=headline,
        sentence=f"{basis} {dew_rule_words.counted(decide, len(held))}",
        doubts=(
            *dew_words.unsure(state, out=out),
            *_air_doubts(place, state),
            *dew_words.surface_doubts(surface, situation.now_ms, out=out),
        ),
        no_vapour=dew_words.NO_VAPOUR,
        vapour=Link("See the vapour of this room", f"/finish/room/{place.subject.code}#vapour"),
        lead=dew_words.LEAD,
        wetting=dew_words.wetting(state, out=out),
        cooled=dew_words.cooled(state),
        figures=_figures(place, surface, state, situation.now_ms),
        rules=lines,
        others=len(decide) < len(held),
        sheet=sheet_told,
        sheet_missed=dew_rule_words.all_missed(of_sheets, state),
        sheet_missed_short=dew_rule_words.missed_in_short(of_sheets),
        contradiction=dew_words.contradiction(state),
        drawing=drawing_of(state, held, measured=surface.reading is not None),
        drawing_words=dew_words.DRAWING,
        adhesion=dew_words.ADHESION,
        dryness=dew_words.DRYNESS,
        boards=_boards(situation, place),
        next_step=dew_words.STAY_OUT if out else dew_words.next_step(state, surface, control),
        measure=None if out else Link("Enter a surface that you read", f"/finish/room/{place.subject.code}#surface"),
    )


def stay_out(situation: Situation, place: PlaceNow) -> bool:
    """Whether vapour keeps people out of a room: nothing of its dew point is to be done there before.

    It is over, or can't be said, or its hour is not there or not known; or somebody took a spraying back.
    """
    with situation.store.reading() as connection:
        if finish_now.taken_back(connection, place.subject.id, situation.now_ms):
            return True
    made = vapours.vapour_of(situation, place)
    if made is None:
        return False
    early = made.not_before_ms is None or situation.now_ms < made.not_before_ms
    return early or made.control is not Control.NOT_SHOWN


def air_of(place: PlaceNow, surface: Surface) -> Air | None:
    """Return the air at the work: the probes', or what was read by hand with the surface where that is newer."""
    thermometer = constants("dew_gap")["thermometer_error"].value
    by_hand, air = surface.reading, place.air
    logged = air if air is not None and air.good else None
    if by_hand is not None and by_hand.air_c is not None and by_hand.rh_pct is not None:
        newer = logged is None or by_hand.true_at_ms >= logged.at_ms
        if newer:
            return Air(by_hand.air_c, thermometer, by_hand.rh_pct, limit("unchecked_hygrometer"))
    return None if logged is None else Air(logged.temperature_c, thermometer, logged.rh_pct, logged.rh_error_pct)


def drawing_of(state: State, held: Sequence[Held], *, measured: bool) -> Markup:
    """Return the scale; empty where there is no air to draw."""
    dew_c = state.dew_c
    if state.air is None or dew_c is None:
        return Markup()
    cooled = None if state.gap_k is None else dew_c[1] + dew_gap.cooled(state.gap_k)[1]
    scene = dew_drawings.Scene(
        dew_c, state.air.temperature_c, state.surface_c, measured, cooled, tuple(_mark(one, dew_c[1]) for one in held)
    )
    return dew_drawings.drawing(scene, dew_rule_words.drawn(state, held))


def _mark(one: Held, dew_c: float) -> dew_drawings.RuleMark:
    rule = one.rule
    at_c = {Asks.GAP: dew_c + rule.value, Asks.WARMTH: rule.value}.get(rule.asks)
    if at_c is None:
        at_c = dew_gap.temperature_at_rh_c(dew_c, rule.value)
    return dew_drawings.RuleMark(dew_rule_words.mark_name(rule), at_c, one.control)


def _sheets(
    situation: Situation, place: PlaceNow, finish: FinishFact | None
) -> tuple[tuple[FinishFact, ...], bool, str]:
    """Return the data sheets that count, whether it is that of the finish to come, and which they are in words."""
    if finish is not None:
        return (finish,), True, dew_words.sheet_of(finish, "")
    with situation.store.reading() as connection:
        since_ms = situation.now_ms - finish_now.SPRAYED_DAYS * MS_PER_DAY
        sprayed = finish_now.sprayed_of(connection, place.subject.id, since_ms)
        shelf = tuple(one.fact for one in finish_now.finishes(connection))
    if sprayed:
        facts_of = tuple({one.finish.subject.id: one.finish.fact for one in reversed(sprayed)}.values())
        if len(facts_of) > 1:
            return facts_of, True, dew_words.sheets_sprayed(facts_of)
        return facts_of, True, dew_words.sheet_of(facts_of[0], dew_words.LAST_SPRAYED)
    asking = tuple(one for one in shelf if _asked(one))
    if len(asking) == 1 and len(shelf) == 1:
        return asking, True, dew_words.sheet_of(asking[0], dew_words.ONLY_ONE)
    return asking, False, dew_words.sheets_of(asking, len(shelf))


def _asked(finish: FinishFact) -> tuple[Rule, ...]:
    return dew_gap.sheet_rules(finish.name, finish.sheet, finish.dew_gap_c, finish.rh_max_pct, finish.surface_min_c)


def _strictest_first(rules: Sequence[Rule]) -> list[Rule]:
    return sorted(rules, key=lambda one: (one.asks is not Asks.GAP, -one.value))


def _line(one: Held, state: State, surface: Surface, now_ms: int, *, decides: bool, out: bool) -> RuleLine:
    rule = one.rule
    return RuleLine(
        key=control_marks.KEYS[one.control],
        limit=dew_rule_words.limit_of(rule),
        words=rule.words,
        said=dew_rule_words.said(one, state) + ("" if out else dew_words.not_before(one, state, surface, now_ms)),
        control=one.control,
        sheet=rule.sheet,
        decides=decides,
        source=Basis(rule.source, rule.status).shown,
    )


def _figures(place: PlaceNow, surface: Surface, state: State, now_ms: int) -> tuple[tuple[str, str], ...]:
    told = [("Surface", dew_words.surface_figure(surface, now_ms))]
    if state.air is not None and state.dew_c is not None and state.air_gap_k is not None:
        t, rh = display.with_unit(state.air.temperature_c, "°C"), display.with_unit(state.air.rh_pct, "%RH", 0)
        told.append(("Room air", f"{t}, {rh}, {_air_age(place, surface, now_ms)}"))
        told.append((f"{dew_words.point(state).capitalize()} of the room air", dew_words.banded(state.dew_c, "°C")))
        told.append(("The air's own gap, which a cold piece does not have", dew_words.banded(state.air_gap_k, "C°")))
    return tuple(told)


def _air_age(place: PlaceNow, surface: Surface, now_ms: int) -> str:
    by_hand, air = surface.reading, place.air
    taken = by_hand is not None and by_hand.air_c is not None and by_hand.rh_pct is not None
    if taken and (air is None or not air.good or by_hand.true_at_ms >= air.at_ms):
        return f"read by hand {display.age(by_hand.true_at_ms, now_ms)}"
    return display.age(None if air is None else air.at_ms, now_ms)


def _air_doubts(place: PlaceNow, state: State) -> tuple[str, ...]:
    if state.air is None:
        why = "No probe of this room is believed now" if place.air is not None else "No air of this room is known"
        return (f"{why}, and nobody has read its air by hand within the hour: its dew point is not known.",)
    told = []
    if place.air is not None and place.air.good and not place.air.checked:
        error = display.number(place.air.rh_error_pct)
        told.append(f"A hygrometer here was not checked, or its check is overdue: taken as ±{error} %RH.")
    return (*told, *((place.air.note,) if place.air is not None and place.air.note else ()))


def _boards(situation: Situation, place: PlaceNow) -> tuple[BoardLine, ...]:
    return tuple(
        BoardLine(one.fact.name, f"/board/{one.subject.code}", str(one.verdict.word), one.verdict.reason)
        for one in situation.boards
        if one.place_id == place.subject.id and one.plan is not None and one.plan.use == FINISH_USE
    )
