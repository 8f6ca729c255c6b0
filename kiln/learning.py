"""What a yard's finished boards teach: how fast its wood dries, how far to trust the model, what its wood survives.

Nothing here changes what is stored: it is worked out from the boards that were closed with an outcome, and gone again
when that entry is undone or the setting is switched off.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from kiln.records import Measured, Projection
from kiln.stress import APPLIES_ABOVE_MC_PCT
from shared.tables import constants
from shared.units import MS_PER_DAY

HARMED_SHARE = 0.9  # of the loss at which a board of this yard was harmed, as the yard's own limit; judgement
MOST_MISFIT_SE = 4.0  # a measurement that does not fit is a slip, not the model's lapse
LEAST_FACTOR, MOST_FACTOR = 0.7, 2.0


@dataclass(frozen=True)
class Lived:
    """A board dried to its end: how well the model followed it, its greatest loss, and whether it was harmed."""

    name: str
    botanical_name: str
    misfits: tuple[float, ...]  # of its measurements [standard errors]
    greatest_loss_pct_per_day: float | None  # while above the moisture at which it counts; None: it never was
    harmed: bool  # checks, honeycomb or collapse were found


def lived(name: str, botanical_name: str, projection: Projection, *, harmed: bool) -> Lived:
    """Return what is to be learned from a finished board's projection."""
    return Lived(name, botanical_name, misfits(projection.measured), greatest_loss(projection), harmed)


def misfits(measured: Sequence[Measured]) -> tuple[float, ...]:
    """Of what was weighed after the first time: the first meets no expectation but the prior's."""
    return tuple(m.misfit for m in measured[1:] if abs(m.misfit) <= MOST_MISFIT_SE and m.ground)


def greatest_loss(projection: Projection) -> float | None:
    """The greatest loss of a day so far by the middle member [%MC/day], while it counted; None: it never did."""
    at_ms, mean = projection.at_ms, projection.mean.p50
    past = at_ms <= projection.known_until_ms
    days = np.diff(at_ms[past]) / MS_PER_DAY
    loss = -np.diff(mean[past]) / np.maximum(days, 1e-9)
    counts = (mean[past][:-1] > APPLIES_ABOVE_MC_PCT) & (days >= 0.5)
    return float(loss[counts].max()) if counts.any() else None


def lapse_factor(finished: Sequence[Lived]) -> float:
    """By how much more than is believed the model misses this yard's boards: 1 without any, and drawn towards it.

    Were the errors as believed, squared misfits would average 1; ours count for ``lapse_boards_counted`` of them.
    """
    misfits = np.array([one for board in finished for one in board.misfits])
    own = constants("lots")["lapse_boards_counted"].value
    squared = (own + float(np.sum(misfits**2))) / (own + len(misfits))
    return float(np.clip(np.sqrt(squared), LEAST_FACTOR, MOST_FACTOR))


def own_safe_loss(botanical_name: str, finished: Sequence[Lived], most_pct_per_day: float | None) -> float | None:
    """The yard's own safe loss for a wood [%MC/day], where a board was harmed at less than the published; else None.

    It is never higher than the published one: boards that lost more and show nothing prove nothing of the next.
    """
    harmed = [
        board.greatest_loss_pct_per_day
        for board in finished
        if board.harmed and board.botanical_name == botanical_name and board.greatest_loss_pct_per_day is not None
    ]
    if not harmed:
        return None
    own = HARMED_SHARE * min(harmed)
    return own if most_pct_per_day is None or own < most_pct_per_day else None
