"""What a load cell under a stack, or a board hanging on one, tells: its weight hour by hour, and what moved it."""

from kiln.load_cell.records import Anchor, Cell, Continuous, Event, Kind, Tare, value
from kiln.load_cell.weight import Thinned, continuous_weight, no_weights, thinned

__all__ = [
    "Anchor",
    "Cell",
    "Continuous",
    "Event",
    "Kind",
    "Tare",
    "Thinned",
    "continuous_weight",
    "no_weights",
    "thinned",
    "value",
]
