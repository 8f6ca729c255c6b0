"""How far a surface stands above the dew point of the air at it, and what the published rules say to that.

It is the surface's gap that counts: wood that came from the cold stands nearer to the dew point than the room does,
and thinner that evaporates cools it further. No rule gives leave to spray: a rule that a gap keeps does not speak
against it, and that is all that it says. The rules and their sources stand in ``shared/tables/blush.csv``, everything
else in ``dew_gap.csv``. Errors are taken as independent and carried along straight lines.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from enum import StrEnum
from functools import cache, cached_property

import numpy as np

from kiln.control import Control
from kiln.psychrometrics import HIGHEST_C, LOWEST_C, dew_point_c, rh_pct_from_dew_point
from kiln.records import Z80, Three
from kiln.warming import Slabs, after
from shared.tables import constants, rows
from shared.units import Array

LEAST_RH_PCT = 1.0  # drier air has no dew point that means anything here
LEAST_PART_PCT = 0.001  # of the pressure at HIGHEST_C: that of about −38 °C, and no room has a dew point below
STEP_C, STEP_RH_PCT = 0.05, 0.5  # over which slopes are taken
SHEET = "data sheet"


class Asks(StrEnum):
    """What a rule asks of: the gap, the air's humidity, or how warm the surface is."""

    GAP = "gap"
    HUMIDITY = "humidity"
    WARMTH = "warmth"


class Of(StrEnum):
    """Of which temperature a rule about the gap speaks."""

    SURFACE = "surface"
    AIR = "air"


class Film(StrEnum):
    """Whether a rule about the gap speaks of the film too, while its thinner evaporates and cools the surface."""

    WET = "wet"  # it does: it is missed where the cooled surface misses it
    COUNTED = "counted"  # its margin is that cooling, so it is not taken off a second time
    BARE = "bare"  # of the surface before anything is on it
    UNSAID = "unsaid"  # a data sheet: few say


@dataclass(frozen=True)
class Air:
    """The air at the piece; errors are one standard error."""

    temperature_c: float
    temperature_error_c: float
    rh_pct: float
    rh_error_pct: float


@dataclass(frozen=True)
class Rule:
    """What somebody asks for: a gap [K], a humidity at most [%RH], or a surface at least as warm [°C]."""

    name: str
    asks: Asks
    of: Of
    value: float
    words: str  # as it is written
    short: str  # for the drawing
    source: str
    status: str
    film: Film
    whose: str = ""  # the finish whose data sheet asks; empty: nobody's sheet

    @property
    def sheet(self) -> bool:
        """Whether it is the finish's own data sheet that asks."""
        return self.name.startswith(SHEET)


@dataclass(frozen=True)
class Held:
    """A rule held against what is known; ``short_by``: by how much it is missed, in the rule's unit, below 0: kept."""

    rule: Rule
    control: Control
    short_by: float | None  # None: can't be said
    by_air: bool = False  # told by the air alone: a piece as warm as the room misses it already
    wet_gap_k: float | None = None  # of a rule about gaps: what is left where thinner cools the surface the most
    by_wet: bool = False  # it is only the cooled surface that misses it

    @property
    def wet_missed(self) -> bool:
        """Whether the cooled surface stands nearer to the dew point than the rule asks."""
        return self.wet_gap_k is not None and self.wet_gap_k < self.rule.value

    @property
    def goal(self) -> float:
        """What the surface, before it is wet, has to reach [K] so that the rule is not missed."""
        return self.rule.value + (cooling_k() if self.rule.film is Film.WET else 0.0)


@dataclass(frozen=True)
class State:
    """Everything that rules are held against. None: not known."""

    air: Air | None
    surface_c: Three | None

    @cached_property
    def dew_c(self) -> Three | None:
        """The dew point of the air."""
        return None if self.air is None else dew_point(self.air)

    @cached_property
    def gap_k(self) -> Three | None:
        """How far the surface stands above it."""
        if self.air is None or self.surface_c is None:
            return None
        return None if self.dew_c is None else gap(self.surface_c, self.dew_c)

    @cached_property
    def air_gap_k(self) -> Three | None:
        """How far the air itself stands above it: what a piece as warm as the room would have."""
        return None if self.air is None else gap_of_air(self.air)

    @cached_property
    def above_air_k(self) -> float | None:
        """How far the surface is warmer than its air [K]; below 0: colder."""
        if self.air is None or self.surface_c is None:
            return None
        return self.surface_c[1] - self.air.temperature_c

    @property
    def too_warm(self) -> bool:
        """Whether the surface is so much warmer than its air that the figure is more likely a slip."""
        return self.above_air_k is not None and self.above_air_k > surface_above_air_k()

    @property
    def in_frost(self) -> bool:
        """Whether the air is below 0 °C: there hygrometers count humidity over water or over ice, and few say which."""
        return self.air is not None and self.air.temperature_c < 0.0

    @property
    def at_best(self) -> Control:
        """The best word that any rules can add up to here."""
        return Control.CANT_SAY if self.too_warm or self.in_frost else Control.NOT_SHOWN


