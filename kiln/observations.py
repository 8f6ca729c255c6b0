"""From what was measured to what the refit takes: each as one datum with its error and its bounds."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from kiln import meters, wood
from kiln.bag import Wait, mc_from_bag
from kiln.estimation import NOTHING, Datum
from kiln.load_cell import Thinned
from kiln.oven_dry import section_scatter_mc_pct
from shared.tables import constants, limit
from shared.units import S_PER_HOUR

OFFCUT_MC_PCT = 0.3  # of an oven-dried offcut itself: balance, regain on the way; judgement


def weigh_in(at_ms: int, mass_kg: float, scale_error_kg: float, cut_dry_kg: float = 0.0) -> Datum:
    """Return a weigh-in; ``cut_dry_kg``: oven-dry mass of the sections cut since the first one.

    The scale's error is common to it and to weights of a load cell that go by it, should there be any.
    """
    return Datum("weigh-in", at_ms, mass_kg, 0.0, cut_dry_kg=cut_dry_kg, common_error=scale_error_kg, common_with=at_ms)


def cell_weights(told: Thinned, common_with: NDArray[np.int64]) -> list[Datum]:
    """Return weights of a load cell, from ``load_cell.thinned`` or ``load_cell.stack.shared_out``.

    ``common_with`` [n]: of those that go by a weigh-in of the board its ``at_ms``, so that they share its error; of
    those that go by tares any number below 0 that no others have. What dirt on the cell adds is one for all.
    """
    columns = told.at_ms, told.mass_kg, told.sd_kg, told.common_sd_kg, told.uneven_kg, common_with
    return [
        Datum(
            "load cell",
            int(at_ms),
            float(mass_kg),
            float(error),
            common_error=float(common),
            uneven_error=float(uneven),
            common_with=int(group),
        )
        for at_ms, mass_kg, error, common, uneven, group in zip(*columns, strict=True)
    ]


def section(at_ms: int, wet_mass_kg: float, dry_mass_kg: float) -> Datum:
    """Return an oven-dried section: it tells the mean, as well as one section can."""
    mc_pct = float(wood.mc_pct_from_mass(wet_mass_kg, dry_mass_kg))
    return Datum("oven-dry", at_ms, mc_pct, section_scatter_mc_pct(mc_pct))


def pin(
    at_ms: int,
    depth_m: float,
    reading: meters.Pin,
    lot: meters.LotCalibration | None = None,
    *,
    minerals_known: bool = False,
) -> Datum:
    """Return a pin reading, corrected for temperature and lot.

    Without a lot's calibration it has the bias of an uncalibrated meter, one for all readings of a board; with
    one, the bias that the calibration leaves. In water-reclaimed stock a reading is the most that it can be, and
    one beyond the meter's range tells nothing, unless the lot was of the same water (``minerals_known``).
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
    if reading.origin == "water-reclaimed" and not (
        lot and minerals_known
    ):  # minerals make pins read too wet, by nobody knows how much
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
    wait: Wait,
) -> Datum:
    """Return a bag test on the printed isotherm, whose scale for this piece is an unknown of the refit.

    ``wait``: how long such a piece takes (``kiln.bag.wait_hours``). Closed too short it tells nothing, then of the
    faces, and of the mean once even a slow piece has evened out; only then, and by a hygrometer that is known, may
    a verdict rest on it. The curve's own error is the refit's to find, so not in here.
    """
    said = mc_from_bag(rh_pct, temperature_c, rh_error_pct, last_moved)
    curve = constants("sorption")["emc_standard_error_mc_pct"].value
    own = float(np.sqrt(max(said.error_mc_pct**2 - curve**2, 0.0)))
    hours = waited_s / S_PER_HOUR
    evened = hours >= wait.even_hours[2]
    bound = NOTHING if hours < wait.faces_hours else "at least" if said.at_least else ""
    return Datum(
        "bag test",
        at_ms,
        said.mc_pct,
        float(np.hypot(own, constants("drying")["bag_noise_mc_pct"].value)),
        depth_share=None if evened else 0.0,
        bound=bound,
        ground=evened and rh_error_pct < limit("unchecked_hygrometer"),
    )
