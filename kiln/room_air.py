"""Vapour in a well-mixed room over time, in closed form: as it leaves the gun, and the most that late drying makes it.

The room is one box with a mixing factor K (ACGIH, Industrial Ventilation): V dC/dt = G - (Q/K) C. Its extraction is on
or off in steps, its sprayings have steady rates, so that between two steps C runs along one exponential.

``as_sprayed``: all solvent evaporates as it leaves the gun. ``at_most``: every parcel stays in the room, in the film or
in the air, until the film's drying time T has passed, and is carried off only from then on. Whatever the delay at which
a parcel evaporates, so long as it is no longer than T, the air holds no more: of a parcel that evaporates at e the air
at t holds exp(-Λ(t) + Λ(e)), and e is no later than t, nor than T after it was sprayed; Λ is the time integral of
Q/(K V). A film that is sprayed over before it is dry is held to be wet until what lies on it is dry. With no drying
time known T is without end, and nothing ever leaves.

The mean of the room is no bound on the plume, on the wet surface, or on what the person at the gun breathes.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from math import inf, isfinite

import numpy as np
from numpy.typing import NDArray

from kiln.errors import check_number
from kiln.mixtures import Mixture
from kiln.vapour import HIGHEST_PA, LOWEST_PA
from shared.errors import BadInput
from shared.tables import FIRE
from shared.units import S_PER_DAY, Array

COLDEST_C, WARMEST_C = 0.0, 40.0  # of a room that someone sprays in; beyond, printed limits and the model do not hold
SMALLEST_M3, LARGEST_M3 = 1.0, 1e5
MOST_EXTRACTION_M3_S = 100.0
LONGEST_S = 30.0 * S_PER_DAY  # of one spraying, and of a drying time
_SMALL = 1e-2  # λ t below which differences are told by their series
_HALVINGS = 40


@dataclass(frozen=True)
class Room:
    """A room that is sprayed in."""

    volume_m3: float  # of its air: without what stands in it
    extraction_m3_s: float | None  # None: nobody has said; counts as none
    mixing_factor: float  # K: 3 where air mixes well, 10 where it mixes badly
    temperature_c: float
    pressure_pa: float
    extraction_measured: bool = False  # printed on a fan is no measurement
    mixing_said: float | None = None  # K as someone entered it, where it is reckoned with a worse one

    def __post_init__(self) -> None:
        """Refuse what no room is; each sentence names the field, its value and what is accepted."""
        low, high = (FIRE[f"mixing_factor_{end}"].value for end in ("low", "high"))
        check_number("volume_m3", self.volume_m3, SMALLEST_M3, LARGEST_M3, "m³")
        check_number("mixing_factor", self.mixing_factor, low, high, "")
        check_number("temperature_c", self.temperature_c, COLDEST_C, WARMEST_C, "°C")
        check_number("pressure_pa", self.pressure_pa, LOWEST_PA, HIGHEST_PA, "Pa")
        if self.extraction_m3_s is not None:
            check_number("extraction_m3_s", self.extraction_m3_s, 0.0, MOST_EXTRACTION_M3_S, "m³/s")

    @property
    def change_per_s(self) -> float:
        """λ = Q/(K V) [1/s] while the extraction runs."""
        return (self.extraction_m3_s or 0.0) / (self.mixing_factor * self.volume_m3)


@dataclass(frozen=True)
class Spraying:
    """Some liquid sprayed at a steady rate."""

    start_s: float  # after any moment that all sprayings share
    duration_s: float
    liquid_m3: float
    mixture: Mixture
    dry_after_s: float | None  # "dry to handle" of the sheet; None: not known
    extraction_on: bool = True

    def __post_init__(self) -> None:
        """Refuse what no spraying is."""
        if not isfinite(self.start_s):
            raise BadInput("start_s", self.start_s, "a moment in seconds")
        check_number("duration_s", self.duration_s, 1.0, LONGEST_S, "s")
        check_number("liquid_m3", self.liquid_m3, 0.0, 10.0, "m³")
        if self.dry_after_s is not None:
            check_number("dry_after_s", self.dry_after_s, 1.0, LONGEST_S, "s")

    @property
    def end_s(self) -> float:
        """When the gun is laid down."""
        return self.start_s + self.duration_s

    @property
    def dry_s(self) -> float:
        """When its last parcel is dry; without end where no drying time is known."""
        return inf if self.dry_after_s is None else self.end_s + self.dry_after_s


@dataclass(frozen=True)
class Course:
    """Something that is let into the room's air and carried off by it, step by step; in units a cubic metre of air.

    Between two knots k and k+1: d(air)/dt = into_k - λ_k air, d(film)/dt = film_rate_k, and the whole is both.
    """

    knots_s: Array  # where a rate or the extraction changes; before the first there is nothing
    into_per_s: Array  # from each knot on
    change_per_s: Array  # λ from each knot on
    film: Array  # what is not yet in the air, at the knots
    film_per_s: Array  # how fast that grows, from each knot on

    @cached_property
    def air(self) -> Array:
        """What the air holds at the knots."""
        held = np.zeros(len(self.knots_s))
        for k, span_s in enumerate(np.diff(self.knots_s)):
            held[k + 1] = _held(held[k], self.into_per_s[k], self.change_per_s[k], span_s)
        return held

    @cached_property
    def _passed(self) -> Array:
        """Time integral of the whole up to each knot."""
        total = np.zeros(len(self.knots_s))
        for k, span_s in enumerate(np.diff(self.knots_s)):
            total[k + 1] = total[k] + self._integral(k, span_s)
        return total

    def at(self, times_s: Array) -> Array:
        """Return the whole at some times [s], in any order."""
        k, since_s = self._place(times_s)
        held = _held(self.air[k], self.into_per_s[k], self.change_per_s[k], since_s)
        whole = held + np.maximum(self.film[k] + self.film_per_s[k] * since_s, 0.0)
        return np.where(times_s < self.knots_s[0], 0.0, whole)

    def passed(self, times_s: Array) -> Array:
        """Return the time integral of the whole from the beginning to some times [s]."""
        k, since_s = self._place(times_s)
        return np.asarray(self._passed[k] + self._integral(k, since_s))

    def peak(self) -> float:
        """Return the greatest value that it ever has: at a knot, or where what comes and goes is even."""
        return float(np.max(self.at(np.concatenate((self.knots_s, self._turns())))))

    def greatest_mean(self, window_s: float) -> float:
        """Return the greatest mean over ``window_s``, wherever it begins.

        It begins where the value at its two ends is the same, or at a knot less the window; looked for on a fine grid,
        then by halving around the best.
        """
        first, last = float(self.knots_s[0]) - window_s, float(self.knots_s[-1])
        pieces = int(min(6000, max(400, 60 * (last - first) / window_s)))
        begins_s = np.unique(np.concatenate((np.linspace(first, last, pieces), self.knots_s, self.knots_s - window_s)))
        means = self._means(begins_s, window_s)
        best = int(np.argmax(means))
        low, high = begins_s[max(best - 1, 0)], begins_s[min(best + 1, len(begins_s) - 1)]
        for _ in range(_HALVINGS):
            middle = 0.5 * (low + high)
            before, after = self.at(np.array([middle, middle + window_s]))
            low, high = (middle, high) if after > before else (low, middle)
        return float(max(means[best], self._means(np.array([0.5 * (low + high)]), window_s)[0]))

    def below_s(self, limit: float) -> float | None:
        """Return from when on it stays below ``limit``: at the last knot or after; None: it never does."""
        held, rate = float(self.air[-1] + self.film[-1]), float(self.change_per_s[-1])
        if held < limit:
            return float(self.knots_s[-1])
        if rate <= 0.0 or limit <= 0.0 or self.film[-1] > 0.0:
            return None
        return float(self.knots_s[-1] + np.log(held / limit) / rate)

    def _means(self, begins_s: Array, window_s: float) -> Array:
        return (self.passed(begins_s + window_s) - self.passed(begins_s)) / window_s

    def _place(self, times_s: Array) -> tuple[NDArray[np.intp], Array]:
        k = np.maximum(np.searchsorted(self.knots_s, times_s, side="right") - 1, 0)
        return k, np.maximum(times_s - self.knots_s[k], 0.0)

    def _integral(self, k: NDArray[np.intp] | int, since_s: Array | float) -> Array:
        """Time integral of the whole from a knot on."""
        gone = _gone(self.change_per_s[k], since_s)
        air = self.air[k] * gone + self.into_per_s[k] * _gone_twice(self.change_per_s[k], since_s)
        return np.asarray(air + self.film[k] * since_s + 0.5 * self.film_per_s[k] * np.square(since_s))

    def _turns(self) -> Array:
        """Times between knots at which the whole stands still."""
        spans_s, rate = np.diff(self.knots_s), self.change_per_s[:-1]
        into, film = self.into_per_s[:-1], self.film_per_s[:-1]
        with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
            since_s = np.log((rate * self.air[:-1] - into) / film) / rate
        inside = np.isfinite(since_s) & (since_s > 0.0) & (since_s < spans_s)
        return np.asarray(self.knots_s[:-1][inside] + since_s[inside])


def course(room: Room, sprayings: Sequence[Spraying], per_m3: Sequence[float], *, late: bool) -> Course:
    """Return the course of something that a cubic metre of each liquid holds ``per_m3`` of, in units a m³ of room air.

    ``late``: the most that late drying can make it (``at_most``); else all evaporates as it is sprayed. ``per_m3``: one
    a spraying, at least 0. Raises BadInput without sprayings, or where the two do not fit.
    """
    if not sprayings or len(per_m3) != len(sprayings):
        raise BadInput("sprayings", len(sprayings), "at least one, each with what its liquid holds")
    delays_s = _delays_s(sprayings) if late else [0.0] * len(per_m3)
    pairs = list(zip(sprayings, delays_s, strict=True))
    edges_s = [
        t for one, delay_s in pairs for t in (one.start_s, one.end_s, one.start_s + delay_s, one.end_s + delay_s)
    ]
    knots_s = np.unique([t for t in edges_s if isfinite(t)])
    into, film, film_rate = np.zeros((3, len(knots_s)))
    for (one, delay_s), each in zip(pairs, per_m3, strict=True):
        rate = one.liquid_m3 * each / one.duration_s / room.volume_m3
        sprayed = _under_way(knots_s, one.start_s, one.end_s)
        dry = _under_way(knots_s, one.start_s + delay_s, one.end_s + delay_s)
        into += rate * dry
        film_rate += rate * (sprayed.astype(float) - dry)
        film += rate * _wet_s(knots_s, one, delay_s)
    running = np.array([_extracts(sprayings, t) for t in knots_s])
    return Course(knots_s, into, np.where(running, room.change_per_s, 0.0), film, film_rate)


def greatest_rate(sprayings: Sequence[Spraying], per_m3: Sequence[float]) -> float:
    """Return the greatest rate at which it is sprayed, of all guns that run at once, in units a second."""
    rates = [one.liquid_m3 * each / one.duration_s for one, each in zip(sprayings, per_m3, strict=True)]
    at_starts = (
        sum(rate for rate, one in zip(rates, sprayings, strict=True) if one.start_s <= other.start_s < one.end_s)
        for other in sprayings
    )
    return max(at_starts, default=0.0)


def _delays_s(sprayings: Sequence[Spraying]) -> list[float]:
    """How long a parcel of each spraying may stay in its film [s]; without end where that is not known.

    What is sprayed before an earlier film is dry may lie on it, and keep in what is left there until it is dry itself.
    """
    delays_s, wet_until_s = [0.0] * len(sprayings), [0.0] * len(sprayings)
    later: list[int] = []
    for here in sorted(range(len(sprayings)), key=lambda k: sprayings[k].start_s, reverse=True):
        one = sprayings[here]
        over_s = [wet_until_s[k] for k in later if sprayings[k].start_s < one.dry_s]
        wet_until_s[here] = max([one.dry_s, *over_s])
        own_s = inf if one.dry_after_s is None else one.dry_after_s
        delays_s[here] = own_s if wet_until_s[here] == one.dry_s else wet_until_s[here] - one.start_s
        later.append(here)
    return delays_s


def _extracts(sprayings: Sequence[Spraying], at_s: float) -> bool:
    """Whether the extraction runs: no gun at work says it is off, and none of those taken up last does."""
    begun = [one for one in sprayings if one.start_s <= at_s]
    last_s = max(one.start_s for one in begun)
    return all(one.extraction_on for one in begun if at_s < one.end_s or one.start_s == last_s)


def _under_way(knots_s: Array, start_s: float, end_s: float) -> NDArray[np.bool_]:
    return np.asarray((knots_s >= start_s) & (knots_s < end_s))


def _wet_s(knots_s: Array, one: Spraying, delay_s: float) -> Array:
    """Seconds of spraying whose liquid is not yet dry at the knots; nought, to the last bit, once all of it is."""
    sprayed_s = np.clip(knots_s - one.start_s, 0.0, one.duration_s)
    dry_s = np.clip(knots_s - (one.start_s + delay_s), 0.0, one.duration_s)
    return np.where(knots_s >= one.end_s + delay_s, 0.0, np.maximum(sprayed_s - dry_s, 0.0))


def _held(begun: Array | float, into: Array | float, rate: Array | float, since_s: Array | float) -> Array:
    """What the air holds some time after it held ``begun``."""
    return np.asarray(begun * np.exp(-np.multiply(rate, since_s)) + into * _gone(rate, since_s))


def _gone(rate: Array | float, since_s: Array | float) -> Array:
    """(1 - exp(-λ t))/λ [s], which is t where λ is 0."""
    x = np.multiply(rate, since_s)
    return np.asarray(since_s * np.where(x > 0.0, -np.expm1(-x) / np.where(x > 0.0, x, 1.0), 1.0))


def _gone_twice(rate: Array | float, since_s: Array | float) -> Array:
    """Its time integral, (t - gone)/λ [s²]; half of t² where λ is 0."""
    x = np.multiply(rate, since_s)
    series = 0.5 - x / 6.0 + x**2 / 24.0 - x**3 / 120.0 + x**4 / 720.0
    whole = np.where(x > _SMALL, x, 1.0)
    return np.asarray(np.square(since_s) * np.where(x > _SMALL, (x + np.expm1(-x)) / whole**2, series))
