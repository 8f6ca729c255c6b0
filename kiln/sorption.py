"""Wood and the air's humidity: equilibrium moisture content, its inverse, and where wood comes to rest.

The curve is Hailwood and Horrobin's two-hydrate form as the Wood Handbook prints it. It promises
about ±1 %MC at best (FPL-GTR-229, 2014), lies near desorption, and stays finite at 100 %RH: near
saturation a real piece holds more, so above 98 %RH the figure is "at least". The form of Glass and
others is there to compare with: it grows without bound instead.
Throughout, arguments of any shapes broadcast and NaN stays NaN.
"""

from __future__ import annotations

from functools import cache
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from kiln.errors import check_range
from kiln.runs import in_runs
from shared.tables import constants
from shared.units import Array, k_from_c

NEAR_SATURATION_RH_PCT = 98.0
CONVENTIONAL_FSP_PCT = 30.0  # the fibre saturation point for which the curve stands as printed
LOWEST_C, HIGHEST_C = -2.0, 130.0  # the handbook's table runs from 30 to 270 °F
LOWEST_FSP_PCT, HIGHEST_FSP_PCT = 1.0, 100.0  # wider than any wood, sound or decayed, hot or cold
_FSP_GIVEN_AT_C = 20.0
_COEFFICIENTS = ("w0", "w1", "w2", "k0", "k1", "k2", "k10", "k11", "k12", "k20", "k21", "k22")
_NEWTON_STEPS = 4


class _Glass(NamedTuple):
    a: float
    b: float
    c: float
    d: float
    t_c: float


def coefficients() -> Array:
    """Return the twelve coefficients of Equation 4-5 (FPL-GTR-282, 2021), and the leading 1800, in order."""
    return np.array(_coefficients())


def emc_pct(
    temperature_c: float | Array, rh_pct: float | Array, fsp_pct: float | Array = CONVENTIONAL_FSP_PCT
) -> Array:
    """Equilibrium moisture content [%MC] in air of ``temperature_c`` [°C] and ``rh_pct`` [%RH], any shape.

    ``fsp_pct`` [%MC] scales the curve for woods whose cell wall holds less than the conventional 30 %.
    NaN stays NaN. Raises OutOfRange outside 0 to 100 %RH or the table's temperatures (−2 to 130 °C).
    From ``NEAR_SATURATION_RH_PCT`` up the figure is "at least": see ``near_saturation``.
    Source: Wood Handbook FPL-GTR-282, 2021, Equation 4-5 (°C form); the scaling is ours.
    """
    return in_runs(_emc, temperature_c, rh_pct, fsp_pct)


def rh_pct_from_emc(
    temperature_c: float | Array, mc_pct: float | Array, fsp_pct: float | Array = CONVENTIONAL_FSP_PCT
) -> Array:
    """Relative humidity [%RH] of the air in which wood of ``mc_pct`` [%MC] is at rest; 100 above saturation.

    The inverse of ``emc_pct`` to 1e-9 %RH. Raises OutOfRange below 0 %MC or outside −2 to 130 °C.
    """
    return in_runs(_rh_of, temperature_c, mc_pct, fsp_pct)


def emc_glass_pct(temperature_c: float | Array, rh_pct: float | Array) -> Array:
    """Equilibrium moisture content [%MC] by the form of Glass and others (2014), to set beside ``emc_pct``.

    ``temperature_c`` [°C] and ``rh_pct`` [%RH] of any shapes. It grows without bound: inf at 100 %RH, and from
    ``NEAR_SATURATION_RH_PCT`` up no figure to rely on. Raises OutOfRange outside 0 to 100 %RH or −2 to 130 °C
    (the temperatures of the table; the equation is printed without its own).
    Source: Wood Handbook FPL-GTR-282, 2021, Equation 4-6.
    """
    return in_runs(_glass_emc, temperature_c, rh_pct)


def rh_pct_from_emc_glass(temperature_c: float | Array, mc_pct: float | Array) -> Array:
    """Relative humidity [%RH] for which ``emc_glass_pct`` gives ``mc_pct`` [%MC]: its exact inverse; 100 for inf.

    Raises OutOfRange below 0 %MC or outside −2 to 130 °C. Source: Wood Handbook FPL-GTR-282, 2021, Equation 4-7.
    """
    return in_runs(_glass_rh, temperature_c, mc_pct)


