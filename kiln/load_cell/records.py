"""What is known of a load cell, and what is said of the weight on it: records without work in them."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from kiln.errors import OutOfRange
from kiln.records import Z80
from shared.errors import BadInput
from shared.tables import constants
from shared.units import Array

Times = NDArray[np.int64]
Flags = NDArray[np.bool_]
Indices = NDArray[np.intp]


class Tare(NamedTuple):
    """A reading [kg] with nothing on the cell."""

    at_ms: int
    reading_kg: float


class Anchor(NamedTuple):
    """What the load weighs [kg], found by other means, and one standard error of that."""

    at_ms: int
    mass_kg: float
    error_kg: float


@dataclass(frozen=True)
class Cell:
    """A load cell and what lies on or hangs from it; raises OutOfRange for a number that cannot be.

    ``error_kg``: the cell's stated error, taken as one standard error. ``oven_dry_kg`` and ``area_m2`` (of wood
    in the air) give "faster than wood can" its scale; without them shares of the load stand in.
    """

    error_kg: float
    tares: tuple[Tare, ...] = ()
    anchors: tuple[Anchor, ...] = ()
    oven_dry_kg: float | None = None
    area_m2: float | None = None

    def __post_init__(self) -> None:
        _positive("error_kg", self.error_kg, "kg")
        _positive("oven_dry_kg", self.oven_dry_kg, "kg")
        _positive("area_m2", self.area_m2, "m²")
        for tare in self.tares:
            _finite("tare reading_kg", tare.reading_kg)
        for anchor in self.anchors:
            _positive("anchor mass_kg", anchor.mass_kg, "kg")
            _positive("anchor error_kg", anchor.error_kg, "kg")


class Kind(StrEnum):
    """What happened to the weight, in plain words."""

    TARE = "tare"
    UNLOADED = "unloaded"
    EXCURSION = "excursion"
    LOAD_CHANGED = "load changed"
    RAIN = "rain"
    GAP = "gap"
    WET_SINCE = "wet since"


@dataclass(frozen=True)
class Event:
    """Something that happened between two times; ``step_kg`` with one standard error, and a sentence that tells it.

    ``step_kg``: for a tare how far the zero moved since the one before, for rain the most that lay on the wood, for an
    excursion the farthest from the line; NaN where there is none. ``settled``: False while it may yet turn out
    otherwise (too few readings since).
    """

    kind: Kind
    start_ms: int
    end_ms: int
    step_kg: float
    error_kg: float
    sentence: str
    settled: bool = True


@dataclass(frozen=True)
class Continuous:
    """The weight hour by hour: arrays of one length, rising in time, only hours in which there were readings.

    ``at_ms``: the hour's middle. ``mass_kg``: what is on the cell. ``sd_kg``: scatter of one hour about the line of
    the days before it (noise, wind, what a day's temperature does to cell and wood), one standard deviation.
    ``common_sd_kg``: the error that the hours since a tare or weigh-in have in common. ``epoch``: counts the loads.
    ``usable``: neither handled nor wet. ``absolute``: a tare or weigh-in says what this epoch weighs.
    ``shares``: hours of one number have their common error in common. ``notes``: what must be said with it.
    """

    at_ms: Times
    mass_kg: Array
    sd_kg: Array
    common_sd_kg: Array
    epoch: Indices
    usable: Flags
    absolute: Flags
    shares: Indices
    events: tuple[Event, ...]
    notes: tuple[str, ...]

    def band_kg(self, hour: int) -> float:
        """Return half the width of the band that is to hold eight in ten, of the weight of one hour."""
        return Z80 * float(np.hypot(self.sd_kg[hour], self.common_sd_kg[hour]))


@dataclass(frozen=True)
class Hours:
    """Readings gathered by the hour."""

    number: Times  # hours since 1970
    median_kg: Array
    noise_kg: Array  # of one reading, by their second differences
    spread_kg: Array  # of one reading about the median
    count: Indices
    first: Indices  # the hour's readings are [first, first + count) of those given


def value(name: str) -> float:
    """Return one of the constants of ``load_cell.csv``, in the unit that its row names."""
    return constants("load_cell")[name].value


def _positive(name: str, given: float | None, unit: str) -> None:
    if given is not None and not 0.0 < given < np.inf:
        raise OutOfRange(name, given, 0.0, np.inf, unit)


def _finite(name: str, given: float) -> None:
    if not np.isfinite(given):
        raise BadInput(name, given, "a number in kg")
