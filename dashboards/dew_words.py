"""The dew gap in words: the figure with its band, what each rule says to it, what to do next. No word gives leave."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from dashboards import display
from dashboards.dew_surfaces import AHEAD_STEP_S, Surface
from kiln import dew_gap
from kiln.control import Control
from kiln.dew_gap import Asks, Held, State
from kiln.records import Three
from kiln.sentences import capital
from shared.store.records import FinishFact
from shared.units import MS_PER_S

WARM_K = 5.0  # a surface this much warmer than its air is worth a word
LAST_SPRAYED = "sprayed here last"
ONLY_ONE = "the only finish on the shelf"
ADHESION = (
    "A surface that is wet with dew, dusty, or rough with raised grain holds no finish, whatever the gap.",
    "A surface below the dew point takes up water: its skin is then wetter than the wood below it.",
)
DRYNESS = (
    "Whether the wood is dry enough is another judgement, with a word of its own on each board: no gap says anything "
    "about it."
)
DRAWING = (
    "Ruled with strokes: at or below the dew point. Under the rule hang what the rules ask for; above it stand the "
    "air, the surface, and the wet film: the surface under thinner that evaporates, at the coldest."
)
LEAD = "A rule that is not missed says no more than that. None of them gives leave."
STAY_OUT = "Not while the vapour says stay out: no heater, no reading, nobody in this room for the work's sake."
NO_VAPOUR = "Says nothing of vapour, mist or fire."
FROST = "Below 0 °C it is the frost point that is told, the higher of the two: ice settles before dew would."
FROST_AIR = (
    "In air below 0 °C hygrometers count humidity over water or over ice, and few say which: the frost point may lie "
    "higher than this."
)


def point(state: State) -> str:
    """Dew point, or frost point where water settles as ice."""
    return "frost point" if state.dew_c is not None and state.dew_c[1] < 0.0 else "dew point"


def unsure(state: State, *, out: bool = False) -> tuple[str, ...]:
    """What speaks against believing the figures, and what is to be known of ice and of warm surfaces."""
    told = []
    if state.too_warm and state.above_air_k is not None:
        told.append(
            f"The surface reads {display.with_unit(state.above_air_k, 'C°')} warmer than its air: not believed."
            f"{'' if out else ' Read it again.'} A piece that is truly hot cools first: thinner boils off it, and "
            "lights above its flash point."
        )
    elif state.above_air_k is not None and state.above_air_k > WARM_K:
        told.append(
            f"The surface is {display.with_unit(state.above_air_k, 'C°')} warmer than its air: thinner comes off it "
            "faster, and from its flash point on it lights there."
        )
    if point(state) == "frost point":
        told.append(FROST)
    if state.in_frost:
        told.append(FROST_AIR)
    return tuple(told)


def banded(three: Three, unit: str) -> str:
    """A figure with the band that holds eight times in ten: "6.8 C° (5.9 to 7.7 C°)"."""
    low, middle, high = (display.number(one) for one in three)
    return f"{middle} {unit} ({low} to {high} {unit})"


def headline(state: State, surface: Surface, now_ms: int) -> tuple[str, str]:
    """Return the one figure, and what it rests on."""
    if state.air is None:
        return "Dew point not known", "Without the air there is no dew point to hold a surface against."
    gap, of_air = state.gap_k, state.air_gap_k
    if gap is None and of_air is not None:
        stands = f"The room's own air stands {banded(of_air, 'C°')} above its {point(state)}"
        return "Surface not known", f"{stands}, which a cold piece does not have."
    return capital(gap_figure(state)), f"Eight times in ten: {sides(gap)}. {_rests_on(surface, now_ms)}"


def gap_figure(state: State) -> str:
    """How far the surface stands above or below its dew point."""
    middle = state.gap_k[1] if state.gap_k else float("nan")
    return f"surface {display.with_unit(abs(middle), 'C°')} {'below' if middle < 0.0 else 'above'} its {point(state)}"


def sides(three: Three | None) -> str:
    """Between which figures it lies eight times in ten."""
    low, high = (three[0], three[2]) if three else (float("nan"),) * 2
    return f"{display.number(low)} to {display.number(high)} C°"


def _rests_on(surface: Surface, now_ms: int) -> str:
    if surface.reading is not None:
        what = surface.reading.what or "the work"
        return f"Read by hand on {what}, {display.age(surface.reading.true_at_ms, now_ms)}."
    if surface.piece is None:
        return ""
    came = f", brought in {display.age(surface.piece.came_ms, now_ms)}" if surface.piece.from_place else ""
    whence = f" from {surface.piece.from_place}" if surface.piece.from_place else ""
    return f"Reckoned, not measured: {surface.piece.board.fact.name}{came}{whence}, the coldest of the boards here."


def surface_figure(surface: Surface, now_ms: int) -> str:
    """The surface with its band and age, or that it is not known."""
    if surface.three_c is None:
        return "not known"
    figure = banded(surface.three_c, "°C")
    if surface.reading is not None:
        return f"{figure}, read {display.age(surface.reading.true_at_ms, now_ms)}"
    return f"{figure}, reckoned"


def surface_doubts(surface: Surface, now_ms: int, *, out: bool = False) -> tuple[str, ...]:
    """What is old, and which boards' surfaces cannot be reckoned."""
    told = []
    if surface.old is not None:
        age = display.age(surface.old.true_at_ms, now_ms)
        figure = display.with_unit(surface.old.surface_c, "°C")
        told.append(
            f"The last reading, {figure}, is from {age} and too old to stand{'' if out else ': measure again'}."
        )
    if surface.left_out:
        told.append(f"Not reckoned, and maybe colder. {' '.join(surface.left_out)}")
    return tuple(told)