def emc_error_mc_pct(
    temperature_c: float | Array,
    rh_pct: float | Array,
    rh_error_pct: float,
    fsp_pct: float | Array = CONVENTIONAL_FSP_PCT,
) -> Array:
    """One standard error of the EMC [%MC]: the curve's own and that of a hygrometer wrong by ``rh_error_pct``."""
    rh = np.asarray(rh_pct, dtype=float)
    above = emc_pct(temperature_c, np.minimum(rh + rh_error_pct, 100.0), fsp_pct)
    below = emc_pct(temperature_c, np.maximum(rh - rh_error_pct, 0.0), fsp_pct)
    curve = constants("sorption")["emc_standard_error_mc_pct"].value
    return np.asarray(np.hypot((above - below) / 2.0, curve))


def near_saturation(rh_pct: float | Array) -> NDArray[np.bool_]:
    """Whether the air is so near saturation that an EMC can only be shown as "at least": 98 %RH and above.

    Booleans of the shape of ``rh_pct`` [%RH]; False for NaN. Raises OutOfRange outside 0 to 100 %RH.
    Our rule, common practice, no source: from there up water condenses in the pores, which no isotherm describes.
    """
    rh = np.asarray(rh_pct, dtype=float)
    if rh.size:
        check_range("rh_pct", rh.reshape(-1), 0.0, 100.0, "%RH")
    return np.asarray(rh >= NEAR_SATURATION_RH_PCT)


def fsp_at_pct(fsp_20c_pct: float | Array, temperature_c: float | Array) -> Array:
    """Fibre saturation point [%MC] at ``temperature_c`` [°C], of wood that has ``fsp_20c_pct`` [%MC] at 20 °C.

    It falls by about 0.1 %MC for each °C. Any shapes. Raises OutOfRange outside 0 to 100 °C or 10 to 100 %MC.
    Source: Stamm and Loughborough, 1935; Siau, 1984 (from memory).
    """
    fall = constants("sorption")["fsp_fall_per_c"].value

    def work(fsp: Array, t_c: Array) -> Array:
        check_range("temperature_c", t_c, 0.0, 100.0, "°C")
        check_range("fsp_20c_pct", fsp, 10.0, HIGHEST_FSP_PCT, "%MC")
        return np.asarray(fsp - fall * (t_c - _FSP_GIVEN_AT_C))

    return in_runs(work, fsp_20c_pct, temperature_c)


def adsorption_ratio() -> float:
    """How far below the printed curve wood stays that is taking up water: its EMC over the printed one."""
    return constants("sorption")["adsorption_ratio"].value


def rest_band_pct(
    temperature_c: float | Array, rh_pct: float | Array, fsp_pct: float | Array = CONVENTIONAL_FSP_PCT
) -> tuple[Array, Array]:
    """Lowest and highest moisture content [%MC] at which wood can be at rest in this air: hysteresis.

    Wood that gains water stops at the low one, ``adsorption_ratio`` (from memory) of the printed curve; wood that
    dries stops at the high one, the curve as printed. Arguments, shapes and errors are those of ``emc_pct``.
    """
    high = emc_pct(temperature_c, rh_pct, fsp_pct)
    return np.asarray(adsorption_ratio() * high), high


def rest_pct(
    mc_pct: float | Array,
    temperature_c: float | Array,
    rh_pct: float | Array,
    fsp_pct: float | Array = CONVENTIONAL_FSP_PCT,
) -> Array:
    """Moisture content [%MC] at which wood that now stands at ``mc_pct`` [%MC] comes to rest in this air.

    Wetter than the band of ``rest_band_pct`` it dries to its top, drier it gains to its bottom; between the two it
    stays as it is (scanning curves are taken as flat). Raises OutOfRange below 0 %MC, else as ``emc_pct``.
    """
    ratio = adsorption_ratio()

    def work(mc: Array, t_c: Array, rh: Array, fsp: Array) -> Array:
        check_range("mc_pct", mc, 0.0, np.inf, "%MC")
        high = _emc(t_c, rh, fsp)
        return np.asarray(np.clip(mc, ratio * high, high))

    return in_runs(work, mc_pct, temperature_c, rh_pct, fsp_pct)


@cache
def _coefficients() -> tuple[float, ...]:
    table = constants("sorption")
    return (*(table[f"hh_{name}"].value for name in _COEFFICIENTS), table["hh_c_molar"].value)


@cache
def _glass() -> _Glass:
    table = constants("sorption")
    return _Glass(*(table[f"glass_{name}"].value for name in ("a", "b", "c", "d", "t_critical")))


