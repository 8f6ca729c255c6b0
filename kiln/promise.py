"""How far a piece will move: from what it holds today to where an air would leave it in the end, with a band.

For each air: the moisture at which this wood comes to rest there, and what width and thickness do on the way. The
driest and the wettest week on record are taken as if they lasted; a house's air is a usual one.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from kiln import movement, sorption
from kiln.air import AirHours
from kiln.errors import OutOfRange, refuse_unless
from kiln.outlook import emc_or_nearest
from kiln.records import Z80, Three
from shared.tables import Species, constants, limit
from shared.units import Array

WEEK_HOURS = 7 * 24
_STEP_HOURS = 6  # between the weeks that are looked at
LIMITS = (
    "The pieces are free to move: glue, braces and a frame hold them back, and carry the rest as stress.",
    "Wood is evenly moist at the end. A thin plate comes to that in weeks, a thick board in a year or more, and none "
    "does within the week or the season that is told of.",
    "Single boards scatter about a table's shrinkage, and rings are not at one angle all over a board: the band has "
    "the first, not the second.",
    "Wood that dries rests higher in the same air than wood that gains. Between the two it may stay as it is.",
)


@dataclass(frozen=True)
class Plate:
    """A piece as it moves: sizes now [m], shrinkages green to oven-dry [%], angle of the rings to its face.

    Raises OutOfRange unless sizes and fibre saturation are above 0, and as ``movement.shrinkage_at_angle_pct``.
    """

    thickness_m: float
    width_m: float
    radial_pct: float
    tangential_pct: float
    ring_angle_deg: float  # 0 flat-sawn, 90 quarter-sawn
    fsp_pct: float = sorption.CONVENTIONAL_FSP_PCT

    def __post_init__(self) -> None:
        for name, unit in (("thickness_m", "m"), ("width_m", "m"), ("fsp_pct", "%MC")):
            value = np.asarray(getattr(self, name), dtype=float)
            refuse_unless((value > 0) & (value < np.inf), name, value, 0.0, np.inf, unit)
        movement.shrinkage_at_angle_pct(self.radial_pct, self.tangential_pct, self.ring_angle_deg)

    @property
    def across_pct(self) -> float:
        """Shrinkage along its width [%]."""
        return float(movement.shrinkage_at_angle_pct(self.radial_pct, self.tangential_pct, self.ring_angle_deg))

    @property
    def through_pct(self) -> float:
        """Shrinkage through its thickness [%]."""
        return float(
            movement.thickness_shrinkage_at_angle_pct(self.radial_pct, self.tangential_pct, self.ring_angle_deg)
        )


def plate_of(species: Species, thickness_m: float, width_m: float, ring_angle_deg: float) -> Plate | None:
    """Return a piece of a timber by its tabled shrinkages; None where the tables hold none."""
    radial, tangential = species.shrinkage_radial_pct, species.shrinkage_tangential_pct
    if radial is None or tangential is None:
        return None
    return Plate(thickness_m, width_m, radial, tangential, ring_angle_deg, species.fsp_pct)


@dataclass(frozen=True)
class Air:
    """An air to come to, as wood of the conventional fibre saturation feels it."""

    name: str
    temperature_c: float
    rh_pct: float
    emc_pct: float  # of that air; of a week the mean of its hours' [%MC]
    rh_error_pct: float = 0.0  # one standard error of the hygrometer, of an air that was measured
    start_ms: int | None = None  # when a week on record began


def air_of(name: str, temperature_c: float, rh_pct: float) -> Air:
    """Return an air given by temperature [°C] and humidity [%RH]; OutOfRange as ``sorption.emc_pct``."""
    return Air(name, temperature_c, rh_pct, float(sorption.emc_pct(temperature_c, rh_pct)))


def houses() -> tuple[Air, Air]:
    """Return a heated house in winter and one in a humid summer, by ``promise.csv``."""
    table = {name: one.value for name, one in constants("promise").items()}
    return (
        air_of("a heated house in winter", table["winter_house_temperature"], table["winter_house_rh"]),
        air_of("a house in a humid summer", table["summer_house_temperature"], table["summer_house_rh"]),
    )


def weeks(air: AirHours, rh_error_pct: float | None = None) -> tuple[Air, Air] | None:
    """Return the driest and the wettest week of logged air, by the mean EMC of its hours that were logged.

    Weeks begin every six hours; one counts with ``week_known_share`` of its hours on record; None: there is none.
    ``rh_error_pct``: one standard error of the hygrometer [%RH]; None: that of an unchecked one. Frost is taken at
    the curve's cold end (−2 °C).
    """
    error = limit("unchecked_hygrometer") if rh_error_pct is None else rh_error_pct
    if error < 0:
        raise OutOfRange("rh_error_pct", error, 0.0, 100.0, "%RH")
    if len(air.at_ms) < WEEK_HOURS:
        return None
    known = np.asarray(air.known & np.isfinite(air.temperature_c) & np.isfinite(air.rh_pct))
    enough = _sums(known.astype(float)) >= constants("promise")["week_known_share"].value * WEEK_HOURS
    if not enough.any():
        return None
    emc = _means(emc_or_nearest(np.where(known, air.temperature_c, 20.0), np.where(known, air.rh_pct, 50.0)), known)
    t, rh = _means(air.temperature_c, known), _means(air.rh_pct, known)

    def week(name: str, at: int) -> Air:
        start = int(air.at_ms[at * _STEP_HOURS])
        return Air(name, float(t[at]), float(rh[at]), float(emc[at]), error, start)

    driest = int(np.argmin(np.where(enough, emc, np.inf)))
    wettest = int(np.argmax(np.where(enough, emc, -np.inf)))
    return week("its driest week on record", driest), week("its wettest week on record", wettest)


def _sums(hours: Array) -> Array:
    """Sum over the week from each six-hourly beginning."""
    total = np.concatenate([[0.0], np.cumsum(hours)])
    return np.asarray((total[WEEK_HOURS:] - total[:-WEEK_HOURS])[::_STEP_HOURS])


def _means(values: Array, known: NDArray[np.bool_]) -> Array:
    return np.asarray(_sums(np.where(known, values, 0.0)) / np.maximum(_sums(known.astype(float)), 1.0))


@dataclass(frozen=True)
class Rest:
    """Where wood comes to rest in an air: its moisture and one standard deviation [%MC]."""

    mc_pct: float
    sd_mc_pct: float
    stays: bool  # between the curves of drying and of gaining wood: it may stay, or go part of the way


def rest(start_mc_pct: float, air: Air, fsp_pct: float = sorption.CONVENTIONAL_FSP_PCT) -> Rest:
    """Return where wood that stands at ``start_mc_pct`` [%MC] comes to rest in an air, in years rather than hours.

    Wetter wood dries to the printed curve, drier gains to its lower branch; between them it is taken to stay, and the
    way to either branch is in the spread, with the error of the curve and of the hygrometer. Raises OutOfRange below
    0 %MC. Source: Wood Handbook FPL-GTR-282, 2021, Equation 4-5; the lower branch from memory (``sorption.csv``).
    """
    start = np.asarray(start_mc_pct, dtype=float)
    refuse_unless((start >= 0) & (start < np.inf), "start_mc_pct", start, 0.0, np.inf, "%MC")
    high = air.emc_pct * fsp_pct / sorption.CONVENTIONAL_FSP_PCT
    low = sorption.adsorption_ratio() * high
    t_c = float(np.clip(air.temperature_c, sorption.LOWEST_C, sorption.HIGHEST_C))
    curve = float(sorption.emc_error_mc_pct(t_c, air.rh_pct, air.rh_error_pct, fsp_pct))
    stays = low < start_mc_pct < high
    branch = max(high - start_mc_pct, start_mc_pct - low) / Z80 if stays else 0.0
    return Rest(float(np.clip(start_mc_pct, low, high)), float(np.hypot(curve, branch)), bool(stays))


@dataclass(frozen=True)
class Moved:
    """What one piece does on the way to one air; sizes p10, p50, p90 [m], above 0 where it grows."""

    air: Air
    mc_pct: Three  # at the end [%MC]
    stays: bool
    width_m: Three
    thickness_m: Three


def moved(plate: Plate, now_mc_pct: Three, airs: Sequence[Air]) -> tuple[Moved, ...]:
    """Return what a piece does between today's moisture (p10, p50, p90 [%MC]) and where each air leaves it.

    Bands hold eight in ten: they have the spread of today's moisture, of where it comes to rest, and of single boards
    about the table's shrinkage (``shrinkage_cv``, from memory). Errors as ``rest`` and ``movement.change_band_m``.
    Limits: ``LIMITS``.
    """
    low, middle, high = now_mc_pct
    if not low <= middle <= high:
        raise OutOfRange("now_mc_pct", middle, low, high, "%MC, in order")
    sd = (high - low) / (2.0 * Z80)
    return tuple(_moved(plate, middle, sd, air) for air in airs)


def _moved(plate: Plate, start: float, start_sd: float, air: Air) -> Moved:
    end = rest(start, air, plate.fsp_pct)
    half = Z80 * end.sd_mc_pct

    def band(size_m: float, total_pct: float) -> Three:
        return movement.change_band_m(
            size_m, total_pct, start, end.mc_pct, start_sd, end.sd_mc_pct, fsp_pct=plate.fsp_pct
        )

    ends = (max(end.mc_pct - half, 0.0), end.mc_pct, end.mc_pct + half)
    width, thickness = band(plate.width_m, plate.across_pct), band(plate.thickness_m, plate.through_pct)
    return Moved(air, ends, end.stays, width, thickness)


def joined_m(changes: Sequence[Three]) -> Three:
    """Return what pieces joined edge to edge do together [m]: the sum of each line of their bands.

    As if all erred alike, which leaves of one board nearly do: the widest that the sum can be. Raises OutOfRange
    for no piece.
    """
    if not len(changes):
        raise OutOfRange("pieces", 0.0, 1.0, np.inf, "")
    low, middle, high = (float(sum(one[line] for one in changes)) for line in range(3))
    return low, middle, high
