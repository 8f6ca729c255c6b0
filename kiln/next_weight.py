"""What a board ought to weigh now, by its last weight and by how far its projection has moved since.

How much oven-dry wood there is drops out: a board's last weight, on which its projection rests, fixes it together with
the board's moisture then, M1, so that m2 = m1 (1 + M2) / (1 + M1). What is left to be wrong about is the change: the
pace of the ensemble's members, taken to last for a month; what the model's lapse may do meanwhile (``kiln.lapse``); how
near the projection keeps to the last weight; and the scale. A test holds the band against the ensemble's own.
"""

from __future__ import annotations

import math

import numpy as np

from kiln import lapse
from kiln.likelihood import DOES_NOT_FIT_SE
from kiln.records import WEIGHED, Z80, Projection
from shared.units import MS_PER_DAY

PACE_LASTS_DAYS = 30.0  # a member that is quick today was so for about this long; ours
# A weight is asked about where it lies outside what is expected by more than the whole width of that band. The band
# holds 8 in 10, so this is 3.8 standard deviations from its middle: of 8000 right weights one is asked about. Ours.
WIDTHS_OFF = 1.0
KEPT_TO = 0.003  # of the weight: how near the members keep to what was weighed last, one standard deviation. Ours


def expected_kg(
    projection: Projection, last_kg: float, scale_error_kg: float, last_ms: int, at_ms: int
) -> tuple[float, float, float] | None:
    """Return p10, p50 and p90 of a board's weight at ``at_ms``.

    None where the projection does not reach that far, does not rest on the last weight, or does not believe it.
    ``last_kg``: what was weighed of it at ``last_ms``, with one standard error of the scale; nothing was cut off since.
    """
    moments = projection.at_ms
    if not moments[0] <= last_ms <= at_ms <= moments[-1] or not _believed(projection, last_ms):
        return None
    then, now = (float(np.interp(one, moments, projection.mean.p50)) / 100.0 for one in (last_ms, at_ms))
    dry_kg = last_kg / (1.0 + then)
    pace, lapsed = _pace_spread(projection, now - then, last_ms, at_ms), _lapse(then, now, last_ms, at_ms)
    spread_kg = math.hypot(dry_kg * pace, dry_kg * lapsed, KEPT_TO * last_kg, scale_error_kg)
    middle_kg = dry_kg * (1.0 + now)
    return middle_kg - Z80 * spread_kg, middle_kg, middle_kg + Z80 * spread_kg


def doubtful_kg(expected: tuple[float, float, float]) -> tuple[float, float]:
    """Return the weights beyond which a board is weighed again before its weight is believed."""
    low, _middle, high = expected
    off = WIDTHS_OFF * (high - low)
    return low - off, high + off


def change_error_kg(scale_error_kg: float) -> float:
    """Return half the 8-in-10 band that the scale leaves to the change between two weights, each with this error."""
    return Z80 * math.sqrt(2.0) * scale_error_kg


def likely_kg(projection: Projection, at_ms: int) -> float:
    """Return about what a board weighs that was never weighed, by what is held of its wood."""
    mean_mc_pct = float(np.interp(at_ms, projection.at_ms, projection.mean.p50))
    return projection.oven_dry_mass_kg[1] * (1.0 + mean_mc_pct / 100.0)


def _misfits(projection: Projection, last_ms: int) -> list[float]:
    return [one.misfit for one in projection.measured if one.kind in WEIGHED and one.at_ms == last_ms]


def rests_on(projection: Projection, last_ms: int) -> bool:
    """Return whether a projection knows of the weight of this moment."""
    return bool(_misfits(projection, last_ms))


def _believed(projection: Projection, last_ms: int) -> bool:
    weighed = _misfits(projection, last_ms)
    return bool(weighed) and abs(weighed[-1]) <= DOES_NOT_FIT_SE


def _pace_spread(projection: Projection, change: float, last_ms: int, at_ms: int) -> float:
    """One standard deviation [kg/kg] of the change by today's pace, the wider the quicker the board was before."""
    low, middle, high = (one / 100.0 for one in projection.loss_pct_per_day)
    days = (at_ms - last_ms) / MS_PER_DAY
    at_todays_pace = -middle * days
    quicker = change / at_todays_pace if at_todays_pace * change > 0.0 else 1.0
    return (high - low) / 2.0 / Z80 * min(days, PACE_LASTS_DAYS) * max(1.0, quicker)


def _lapse(then: float, now: float, last_ms: int, at_ms: int) -> float:
    """One standard deviation [kg/kg] of what the lapse changes by between two moments."""
    days, means = np.array([last_ms, at_ms]) / MS_PER_DAY, np.array([then, now])
    covariance = lapse.between(days, days, means, means)
    return math.sqrt(max(0.0, float(covariance[0, 0] + covariance[1, 1] - 2.0 * covariance[0, 1])))
