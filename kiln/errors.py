"""Errors of the physics.

OutOfRange is a BadInput: whoever asks a formula outside its source's range hears which quantity, its
value, and the range.
"""

from __future__ import annotations

from shared.errors import BadInput


class OutOfRange(BadInput):
    """A value lies outside the range that its source covers."""

    def __init__(self, name: str, value: float, low: float, high: float, unit: str) -> None:
        """Say that ``name`` is ``value`` where ``low`` to ``high`` ``unit`` was wanted."""
        super().__init__(name, f"{value:g} {unit}", f"{low:g} to {high:g} {unit}")
        self.low, self.high = low, high