def _terms(t: Array) -> tuple[Array, Array, Array, Array]:
    """Return 1800 / W, K, K1 and K1 K2 of Equation 4-5."""
    w0, w1, w2, k0, k1, k2, k10, k11, k12, k20, k21, k22, leading = _coefficients()
    first = k10 + t * (k11 + t * k12)
    second = k20 + t * (k21 + t * k22)
    return leading / (w0 + t * (w1 + t * w2)), k0 + t * (k1 + t * k2), first, first * second


def _emc(t: Array, rh: Array, fsp: Array) -> Array:
    check_range("temperature_c", t, LOWEST_C, HIGHEST_C, "°C")
    check_range("rh_pct", rh, 0.0, 100.0, "%RH")
    check_range("fsp_pct", fsp, LOWEST_FSP_PCT, HIGHEST_FSP_PCT, "%MC")
    scale, k, one, two = _terms(t)
    return np.asarray(_moisture(k * (rh / 100.0), one, two) * (scale * (fsp / CONVENTIONAL_FSP_PCT)))


def _moisture(u: Array, one: Array, two: Array) -> Array:
    """Equation 4-5 without its leading factor, in u = K h."""
    linear, square = one * u, two * u * u
    hydrates = linear + square
    return np.asarray(u / (1.0 - u) + (hydrates + square) / (1.0 + hydrates))


def _rh_of(t: Array, mc: Array, fsp: Array) -> Array:
    check_range("temperature_c", t, LOWEST_C, HIGHEST_C, "°C")
    check_range("mc_pct", mc, 0.0, np.inf, "%MC")
    check_range("fsp_pct", fsp, LOWEST_FSP_PCT, HIGHEST_FSP_PCT, "%MC")
    scale, k, one, two = _terms(t)
    full = _moisture(k, one, two)
    wanted = mc / (scale * (fsp / CONVENTIONAL_FSP_PCT))
    u = _solved_u(np.minimum(wanted, full), k, one, two)
    held = np.clip(100.0 * u / k, 0.0, 100.0)
    return np.where(wanted >= full, 100.0, held)


def _solved_u(wanted: Array, k: Array, one: Array, two: Array) -> Array:
    """Find u = K h at which ``_moisture`` is ``wanted``, by Newton.

    Multiplied out, that is a cubic in u. The ratio of u to moisture is nearly a parabola in u: the one through
    its ends and its middle gives a guess within 0.05, from which Newton leaves nothing after four steps.
    """
    ratio_0, half = 1.0 / (1.0 + one), k / 2.0
    ratio_1, ratio_2 = half / _moisture(half, one, two), k / _moisture(k, one, two)
    bend = (ratio_2 - 2.0 * ratio_1 + ratio_0) / (2.0 * half * half)
    tilt = (ratio_1 - ratio_0) / half - bend * half
    middle = 1.0 - wanted * tilt
    root = np.sqrt(np.maximum(middle * middle - 4.0 * wanted * bend * wanted * ratio_0, 0.0))
    u = 2.0 * wanted * ratio_0 / (middle + root)
    c1, c2, c3 = 1.0 + one - wanted * (one - 1.0), 2.0 * two - wanted * (two - one), two * (wanted - 1.0)
    for _ in range(_NEWTON_STEPS):
        u = u - (u * (c1 + u * (c2 + u * c3)) - wanted) / (c1 + u * (2.0 * c2 + u * 3.0 * c3))
    return u


def _glass_terms(t_c: Array) -> tuple[Array, Array]:
    """Return A T (1 − T/Tc)^B and C T^D."""
    glass, t = _glass(), k_from_c(t_c)
    return glass.a * t * (1.0 - t / glass.t_c) ** glass.b, glass.c * t**glass.d


def _glass_emc(t_c: Array, rh: Array) -> Array:
    check_range("temperature_c", t_c, LOWEST_C, HIGHEST_C, "°C")
    check_range("rh_pct", rh, 0.0, 100.0, "%RH")
    factor, power = _glass_terms(t_c)
    with np.errstate(divide="ignore"):  # ln 0 at 100 %RH is the documented inf
        logarithm = np.log1p(-rh / 100.0)
    return np.asarray(100.0 * (factor * logarithm) ** power)


def _glass_rh(t_c: Array, mc: Array) -> Array:
    check_range("temperature_c", t_c, LOWEST_C, HIGHEST_C, "°C")
    check_range("mc_pct", mc, 0.0, np.inf, "%MC")
    factor, power = _glass_terms(t_c)
    return np.asarray(-100.0 * np.expm1((mc / 100.0) ** (1.0 / power) / factor))
