"""From which mass on lifting by hand is to be looked at, by published figures: no mass is one that harms nobody."""

from __future__ import annotations

import math

from kiln.control import Control
from kiln.records import Z80, Three
from shared.tables import constants


def looked_at_kg() -> float:
    """Return the mass [kg] from which on a lift is to be looked at: the lowest published figure (``reclaimed.csv``).

    Source: HSE INDG143, from memory.
    """
    table = constants("reclaimed")
    return min(table[name].value for name in ("lift_least", "lift_most", "lift_constant"))


def control_of(most_kg: float | None) -> Control:
    """Return what can be said of lifting a piece that may weigh up to ``most_kg``; None: nobody knows what it weighs.

    Below the figure nothing is shown: a long, wet, slippery piece hurts at any mass.
    """
    if most_kg is None or not math.isfinite(most_kg):
        return Control.CANT_SAY
    return Control.OVER if most_kg >= looked_at_kg() else Control.NOT_SHOWN


def as_weighed_kg(mass_kg: float, scale_error_kg: float) -> Three:
    """Return the band that a scale with this standard error [kg] leaves to what it showed [kg]."""
    return max(0.0, mass_kg - Z80 * scale_error_kg), mass_kg, mass_kg + Z80 * scale_error_kg


def with_water_kg(dry_kg: Three, mc_pct: Three) -> Three:
    """Return the mass [kg] of wood of this oven-dry mass [kg] at this moisture content [%MC], each with its band.

    m = m0 (1 + u/100); the two errors are independent: half-bands are added in squares, the upper ones and the lower
    ones each by themselves.
    """
    wet = tuple(1.0 + one / 100.0 for one in mc_pct)
    middle = dry_kg[1] * wet[1]
    lower = math.hypot((dry_kg[1] - dry_kg[0]) * wet[1], dry_kg[1] * (wet[1] - wet[0]))
    upper = math.hypot((dry_kg[2] - dry_kg[1]) * wet[1], dry_kg[1] * (wet[2] - wet[1]))
    return max(0.0, middle - lower), middle, middle + upper
