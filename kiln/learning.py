"""What a yard's finished boards teach: how fast its wood dries, how far to trust the model, what its wood survives.

Nothing here changes what is stored: it is worked out from the boards that were closed with an outcome, and gone again
when that entry is undone or the setting is switched off.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from kiln.records import Measured, Projection
from kiln.stress import APPLIES_ABOVE_MC_PCT, LossLimit, at_thickness
from shared.tables import constants
from shared.units import MS_PER_DAY

HARMED_SHARE = 0.9  # of the loss at which a board of this yard was harmed, as the yard's own limit; judgement
MOST_MISFIT_SE = 4.0  # a measurement that does not fit is a slip, not the model's lapse
LEAST_FACTOR, MOST_FACTOR = 0.7, 2.0


@dataclass(frozen=True)
class Harmed:
    """A board on which harm was found, and the most that it had lost in a day by then."""

    name: str
    botanical_name: str
    thickness_m: float
    found: str  # what had happened to it: "checked"
    loss_pct_per_day: float


def misfits(measured: Sequence[Measured]) -> tuple[float, ...]:
    """Of what was weighed after the first time: the first meets no expectation but the prior's."""
    return tuple(m.misfit for m in measured[1:] if abs(m.misfit) <= MOST_MISFIT_SE and m.ground)


def greatest_loss(projection: Projection, until_ms: int) -> float | None:
    """The greatest loss of a day until a moment by the middle member [%MC/day], while it counted; None: it never did.

    Nothing beyond the last hour of logged air counts.
    """
    at_ms, mean = projection.at_ms, projection.mean.p50
    past = at_ms <= min(until_ms, projection.known_until_ms)
    days = np.diff(at_ms[past]) / MS_PER_DAY
    loss = -np.diff(mean[past]) / np.maximum(days, 1e-9)
    counts = (mean[past][:-1] > APPLIES_ABOVE_MC_PCT) & (days >= 0.5)
    return float(loss[counts].max()) if counts.any() else None


def lapse_factor(finished: Sequence[tuple[float, ...]]) -> float:
    """By how much more than is believed the model misses this yard's boards: 1 without any, and drawn towards it.

    ``finished``: the misfits of each finished board. Were the errors as believed, squared misfits would average 1;
    ours count for ``lapse_boards_counted`` of them.
    """
    misfits = np.array([one for board in finished for one in board])
    own = constants("lots")["lapse_boards_counted"].value
    squared = (own + float(np.sum(misfits**2))) / (own + len(misfits))
    return float(np.clip(np.sqrt(squared), LEAST_FACTOR, MOST_FACTOR))


def own_safe_loss(botanical_name: str, thickness_m: float, harmed: Sequence[Harmed]) -> LossLimit | None:
    """The yard's own limit for a wood [%MC/day]: somewhat less than the least loss at which a board of it was harmed.

    None where none was. It stands beside the published one, never in its stead (``stress.survived``): boards that lost
    more and show nothing prove nothing of the next. A thicker board than the harmed one bears less.
    """
    found = [
        (at_thickness(one.loss_pct_per_day, one.thickness_m, thickness_m, botanical_name), one)
        for one in harmed
        if one.botanical_name == botanical_name
    ]
    if not found:
        return None
    least, board = min(found, key=lambda pair: pair[0])
    told = f"this yard's own: {board.name} {board.found} at {board.loss_pct_per_day:.1f} % a day"
    return LossLimit(HARMED_SHARE * least, told, told)
