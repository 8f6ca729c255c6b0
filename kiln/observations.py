"""From what was measured to what the refit takes: each as one datum with its error and its bounds."""

from __future__ import annotations

import numpy as np

from kiln import meters, wood
from kiln.bag import mc_from_bag
from kiln.estimation import NOTHING, Datum
from shared.tables import constants
from shared.units import S_PER_HOUR

SECTION_MC_PCT, SECTION_SHARE = 1.0, 0.03  # a section is not the whole board: judgement
OFFCUT_MC_PCT = 0.3  # of an oven-dried offcut itself: balance, regain on the way; judgement
EVENED_SHARE = 0.5  # of the middle waiting time, from which on a bag test tells the mean; judgement


def weigh_in(at_ms: int, mass_kg: float, scale_error_kg: float, cut_dry_kg: float = 0.0) -> Datum:
    """Return a weigh-in; ``cut_dry_kg``: oven-dry mass of the sections cut since the first one."""
    return Datum("weigh-in", at_ms, mass_kg, scale_error_kg, cut_dry_kg=cut_dry_kg)


def section(at_ms: int, wet_mass_kg: float, dry_mass_kg: float) -> Datum:
    """Return an oven-dried section: it tells the mean, as well as one section can."""
    mc_pct = float(wood.mc_pct_from_mass(wet_mass_kg, dry_mass_kg))
    return Datum("oven-dry", at_ms, mc_pct, float(np.hypot(SECTION_MC_PCT, SECTION_SHARE * mc_pct)))


def pin(at_ms: int, depth_m: float, reading: meters.Pin, lot: meters.LotCalibration | None = None) -> Datum:
    """Return a pin reading, corrected for temperature and lot.

    Without a lot's calibration it has the bias of an uncalibrated meter, one for all readings of a board; with
    one, the bias that the calibration leaves. In water-reclaimed stock an uncalibrated reading is the most that
    it can be, and one beyond the meter's range tells nothing.
    """
    table = constants("drying")
    said = meters.read(reading, lot)
    bias = table["pin_bias_mc_pct"].value
    left = (
        bias
        if lot is None
        else float(np.hypot(lot.middle_error_mc_pct, lot.slope_error * (said.mc_pct - lot.middle_mc_pct)))
    )
    scatter = np.sqrt(max(said.error_mc_pct**2 - left**2, table["pin_noise_mc_pct"].value ** 2))
    half_m = (reading.thickness_m or 2.0 * depth_m) / 2.0
    share = min(depth_m / half_m, 1.0) if half_m > 0 else 0.0
    bound = said.censored
    if reading.origin == "water-reclaimed" and lot is None:  # minerals make pins read too wet, by nobody knows how much
        bound = NOTHING if said.censored == meters.AT_LEAST else meters.AT_MOST
    return Datum("pin", at_ms, said.mc_pct, float(scatter), depth_share=share, bound=bound, bias_share=left / bias)


def offcut(
    reading_pct: float,
    wood_temperature_c: float | None,
    calibration_temperature_c: float,
    wet_mass_kg: float,
    dry_mass_kg: float,
) -> meters.Pair:
    """Return what a meter read on an offcut, with what the oven found; raises BadInput where no meter can tell."""
    reading = reading_pct
    if wood_temperature_c is not None:
        reading = float(meters.temperature_corrected_pct(reading_pct, wood_temperature_c, calibration_temperature_c))
    pair = meters.Pair(reading, float(wood.mc_pct_from_mass(wet_mass_kg, dry_mass_kg)), OFFCUT_MC_PCT)
    meters.fit_pairs([pair])
    return pair


def bag_test(
    at_ms: int,
    rh_pct: float,
    temperature_c: float,
    rh_error_pct: float,
    last_moved: str,
    waited_s: float,
    even_hours: float,
) -> Datum:
    """Return a bag test on the printed isotherm, whose scale for this piece is an unknown of the refit.

    ``even_hours``: how long such a piece takes to even out (``kiln.bag.wait_hours``); before that the test
    tells of the faces, afterwards of the mean. The curve's own error is the refit's to find, so not in here.
    """
    said = mc_from_bag(rh_pct, temperature_c, rh_error_pct, last_moved)
    curve = constants("sorption")["emc_standard_error_mc_pct"].value
    own = float(np.sqrt(max(said.error_mc_pct**2 - curve**2, 0.0)))
    evened = waited_s >= EVENED_SHARE * even_hours * S_PER_HOUR
    least = constants("drying")["bag_noise_mc_pct"].value
    return Datum(
        "bag test",
        at_ms,
        said.mc_pct,
        float(np.hypot(own, least)),
        depth_share=None if evened else 0.0,
        bound="at least" if said.at_least else "",
    )
