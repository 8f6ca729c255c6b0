"""How far it will move: what a board does in each air that it may come to, and what the pieces of a set want."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from urllib.parse import urlencode

from markupsafe import Markup

from dashboards import display, promise_made
from dashboards import promise_drawings as drawings
from dashboards.promise_made import BoardPromise, JointPromise, SetPromise
from dashboards.situation import BoardNow, SetNow, Situation
from kiln import joints, promise
from kiln.promise import Air, Moved
from kiln.records import Three
from kiln.sentences import capital, lower
from kiln.spans import month
from shared.units import mm_from_m

WHOLE_FROM_MM = 1.0  # from there on a tenth of a millimetre is enough
HELD = "As free wood: what glue, braces and a frame hold back becomes stress, and stress is what cracks it."


@dataclass(frozen=True)
class AirRow:
    """One air that a piece may come to."""

    name: str = field(metadata={"help": "Which air: a week on record, a house, where it is to live"})
    air: str = field(metadata={"help": "Its humidity and temperature; of a week when it began"})
    shown: str = field(metadata={"help": "By how much it becomes narrower or wider, with the band"})
    bar: Markup = field(metadata={"help": "The same as a bar, on the scale of all airs"})
    figures: tuple[tuple[str, str], ...] = field(metadata={"help": "Names with their figures, each with its band"})
    work_out: str = field(metadata={"help": "Address that works it out in full; empty: none"})


@dataclass(frozen=True)
class JointView:
    """One joint of a set."""

    name: str = field(metadata={"help": "What it is called"})
    told: str = field(metadata={"help": "How far its pieces come to differ along it, in few words"})
    sentences: tuple[str, ...] = field(metadata={"help": "What its two pieces want from each other, and when most"})
    year: Markup = field(metadata={"help": "The mismatch along it, week by week, drawn; empty: not known"})


@dataclass(frozen=True)
class PromiseView:
    """What _promise.html may use."""

    headline: str = field(metadata={"help": "The airs that move it most, each way, and how far; empty: none"})
    lead: str = field(metadata={"help": "From what to what, and what a minus means"})
    axis: Markup = field(metadata={"help": "The scale over the bars; empty without rows"})
    rows: tuple[AirRow, ...] = field(metadata={"help": "Every air"})
    joints: tuple[JointView, ...] = field(metadata={"help": "Of a set: its joints"})
    why_none: str = field(metadata={"help": "Why there are no figures; empty: there are"})
    flags: tuple[str, ...] = field(metadata={"help": "What they rest on that is not known well"})
    limits: tuple[str, ...] = field(metadata={"help": "The limits of the method, in words"})


def of_board(situation: Situation, board: BoardNow) -> PromiseView:
    """Fill the section of a board."""
    made = promise_made.of_board(situation, board)
    changes = [one.width_m for one in made.moved]
    scale = drawings.scale_of(changes)
    rows = tuple(
        AirRow(
            one.air.name,
            promise_made.air_words(one.air, situation.now_ms),
            changes_words(one.width_m),
            drawings.bar(one.width_m, scale),
            board_figures(made, one),
            _work_out(made.code, one.air),
        )
        for one in made.moved
    )
    lead = ""
    if made.now_mc_pct is not None:
        lead = f"From {display.band(*made.now_mc_pct)} today. Minus is narrower and thinner. Bands hold 8 in 10. {HELD}"
    told = headline([(one.air, one.width_m) for one in made.moved], "it becomes")
    axis = drawings.axis(scale) if rows else Markup()
    return PromiseView(told, lead, axis, rows, (), made.why_none, made.flags, promise.LIMITS)


def changes_words(change_m: Three) -> str:
    """Return a change of width as people say it: "9.1 mm narrower (7.5 to 11.1 mm)"."""
    low, middle, high = (mm_from_m(one) for one in change_m)
    decimals = 1 if max(abs(low), abs(high)) >= WHOLE_FROM_MM else 2

    def size(mm: float) -> str:
        return display.number(abs(mm), decimals)

    def one_way(mm: float) -> str:
        return f"{size(mm)} mm {'wider' if mm > 0 else 'narrower'}"

    if low < 0.0 < high:
        said = one_way(middle) if float(f"{middle:.{decimals}f}") else "as wide as now"
        return f"{said} ({one_way(low)} to {one_way(high)})"
    near, far = sorted((low, high), key=abs)
    return f"{one_way(middle)} ({size(near)} to {size(far)} mm)"


def headline(changes: Sequence[tuple[Air, Three]], becomes: str) -> str:
    """Say in which air it becomes narrowest, in which widest, and by how much; the greater change first."""
    if not changes:
        return ""
    ends = sorted((min(changes, key=_middle), max(changes, key=_middle)), key=lambda one: -abs(_middle(one)))
    first, other = ends
    said = f"{_in_air(first[0])} {becomes} {changes_words(first[1])}"
    if _middle(first) * _middle(other) >= 0.0:
        return f"{said}."
    return f"{said}; {lower(_in_air(other[0]))} {changes_words(other[1])}."


def _middle(change: tuple[Air, Three]) -> float:
    return change[1][1]


def _in_air(air: Air) -> str:
    if air.start_ms is not None:
        return f"In {air.name}, if that lasted,"
    return capital(air.name) if air.name.startswith("where ") else f"In {air.name}"


def board_figures(made: BoardPromise, one: Moved) -> tuple[tuple[str, str], ...]:
    """Return what a board does on the way to one air, as names with their figures."""
    return (
        ("Comes to", promise_made.rests_words(one)),
        (f"Width of {display.millimetres(made.width_m)} mm", promise_made.band_mm(one.width_m)),
        (f"Thickness of {display.millimetres(made.thickness_m)} mm", promise_made.band_mm(one.thickness_m)),
    )


def of_set(situation: Situation, matched: SetNow) -> PromiseView | None:
    """Fill the section of a set; None: it has neither halves nor joints."""
    made = promise_made.of_set(situation, matched)
    if not made.halves and not made.joints:
        return None
    scale = drawings.scale_of([change for _air, change in made.joined])
    rows = tuple(
        AirRow(
            air.name,
            promise_made.air_words(air, situation.now_ms),
            changes_words(change),
            drawings.bar(change, scale),
            set_figures(made, air),
            "",
        )
        for air, change in made.joined
    )
    names = display.listed([one.name for one in made.halves])
    lead = f"{names}, joined edge to edge. Minus is narrower. Bands hold 8 in 10. {HELD}" if rows else ""
    why = next((f"{one.name}: {one.why_none}" for one in made.halves if one.why_none), "")
    seen = tuple(
        JointView(one.name, _joint_words(one), promise_made.joint_sentences(one), _year(one)) for one in made.joints
    )
    flags = tuple(dict.fromkeys(flag for one in made.halves for flag in one.flags))
    limits = (*promise.LIMITS, *(joints.LIMITS[1:] if seen else ()))
    told = headline(made.joined, "the joined halves become")
    axis = drawings.axis(scale) if rows else Markup()
    return PromiseView(told, lead, axis, rows, seen, why, flags, limits)


def _joint_words(one: JointPromise) -> str:
    if one.mismatch is None:
        return one.why_none
    low, middle, high = (promise_made.mm(size) for size in one.mismatch.most_m)
    return f"up to {middle} mm ({low} to {high} mm) apart along it, most in {month(one.mismatch.most_at_ms)}"


def _year(one: JointPromise) -> Markup:
    return Markup() if one.mismatch is None else drawings.through_year(one.name, one.mismatch)


def set_figures(made: SetPromise, air: Air) -> tuple[tuple[str, str], ...]:
    """Return what the halves of a set do on the way to one air: together, then each."""
    together = next(change for one, change in made.joined if one == air)
    whole_m = sum(one.width_m for one in made.halves)
    each = [
        (f"Width of {one.code}", promise_made.band_mm(moved.width_m))
        for one in made.halves
        for moved in one.moved
        if moved.air == air
    ]
    return ((f"Joined width of {display.millimetres(whole_m)} mm", promise_made.band_mm(together)), *each)


def _work_out(code: str, air: Air) -> str:
    asked = {"board": code, "to_rh_pct": f"{air.rh_pct:.1f}", "to_temperature_c": f"{air.temperature_c:.1f}"}
    return f"/work-out/movement?{urlencode(asked)}"