def not_before(one: Held, state: State, surface: Surface, now_ms: int) -> str:
    """When a cold piece may have warmed past a gap that it misses; whether it can at all in this air."""
    if one.control is not Control.OVER or one.rule.asks is not Asks.GAP or state.air_gap_k is None:
        return ""
    if state.air_gap_k[1] < one.goal:
        return "" if one.by_air else " No waiting brings it there: the room's own air is nearer than that."
    if surface.piece is None or state.dew_c is None:
        return ""
    there = np.flatnonzero(surface.piece.ahead_c >= state.dew_c[1] + one.goal)
    if not len(there):
        return " Not within a day in this air."
    at_ms = now_ms + round((int(there[0]) + 1) * AHEAD_STEP_S * MS_PER_S)
    return f" If the room stays as it is, not before {_clock(at_ms, now_ms)}; then measure it."


def _clock(at_ms: int, now_ms: int) -> str:
    at, now = display.local(at_ms), display.local(now_ms)
    return f"{at:%H:%M}" if at.date() == now.date() else f"{at:%a %H:%M}"


def wetting(state: State, *, out: bool = False) -> str:
    """That dew forms on the work, or can."""
    gap = state.gap_k
    if gap is None or gap[0] > 0.0:
        return ""
    if gap[1] <= 0.0:
        told = "Water condenses on the surface now, and the wood takes it up."
        return told if out else f"{told} Warm the piece in a room without vapour, wipe it, and let it dry."
    return (
        "Within the error the surface may stand at its dew point: water can condense on it, and the wood takes it up."
    )


def cooled(state: State) -> str:
    """The gap under evaporating thinner."""
    if state.gap_k is None:
        return ""
    by = display.with_unit(dew_gap.cooling_k(), "C°")
    left = dew_gap.cooled(state.gap_k)[1]
    figure = display.with_unit(abs(left), "C°")
    if left < 0.0:
        return (
            f"Thinner that evaporates is said to cool a surface by up to {by}: then it stands {figure} below the dew "
            "point, and dew can form in the wet film."
        )
    return (
        f"Thinner that evaporates is said to cool a surface by up to {by}: then {figure} is left above the dew point."
    )


def contradiction(state: State) -> str:
    """How far the rules disagree, in the figures of this room."""
    if state.air is None:
        return ""
    named = {one.name: one for one in dew_gap.rules()}
    by_gap, by_rh, t = named["air_20_f"].value, named["rh_65"].value, state.air.temperature_c
    gaps = sorted((one for one in named.values() if one.asks is Asks.GAP), key=lambda one: one.value)
    least, most = gaps[0], gaps[-1]
    at_rh, asked = dew_gap.gap_at_rh_k(t, by_rh), dew_gap.rh_pct_at_gap(t, by_gap)
    return (
        f"The rules disagree: {most.short} of a finishing adviser is {most.value / least.value:.0f} times the "
        f"{least.short} of a painter. And two rules of that adviser contradict each other: at "
        f"{display.with_unit(t, '°C')} air of {display.with_unit(by_rh, '%RH', 0)} stands only "
        f"{display.with_unit(at_rh, 'C°')} above its dew point, and {display.with_unit(by_gap, 'C°')} ask for "
        f"{display.with_unit(asked, '%RH', 0)}."
    )


def sheets_sprayed(sprayed: Sequence[FinishFact]) -> str:
    """Whose data sheets count where several finishes were sprayed, and which of them ask nothing."""
    names = display.listed([one.name for one in sprayed])
    silent = [one.name for one in sprayed if not asks_anything(one)]
    told = f"By the data sheets of {names}, sprayed here in the last 48 hours: each counts, the worst first."
    if not silent:
        return told
    return (
        f"{told} Of {display.listed(silent)}, no data sheet's gap, humidity or surface is entered: look it up; until "
        "then the other rules count too."
    )


def asks_anything(finish: FinishFact) -> bool:
    """Whether its data sheet asks anything of surface or air, as entered."""
    return any(one is not None for one in (finish.dew_gap_c, finish.rh_max_pct, finish.surface_min_c))


def sheet_of(finish: FinishFact, why: str) -> str:
    """Whose data sheet comes before the other rules."""
    named = f"{finish.name}{f', {why}' if why else ''}"
    if asks_anything(finish):
        return f"By the data sheet of {named}: it comes before every other rule that asks of the same."
    return f"Of {named}, no data sheet's gap, humidity or surface is entered: look it up, it comes before these rules."


def sheets_of(asking: Sequence[FinishFact], on_shelf: int) -> str:
    """What counts where nobody has said which finish it will be."""
    if not on_shelf:
        return "No finish is on the shelf: what its data sheet asks comes before these rules."
    if not asking:
        return "No data sheet on the shelf has its gap, humidity or surface entered: look it up, it comes first."
    names = display.listed([one.name for one in asking])
    return f"Nobody has said which finish it will be, so every rule counts, and the data sheet of {names}."


def next_step(state: State, surface: Surface, control: Control) -> str:
    """What to do next."""
    if state.air is None:
        return "Read temperature and humidity from outside the spray area, or with rated instruments, and enter them."
    if state.surface_c is None or surface.reading is None:
        return "Measure the surface of the work with a thermometer, before any finish is open, and enter it."
    if control is Control.OVER:
        return "Warm the piece in a room without vapour, or dry the air before any finish is open; then measure again."
    return "Measure again shortly before the work: air and surface change within the hour."
