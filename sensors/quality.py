"""Flags on single readings: the value is never altered, only judged, with the reason.

What a reading alone tells is judged here, as it arrives; what its neighbours tell, in ``sensors.second_look``.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

import numpy as np
from numpy.typing import NDArray

from shared.store.records import Quality, Quantity
from shared.tables import rows
from shared.units import MS_PER_HOUR, MS_PER_MINUTE, MS_PER_S

CLOCK_TOLERANCE_MS = 5 * MS_PER_MINUTE

# Silence by a probe's own rhythm; judgement. Of a probe that reports only changes the usual step is no guide
# to a calm night: its longest usual step counts too.
MISSED_STEPS = 5
LONGEST_USUAL_SHARE, MISSED_LONGEST = 0.95, 2
SOONEST_SILENT_MS = 15 * MS_PER_MINUTE
STEPS_TO_KNOW = 6


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


def rhythm_s(at_ms: NDArray[np.int64]) -> float:
    """Return the median step [s] between a probe's readings at ``at_ms`` [n] (UTC ms, in any order).

    Readings of one moment count once; NaN for fewer than two moments.
    """
    steps_ms = np.diff(np.unique(at_ms))
    return float(np.median(steps_ms)) / MS_PER_S if len(steps_ms) else float("nan")


def silent_after_ms(at_ms: NDArray[np.int64], fixed_limit_ms: int) -> int:
    """Return after how many ms without a reading a probe counts as silent, by its own rhythm.

    ``at_ms`` [n]: when its last readings were (UTC ms, in any order; a day or two of them). The greatest of
    MISSED_STEPS of its median step, MISSED_LONGEST times the step that LONGEST_USUAL_SHARE of its steps do
    not exceed, and SOONEST_SILENT_MS. With fewer than STEPS_TO_KNOW steps its rhythm is not known:
    ``fixed_limit_ms``, which otherwise does not count.
    """
    steps_ms = np.diff(np.unique(at_ms))
    if len(steps_ms) < STEPS_TO_KNOW:
        return fixed_limit_ms
    longest_ms = float(np.quantile(steps_ms, LONGEST_USUAL_SHARE, method="lower"))
    return max(round(MISSED_STEPS * float(np.median(steps_ms))), round(MISSED_LONGEST * longest_ms), SOONEST_SILENT_MS)
