"""Flags on single readings: the value is never altered, only judged, with the reason."""

from __future__ import annotations

from shared.store.records import Quality, Quantity
from shared.units import MS_PER_MINUTE

# What a workshop or kiln probe can truthfully report. Just over 100 %RH is a sensor's tolerance in
# condensing air, the moment that matters, so it is taken as saturated and not refused;
# nought is what a dead humidity element says, never air.
MEASURABLE = {Quantity.TEMPERATURE_C: (-45.0, 125.0), Quantity.RH_PCT: (1.0, 104.0)}
CLOCK_TOLERANCE_MS = 5 * MS_PER_MINUTE


def judge(quantity: Quantity, value: float, at_ms: int, arrived_ms: int) -> Quality:
    """Return the flag for one reading of ``quantity``, stamped ``at_ms`` and arrived at ``arrived_ms``."""
    low, high = MEASURABLE[quantity]
    if not low <= value <= high:
        return Quality.OUT_OF_RANGE
    if at_ms > arrived_ms + CLOCK_TOLERANCE_MS:
        return Quality.CLOCK_AHEAD
    return Quality.GOOD
