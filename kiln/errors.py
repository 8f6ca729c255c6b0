"""Errors of the physics.

OutOfRange is a BadInput: whoever asks a formula outside its source's range hears which quantity, its
value, and the range.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from shared.errors import BadInput
from shared.units import Array


class OutOfRange(BadInput):
    """A value lies outside the range that its source covers."""

    def __init__(self, name: str, value: float, low: float, high: float, unit: str) -> None:
        """Say that ``name`` is ``value`` where ``low`` to ``high`` ``unit`` was wanted."""
        super().__init__(name, f"{value:g} {unit}", f"{low:g} to {high:g} {unit}")
        self.low, self.high = low, high


def check_number(name: str, value: float, low: float, high: float, unit: str) -> None:
    """Raise OutOfRange for one number outside ``low`` to ``high``, and for NaN."""
    if not low <= value <= high:
        raise OutOfRange(name, value, low, high, unit)


def check_range(name: str, values: Array, low: float | Array, high: float | Array, unit: str) -> None:
    """Raise OutOfRange for the first of ``values`` outside ``low`` to ``high``; NaN passes."""
    if np.min(values) >= np.max(low) and np.max(values) <= np.min(high):
        return
    values, low, high = np.broadcast_arrays(values, low, high)
    wrong = (values < low) | (values > high)
    if np.any(wrong):
        raise OutOfRange(name, float(values[wrong][0]), float(low[wrong][0]), float(high[wrong][0]), unit)


def refuse_unless(
    accepted: NDArray[np.bool_] | bool, name: str, values: Array, low: float, high: float, unit: str
) -> None:
    """Raise OutOfRange naming the first of ``values`` that is not ``accepted``; NaN is let through."""
    wrong = np.atleast_1d(~np.asarray(accepted, dtype=bool) & ~np.isnan(values))
    if np.any(wrong):
        raise OutOfRange(name, float(np.atleast_1d(values)[wrong].flat[0]), low, high, unit)
