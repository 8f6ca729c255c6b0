"""Whether a synthetic board is truly fit for its use, by the truth's own physics and the use's own conditions.

The conditions are those of ``uses.csv`` and ``limits.csv``, worded as in the product; every figure that is held against
them is the truth's: the middle of the section by the two-dimensional march, rest by that very wood's isotherm and
hysteresis, the companion a march of the same wood in the room's true air, the days to come as they came.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import truth
from verdict_boards import Piece

from kiln.limits import USUAL


@dataclass(frozen=True)
class TrueFitness:
    """How a board truly stood at the end of one day in the room. %MC."""

    off_pct: float  # of its middle from where it rests in the use's air, drying
    too_wet: bool
    moisture: bool
    level: bool
    steady: bool
    room: bool
    apart_pct: float  # core less shell
    drift_pct: float
    rest_pct: float  # of the companion
    over_pct: float  # wetter than the use takes; at most nought where it is not

    @property
    def fit(self) -> bool:
        """Whether all conditions of the use held."""
        return self.moisture and self.level and self.steady and self.room


def true_fitness(one: Piece, day: int) -> TrueFitness:
    """Return how a board truly stood at the end of a day in the room; it was followed for some days longer."""
    use, wood = one.shared.use, one.wood
    at = one.shared.out_days + day
    target = target_pct(one)
    middle, core, shell = through(one.line_pct[at])
    off = middle - target
    over = off - use.tolerance_mc_pct
    dry = middle < wood.wetting_ratio * target - use.tolerance_mc_pct
    drift = true_drift_pct(one, day)
    here = one.shared.before_days + day
    return TrueFitness(
        off_pct=off,
        too_wet=over > 0.0,
        moisture=over <= 0.0 and not dry,
        level=abs(core - shell) <= use.gradient_mc_pct,
        steady=abs(drift) <= USUAL.steady,
        room=_room(one, here, target),
        apart_pct=core - shell,
        drift_pct=drift,
        rest_pct=float(one.resting.mean_pct[here]),
        over_pct=over,
    )


def target_pct(one: Piece) -> float:
    """Where this very board rests in the use's air when it has dried there [%MC]."""
    use = one.shared.use
    held = truth.hailwood_horrobin(use.destination_temperature_c, use.destination_rh_pct / 100.0)
    return 100.0 * one.wood.isotherm_scale * float(held)


def through(line_pct: np.ndarray) -> tuple[float, float, float]:
    """Mean through the thickness, over its middle third and over its outer tenths [%MC], of a line from the middle."""
    place = truth.positions_m(1.0, len(line_pct), 1.6)
    fine = (np.arange(3000) + 0.5) / 3000.0
    values = np.interp(fine, place, line_pct)
    return float(values.mean()), float(values[fine < 1.0 / 3.0].mean()), float(values[fine > 0.8].mean())


def true_drift_pct(one: Piece, day: int) -> float:
    """By how much it moved over the use's steady days beyond its companion; the lesser of that and of all it moved."""
    days, at, here = round(one.shared.use.steady_days), one.shared.out_days + day, one.shared.before_days + day
    moved = one.mean_pct[at] - one.mean_pct[at - days]
    own = moved - (one.resting.mean_pct[here] - one.resting.mean_pct[here - days])
    return float(min(moved, own, key=abs))


def _room(one: Piece, here: int, target: float) -> bool:
    use = one.shared.use
    if use.room_tolerance_mc_pct is None:
        return True
    held = one.resting.mean_pct[here - round(use.room_days) : here + round(use.room_ahead_days) + 1]
    most, least = target + use.room_tolerance_mc_pct, one.wood.wetting_ratio * target - use.room_tolerance_mc_pct
    return bool((held <= most).all() and (held >= least).all())


def first_fit_day(one: Piece, days: int) -> float:
    """First day in the room, day by day, on which it is truly fit; infinite where none of them is."""
    found = (day for day in range(1, days + 1) if true_fitness(one, day).fit)
    return float(next(found, np.inf))


def twins_agree(some: list[Piece], day: int) -> bool:
    """Whether all of them truly lie alike far from their own rest, within the limit for twins."""
    off = [true_fitness(one, day).off_pct for one in some]
    return max(off) - min(off) <= USUAL.twins_apart
