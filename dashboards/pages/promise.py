"""How far it will move: what a board does in each air that it may come to, and what the pieces of a set want."""

from __future__ import annotations

from dataclasses import dataclass, field
from urllib.parse import urlencode

from dashboards import display, promise_made
from dashboards.promise_made import BoardPromise, SetPromise
from dashboards.situation import BoardNow, SetNow, Situation
from kiln import joints, promise
from kiln.promise import Air, Moved

HELD = "As free wood: what glue, braces and a frame hold back becomes stress, and stress is what cracks it."


@dataclass(frozen=True)
class AirRow:
    """One air that a piece may come to."""

    name: str = field(metadata={"help": "Which air: a week on record, a house, where it is to live"})
    air: str = field(metadata={"help": "Its humidity and temperature; of a week when it began"})
    figures: tuple[tuple[str, str], ...] = field(metadata={"help": "Names with their figures, each with its band"})
    work_out: str = field(metadata={"help": "Address that works it out in full; empty: none"})


@dataclass(frozen=True)
class JointView:
    """One joint of a set."""

    name: str = field(metadata={"help": "What it is called"})
    sentences: tuple[str, ...] = field(metadata={"help": "What its two pieces want from each other, and when most"})


@dataclass(frozen=True)
class PromiseView:
    """What _promise.html may use."""

    lead: str = field(metadata={"help": "From what to what, and what a minus means"})
    rows: tuple[AirRow, ...] = field(metadata={"help": "Every air"})
    joints: tuple[JointView, ...] = field(metadata={"help": "Of a set: its joints"})
    why_none: str = field(metadata={"help": "Why there are no figures; empty: there are"})
    flags: tuple[str, ...] = field(metadata={"help": "What they rest on that is not known well"})
    limits: tuple[str, ...] = field(metadata={"help": "The limits of the method, in words"})


def of_board(situation: Situation, board: BoardNow) -> PromiseView:
    """Fill the section of a board."""
    made = promise_made.of_board(situation, board)
    rows = tuple(
        AirRow(
            one.air.name,
            promise_made.air_words(one.air, situation.now_ms),
            board_figures(made, one),
            _work_out(made.code, one.air),
        )
        for one in made.moved
    )
    lead = ""
    if made.now_mc_pct is not None:
        lead = f"From {display.band(*made.now_mc_pct)} today. Minus is narrower and thinner. Bands hold 8 in 10. {HELD}"
    return PromiseView(lead, rows, (), made.why_none, made.flags, promise.LIMITS)


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
    rows = tuple(
        AirRow(air.name, promise_made.air_words(air, situation.now_ms), set_figures(made, air), "")
        for air, _change in made.joined
    )
    names = display.listed([one.name for one in made.halves])
    lead = f"{names}, joined edge to edge. Minus is narrower. Bands hold 8 in 10. {HELD}" if rows else ""
    why = next((f"{one.name}: {one.why_none}" for one in made.halves if one.why_none), "")
    seen = tuple(JointView(one.name, promise_made.joint_sentences(one)) for one in made.joints)
    flags = tuple(dict.fromkeys(flag for one in made.halves for flag in one.flags))
    return PromiseView(lead, rows, seen, why, flags, (*promise.LIMITS, *(joints.LIMITS[1:] if seen else ())))


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
