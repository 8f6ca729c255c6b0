"""Wood and the air's humidity: equilibrium moisture content and its inverse.

The curve is Hailwood and Horrobin's two-hydrate form as the Wood Handbook prints it. It promises
about ±1 %MC at best (FPL-GTR-229, 2014), lies near desorption, and stays finite at 100 %RH: near
saturation a real piece holds more, so above 98 %RH the figure is "at least".
"""

from __future__ import annotations

import numpy as np

from kiln.errors import OutOfRange
from shared.tables import constants
from shared.units import Array

NEAR_SATURATION_RH_PCT = 98.0
CONVENTIONAL_FSP_PCT = 30.0  # the fibre saturation point for which the curve stands as printed
LOWEST_C, HIGHEST_C = -2.0, 130.0  # the handbook's table runs from 30 to 270 °F
_COEFFICIENTS = ("w0", "w1", "w2", "k0", "k1", "k2", "k10", "k11", "k12", "k20", "k21", "k22")
_BISECTIONS = 50


def coefficients() -> Array:
    """Return the twelve coefficients of Equation 4-5 (FPL-GTR-282, 2021), and the leading 1800, in order."""
    table = constants("sorption")
    return np.array([*(table[f"hh_{name}"].value for name in _COEFFICIENTS), table["hh_c_molar"].value])


def emc_pct(temperature_c: float | Array, rh_pct: float | Array, fsp_pct: float = CONVENTIONAL_FSP_PCT) -> Array:
    """Equilibrium moisture content [%MC] in air of ``temperature_c`` [°C] and ``rh_pct`` [%RH], any shape.

    ``fsp_pct`` [%MC] scales the curve for woods whose cell wall holds less than the conventional 30 %.
    NaN stays NaN. Raises OutOfRange outside 0 to 100 %RH or the table's temperatures.
    Source: Wood Handbook FPL-GTR-282, 2021, Equation 4-5 (°C form); the scaling is ours.
    """
    t = np.asarray(temperature_c, dtype=float)
    h = np.asarray(rh_pct, dtype=float)
    _refuse(t, "temperature_c", LOWEST_C, HIGHEST_C, "°C")
    _refuse(h, "rh_pct", 0.0, 100.0, "%RH")
    w, k, k1, k2, leading = _terms(t)
    u = k * h / 100.0
    return np.asarray(_moisture(u, k1, k2) * leading / w * (fsp_pct / CONVENTIONAL_FSP_PCT))


def rh_pct_from_emc(
    temperature_c: float | Array, mc_pct: float | Array, fsp_pct: float = CONVENTIONAL_FSP_PCT
) -> Array:
    """Relative humidity [%RH] of the air in which wood of ``mc_pct`` [%MC] is at rest; 100 above saturation.

    The inverse of ``emc_pct`` by bisection (the curve rises throughout). Raises OutOfRange below 0 %MC.
    """
    t, wanted = np.broadcast_arrays(np.asarray(temperature_c, dtype=float), np.asarray(mc_pct, dtype=float))
    _refuse(wanted, "mc_pct", 0.0, np.inf, "%MC")
    low, high = np.zeros(t.shape), np.full(t.shape, 100.0)
    for _ in range(_BISECTIONS):
        middle = (low + high) / 2.0
        above = emc_pct(t, middle, fsp_pct) > wanted
        low, high = np.where(above, low, middle), np.where(above, middle, high)
    saturated = wanted >= emc_pct(t, 100.0, fsp_pct)
    return np.asarray(np.where(np.isnan(wanted), np.nan, np.where(saturated, 100.0, (low + high) / 2.0)))


def emc_error_mc_pct(
    temperature_c: float | Array, rh_pct: float | Array, rh_error_pct: float, fsp_pct: float = CONVENTIONAL_FSP_PCT
) -> Array:
    """One standard error of the EMC [%MC]: the curve's own and that of a hygrometer wrong by ``rh_error_pct``."""
    rh = np.asarray(rh_pct, dtype=float)
    above = emc_pct(temperature_c, np.minimum(rh + rh_error_pct, 100.0), fsp_pct)
    below = emc_pct(temperature_c, np.maximum(rh - rh_error_pct, 0.0), fsp_pct)
    curve = constants("sorption")["emc_standard_error_mc_pct"].value
    return np.asarray(np.hypot((above - below) / 2.0, curve))


def adsorption_ratio() -> float:
    """How far below the printed curve wood stays that is taking up water: its EMC over the printed one."""
    return constants("sorption")["adsorption_ratio"].value


def _terms(t: Array) -> tuple[Array, Array, Array, Array, float]:
    c = coefficients()
    w = c[0] + c[1] * t + c[2] * t**2
    k = c[3] + c[4] * t + c[5] * t**2
    k1 = c[6] + c[7] * t + c[8] * t**2
    k2 = c[9] + c[10] * t + c[11] * t**2
    return w, k, k1, k2, float(c[12])


def _moisture(u: Array, k1: Array, k2: Array) -> Array:
    one, two = k1 * u, k1 * k2 * u**2
    return np.asarray(u / (1.0 - u) + (one + 2.0 * two) / (1.0 + one + two))


def _refuse(values: Array, name: str, low: float, high: float, unit: str) -> None:
    flat = np.atleast_1d(values)
    wrong = ~((flat >= low) & (flat <= high)) & ~np.isnan(flat)
    if np.any(wrong):
        raise OutOfRange(name, float(flat[wrong].flat[0]), low, high, unit)
