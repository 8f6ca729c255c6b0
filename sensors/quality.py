"""Flags on single readings: the value is never altered, only judged, with the reason.

What a reading alone tells is judged here, as it arrives; what its neighbours tell, in ``sensors.second_look``.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

from shared.store.records import Quality, Quantity
from shared.tables import rows
from shared.units import MS_PER_HOUR, MS_PER_MINUTE

CLOCK_TOLERANCE_MS = 5 * MS_PER_MINUTE


@dataclass(frozen=True)
class Jumps:
    """How far is too far for a reading that comes back at once; in the unit of its quantity."""

    far: float  # from the median of its neighbours
    agree: float  # how near to that median the neighbours lie
    within_ms: int  # what is further off is no neighbour
    per_minute: float


@dataclass(frozen=True)
class Stillness:
    """For how long a figure may stay while its sibling, of the same probe, moves."""

    sibling: Quantity
    after_ms: int
    sibling_moved: float  # in the sibling's unit
    below: float  # from this figure on, the end of what can be measured, it may stay for ever


@dataclass(frozen=True)
class Limits:
    """What a probe can truthfully report of one quantity; None: not judged."""

    low: float
    high: float
    jumps: Jumps | None
    stillness: Stillness | None


@cache
def limits() -> dict[Quantity, Limits]:
    """Return the limits of every quantity: ``shared/tables/probe_limits.csv``, where their sources stand."""
    return {Quantity(row["quantity"]): _limits(row) for row in rows("probe_limits")}


def _limits(row: dict[str, str]) -> Limits:
    jumps = stillness = None
    if row["spike_far"]:
        within_ms = round(float(row["spike_within_min"]) * MS_PER_MINUTE)
        jumps = Jumps(float(row["spike_far"]), float(row["spike_agree"]), within_ms, float(row["rate_per_min"]))
    if row["sibling"]:
        after_ms = round(float(row["stuck_after_h"]) * MS_PER_HOUR)
        below = float(row["stuck_below"] or "inf")
        stillness = Stillness(Quantity(row["sibling"]), after_ms, float(row["stuck_sibling_moved"]), below)
    return Limits(float(row["low"]), float(row["high"]), jumps, stillness)


MEASURABLE = {quantity: (one.low, one.high) for quantity, one in limits().items()}


def judge(quantity: Quantity, value: float, at_ms: int, arrived_ms: int) -> Quality:
    """Return the flag for one reading of ``quantity``, stamped ``at_ms`` and arrived at ``arrived_ms`` (UTC ms).

    Its value is in the unit that the quantity's name says; the limits themselves are good, NaN never is.
    """
    low, high = MEASURABLE[quantity]
    if not low <= value <= high:
        return Quality.OUT_OF_RANGE
    if at_ms > arrived_ms + CLOCK_TOLERANCE_MS:
        return Quality.CLOCK_AHEAD
    return Quality.GOOD