def surface_above_air_k() -> float:
    """How much warmer than its air [K] a surface is believed to be (``dew_gap.csv``)."""
    return constants("dew_gap")["surface_above_air"].value


@cache
def rules() -> tuple[Rule, ...]:
    """Return the published rules, in the order of the table; they disagree."""
    return tuple(
        Rule(
            row["name"],
            Asks(row["asks"]),
            Of(row["of"]),
            float(row["value"]),
            row["words"],
            row["short"],
            row["source"],
            row["status"],
            Film(row["film"]),
        )
        for row in rows("blush")
    )


def dew_point(air: Air) -> Three:
    """Dew point [°C] with the errors of hygrometer and thermometer."""
    middle = _dew(air.temperature_c, air.rh_pct)
    by_t = _slope(lambda t: _dew(t, air.rh_pct), air.temperature_c, STEP_C)
    return _around(middle, np.hypot(by_t * air.temperature_error_c, _by_rh(air) * air.rh_error_pct))


def gap_of_air(air: Air) -> Three:
    """How far the air stands above its own dew point [K]: an error of its thermometer moves both nearly alike."""
    middle = air.temperature_c - _dew(air.temperature_c, air.rh_pct)
    by_t = _slope(lambda t: t - _dew(t, air.rh_pct), air.temperature_c, STEP_C)
    return _around(middle, np.hypot(by_t * air.temperature_error_c, _by_rh(air) * air.rh_error_pct))


def gap(surface_c: Three, dew_c: Three) -> Three:
    """How far a surface stands above a dew point [K], their errors independent of each other."""
    (low, middle, high), (dew_low, dew, dew_high) = surface_c, dew_c
    found = middle - dew
    down, up = np.hypot(middle - low, dew_high - dew), np.hypot(high - middle, dew - dew_low)
    return found - float(down), found, found + float(up)


def measured(surface_c: float, error_c: float) -> Three:
    """A surface as a thermometer read it [°C], ``error_c``: one standard error."""
    return _around(surface_c, error_c)


def reckoned(slabs: Slabs, start_c: float, air_c: float, t_s: float, error_c: float = 0.0) -> Three:
    """The face [°C] of a piece at ``start_c`` that has been in air of ``air_c`` for ``t_s`` [s].

    The outer two: the slowest and the fastest that it may warm, and an error of the thermometers.
    """
    faces = [float(after(one, start_c, air_c, t_s)) for one in slabs]
    return widened(min(faces), faces[1], max(faces), error_c)


def widened(low: float, middle: float, high: float, error_c: float) -> Three:
    """A band with one more independent standard error."""
    more = Z80 * error_c
    return middle - float(np.hypot(middle - low, more)), middle, middle + float(np.hypot(high - middle, more))


def cooled(gap_k: Three) -> Three:
    """The gap [K] where evaporating thinner has cooled the surface as far as it is said to."""
    return _shifted(gap_k, -cooling_k())


def cooling_k() -> float:
    """How far evaporating thinner is said to cool a surface at the most [K] (``dew_gap.csv``)."""
    return constants("dew_gap")["thinner_cools"].value


def rh_pct_at_gap(temperature_c: float, gap_k: float) -> float:
    """Humidity [%RH] of air that stands ``gap_k`` [K] above its dew point: what a rule about gaps asks of it."""
    return float(rh_pct_from_dew_point(temperature_c, temperature_c - gap_k))


def gap_at_rh_k(temperature_c: float, rh_pct: float) -> float:
    """How far air of ``rh_pct`` [%RH] stands above its dew point [K]: what a rule about humidity comes to."""
    return temperature_c - _dew(temperature_c, rh_pct)


def hold(rule: Rule, state: State) -> Held:
    """Hold a rule against what is known. Within the error of a limit nobody can say."""
    if rule.asks is Asks.GAP:
        return _hold_gap(rule, state)
    if rule.asks is Asks.HUMIDITY:
        known = None if state.air is None else _around(rule.value - state.air.rh_pct, state.air.rh_error_pct)
    else:
        known = None if state.surface_c is None else _shifted(state.surface_c, -rule.value)
    return _held(rule, known)


def _hold_gap(rule: Rule, state: State) -> Held:
    of_air, of_surface = state.air_gap_k, state.gap_k
    if of_air is None:
        return _held(rule, None)
    if of_surface is None:  # a piece that nobody measured is as warm as the room at best
        missed_by = rule.value - of_air[1] + (cooling_k() if rule.film is Film.WET else 0.0)
        return Held(rule, Control.OVER, missed_by, by_air=True) if missed_by > 0.0 else _held(rule, None)
    nearest = min(of_air, of_surface, key=lambda one: one[1]) if rule.of is Of.AIR else of_surface
    return _under_wet_thinner(_held(rule, _shifted(nearest, -rule.value)), cooled(of_surface))


def _under_wet_thinner(held: Held, cooled_k: Three) -> Held:
    """A rule about the wet film is missed where the cooled surface misses it; of a data sheet nobody can say then."""
    found = replace(held, wet_gap_k=cooled_k[1])
    if not found.wet_missed or held.control is Control.OVER:
        return found
    if held.rule.film is Film.WET:
        return replace(found, control=Control.OVER, short_by=held.rule.value - cooled_k[1], by_wet=True)
    if held.rule.film is Film.UNSAID:
        return replace(found, control=Control.CANT_SAY, by_wet=held.control is Control.NOT_SHOWN)
    return found


def _held(rule: Rule, over_by: Three | None) -> Held:
    """``over_by``: how far the limit is kept, above 0, with its band."""
    if over_by is None or not np.all(np.isfinite(over_by)):
        return Held(rule, Control.CANT_SAY, None)
    low, middle, _high = over_by
    if middle < 0.0:
        return Held(rule, Control.OVER, -middle)
    return Held(rule, Control.CANT_SAY if low < 0.0 else Control.NOT_SHOWN, -middle)


def deciding(held: tuple[Held, ...], finishes: Sequence[str] = ()) -> tuple[Held, ...]:
    """Return those that decide: what the data sheets ask of comes before every other rule that asks of the same.

    Where several finishes count, only what each of their sheets asks of; ``finishes``: those whose sheet asks nothing.
    """
    by_finish: dict[str, set[Asks]] = {one: set() for one in finishes}
    for one in held:
        if one.rule.sheet:
            by_finish.setdefault(one.rule.whose, set()).add(one.rule.asks)
    said = set.intersection(*by_finish.values()) if by_finish else set()
    return tuple(one for one in held if one.rule.sheet or one.rule.asks not in said)


def sheet_rules(
    finish: str, sheet: str, gap_k: float | None, rh_pct: float | None, surface_c: float | None
) -> tuple[Rule, ...]:
    """Return what a finish's data sheet asks for, as far as it does."""
    source = f"data sheet of {finish}: {sheet}" if sheet else f"data sheet of {finish}"
    asked = (
        (Asks.GAP, gap_k, "the surface that far above the dew point, at least", "sheet"),
        (Asks.HUMIDITY, rh_pct, "the air no damper than that", "sheet"),
        (Asks.WARMTH, surface_c, "the surface no colder than that", "sheet"),
    )
    return tuple(
        Rule(f"{SHEET} {asks}", asks, Of.SURFACE, value, words, short, source, "published", Film.UNSAID, finish)
        for asks, value, words, short in asked
        if value is not None
    )


def _dew(temperature_c: float, rh_pct: float, least_rh_pct: float = LEAST_RH_PCT) -> float:
    t = min(max(temperature_c, LOWEST_C), HIGHEST_C)
    return float(dew_point_c(t, min(max(rh_pct, least_rh_pct), 100.0)))


def _by_rh(air: Air) -> float:
    """Slope of the dew point by the humidity [K per %RH], to the one side where the other ends."""
    rh = min(max(air.rh_pct, LEAST_RH_PCT + STEP_RH_PCT), 100.0 - STEP_RH_PCT)
    return _slope(lambda one: _dew(air.temperature_c, one), rh, STEP_RH_PCT)


def _slope(of: Callable[[float], float], at: float, step: float) -> float:
    return (of(at + step) - of(at - step)) / (2.0 * step)


def _around(middle: float, error: float | Array) -> Three:
    half = Z80 * float(error)
    return middle - half, middle, middle + half


def _shifted(three: Three, by: float) -> Three:
    return three[0] + by, three[1] + by, three[2] + by


def temperature_at_rh_c(dew_c: float, rh_pct: float) -> float:
    """Temperature [°C] at which air of this dew point stands at ``rh_pct`` [%RH]: a rule about humidity, on a scale.

    There the saturation pressure is that of the dew point over the humidity, so it is itself a dew point.
    """
    part = float(rh_pct_from_dew_point(HIGHEST_C, max(dew_c, LOWEST_C))) / rh_pct
    return _dew(HIGHEST_C, min(100.0, 100.0 * part), LEAST_PART_PCT)
