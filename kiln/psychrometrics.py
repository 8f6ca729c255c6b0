"""Moist air: saturation pressure, dew point, wet bulb and humidity ratio, for arrays of any shape.

All equations are those of ASHRAE Handbook Fundamentals, 2017, chapter 1, for a perfect gas mixture;
against real moist air the humidity ratio comes out 0.4 to 0.7 % low (the enhancement factor).
NaN stays NaN; a state that cannot be (a bulb warmer than the air) raises OutOfRange.
"""

from __future__ import annotations

from functools import cache
from typing import NamedTuple

import numpy as np

from kiln.errors import OutOfRange, check_range
from kiln.runs import in_runs
from shared.tables import constants
from shared.units import Array, k_from_c

LOWEST_C, HIGHEST_C = -60.0, 130.0
HIGHEST_PA = 1e6  # ten atmospheres: a slip of units lies above, and no air that wood dries in
_SEED_DEGREE = 5  # of 1/T in ln p: within 1e-3 K, which a single step of Newton makes exact
_WATER_STEPS, _ICE_STEPS = 3, 5  # from seeds within 1 K and within 10 K
_ROUNDING, _ROUNDING_RH_PCT, _ROUNDING_RATIO = 1e-12, 1e-7, 1e-11  # relative; %RH; kg/kg, what 1e-8 K is worth


class _Phase(NamedTuple):
    """Water or ice: its saturation pressure, where that holds, a first guess at its inverse, and its wet bulb."""

    pressure: tuple[float, ...]  # of 1/T, 1, T … T⁴, ln T in ln p
    reach_c: tuple[float, float]
    reach_pa: tuple[float, float]
    inverse_t: Array  # 1/T as a polynomial of ln p, highest power first
    latent: float
    slope: float
    heat: float


class _Air(NamedTuple):
    water: _Phase
    ice: _Phase
    mass_ratio: float
    air_heat: float
    vapour_heat: float
    gas_constant: float


def saturation_pressure_pa(temperature_c: float | Array) -> Array:
    """Vapour pressure over water, below 0 °C over ice [Pa], at ``temperature_c`` [°C, any shape].

    NaN stays NaN. Raises OutOfRange outside −60 to 130 °C. Source: Equations 5 and 6.
    """
    return in_runs(_saturation_pa, temperature_c)


def vapour_pressure_pa(temperature_c: float | Array, rh_pct: float | Array) -> Array:
    """Partial pressure of water vapour [Pa] in air of ``temperature_c`` [°C] and ``rh_pct`` [%RH]."""
    return in_runs(_vapour_pa, temperature_c, rh_pct)


def vapour_density_kg_m3(temperature_c: float | Array, rh_pct: float | Array) -> Array:
    """Mass of water vapour [kg] in a cubic metre of air of ``temperature_c`` [°C] and ``rh_pct`` [%RH], any shapes.

    A perfect gas. Raises OutOfRange outside −60 to 130 °C or 0 to 100 %RH. Source: Equation 1 written for the vapour.
    """
    gas_constant = _air().gas_constant
    return in_runs(lambda t_c, rh: _vapour_pa(t_c, rh) / (gas_constant * k_from_c(t_c)), temperature_c, rh_pct)


def pressure_at_altitude_pa(altitude_m: float | Array) -> Array:
    """Standard air pressure [Pa] at ``altitude_m`` [m above sea level, −5000 to 11000]. Source: Equation 3."""
    table = constants("psychrometrics")
    level, lapse, exponent = (table[f"pressure_{name}"].value for name in ("sea_level", "lapse", "exponent"))

    def work(z: Array) -> Array:
        check_range("altitude_m", z, -5000.0, 11000.0, "m")
        return np.asarray(level * (1.0 - lapse * z) ** exponent)

    return in_runs(work, altitude_m)


def humidity_ratio(temperature_c: float | Array, rh_pct: float | Array, pressure_pa: float | Array) -> Array:
    """Mass of vapour per mass of dry air [kg/kg] at a total ``pressure_pa`` [Pa].

    Raises OutOfRange unless the pressure lies between that of the vapour and 1 MPa. Source: Equation 20.
    """
    return in_runs(_ratio, temperature_c, rh_pct, pressure_pa)


def rh_pct_from_humidity_ratio(
    temperature_c: float | Array, humidity_ratio: float | Array, pressure_pa: float | Array
) -> Array:
    """Relative humidity [%RH] of air with ``humidity_ratio`` [kg/kg] at ``temperature_c`` [°C], ``pressure_pa`` [Pa].

    Any shapes that broadcast. Raises OutOfRange below 0 kg/kg, above saturation, or unless the pressure lies
    between 0 and 1 MPa. Source: Equation 20 solved for the vapour pressure.
    """
    return in_runs(_rh_from_ratio, temperature_c, humidity_ratio, pressure_pa)


def dew_point_c(temperature_c: float | Array, rh_pct: float | Array) -> Array:
    """Temperature [°C] at which this air becomes saturated (below 0 °C: over ice), any shapes that broadcast.

    NaN where it lies below −60 °C, so also where ``rh_pct`` is 0. The inverse of ``saturation_pressure_pa`` to
    1e-8 K. Ice and water do not meet exactly at 0 °C: a vapour pressure between the two has the dew point 0.
    """
    return in_runs(_dew_point, temperature_c, rh_pct)


def rh_pct_from_dew_point(temperature_c: float | Array, dew_point_c: float | Array) -> Array:
    """Relative humidity [%RH] of air of ``temperature_c`` [°C] whose dew point is ``dew_point_c`` [°C], any shapes.

    Over water, below 0 °C over ice, as ``saturation_pressure_pa``. Raises OutOfRange for either outside −60 to
    130 °C or a dew point above the temperature.
    """

    def work(t_c: Array, dew_c: Array) -> Array:
        at_most = _saturation_pa(t_c)
        check_range("dew_point_c", dew_c, LOWEST_C, t_c, "°C")
        return np.asarray(100.0 * _saturation_pa(dew_c) / at_most)

    return in_runs(work, temperature_c, dew_point_c)


def wet_bulb_c(temperature_c: float | Array, rh_pct: float | Array, pressure_pa: float | Array) -> Array:
    """Thermodynamic wet-bulb temperature [°C] at a total ``pressure_pa`` [Pa], any shapes that broadcast.

    Below 0 °C that of ice. Within 1 K of 0 °C a bulb of water and one of ice may both be right, and then that of
    ice is given; in air within 0.01 K above 0 °C and all but saturated neither may, and then it is 0. NaN where
    it lies below −60 °C. Raises OutOfRange as ``humidity_ratio``. Source: Equations 33 and 35, solved to 1e-8 K
    from 20 to 110 kPa.
    """
    return in_runs(_wet_bulb, temperature_c, rh_pct, pressure_pa)


def wet_bulb_depression_c(temperature_c: float | Array, rh_pct: float | Array, pressure_pa: float | Array) -> Array:
    """How far [K] the wet bulb stands below the air; arguments, limits and source are those of ``wet_bulb_c``."""
    return np.asarray(np.asarray(temperature_c, dtype=float) - wet_bulb_c(temperature_c, rh_pct, pressure_pa))


def rh_pct_from_wet_bulb(temperature_c: float | Array, wet_bulb_c: float | Array, pressure_pa: float | Array) -> Array:
    """Relative humidity [%RH] of air of ``temperature_c`` [°C] whose wet bulb shows ``wet_bulb_c`` [°C], any shapes.

    A thermodynamic wet bulb, so one in a brisk draught, at a total ``pressure_pa`` [Pa]; below 0 °C one under
    ice. Raises OutOfRange when the bulb is warmer than the air or colder than perfectly dry air would make it,
    when either lies outside −60 to 130 °C, or the pressure not between that of the vapour and 1 MPa.
    Source: Equations 33 and 35, then 20.
    """
    return in_runs(_rh_from_wet_bulb, temperature_c, wet_bulb_c, pressure_pa)


def _saturation_pa(t_c: Array) -> Array:
    check_range("temperature_c", t_c, LOWEST_C, HIGHEST_C, "°C")
    t, air = k_from_c(t_c), _air()
    if np.min(t_c) >= 0.0:
        return np.exp(_ln_pressure(t, air.water.pressure))
    if np.max(t_c) < 0.0:
        return np.exp(_ln_pressure(t, air.ice.pressure))
    both = np.where(t_c < 0.0, _ln_pressure(t, air.ice.pressure), _ln_pressure(t, air.water.pressure))
    return np.asarray(np.exp(both))


def _vapour_pa(t_c: Array, rh: Array) -> Array:
    check_range("rh_pct", rh, 0.0, 100.0, "%RH")
    return np.asarray(_saturation_pa(t_c) * rh / 100.0)


def _ratio(t_c: Array, rh: Array, p: Array) -> Array:
    return _ratio_of(_vapour_pa(t_c, rh), p)


def _ratio_of(pv: Array, p: Array) -> Array:
    dry = p - pv
    if not (np.min(dry) > 0.0 and np.max(p) <= HIGHEST_PA):
        _refuse_pressure(pv, p)
    return np.asarray(_air().mass_ratio * pv / dry)


def _refuse_pressure(pv: float | Array, p: Array) -> None:
    pv, p = np.broadcast_arrays(pv, p)
    wrong = (p <= pv) | (p > HIGHEST_PA)
    if np.any(wrong):
        raise OutOfRange("pressure_pa", float(p[wrong][0]), float(pv[wrong][0]), HIGHEST_PA, "Pa")


def _rh_from_ratio(t_c: Array, held: Array, p: Array) -> Array:
    _refuse_pressure(0.0, p)
    check_range("humidity_ratio", held, 0.0, 1e9, "kg/kg")  # steam with next to no air
    full, mass_ratio = _saturation_pa(t_c), _air().mass_ratio
    rh = 100.0 * p * held / (mass_ratio + held) / full
    over = rh > 100.0 + _ROUNDING_RH_PCT
    if np.any(over):
        held, full, p = (one[over] for one in np.broadcast_arrays(held, full, p))
        raise OutOfRange("humidity_ratio", float(held[0]), 0.0, float(_ratio_of(full[:1], p[:1])[0]), "kg/kg")
    return np.minimum(rh, 100.0)


def _dew_point(t_c: Array, rh: Array) -> Array:
    pv, air = _vapour_pa(t_c, rh), _air()
    (lowest, ice_0), (water_0, _) = air.ice.reach_pa, air.water.reach_pa
    iced = (pv <= ice_0) & (pv >= lowest * (1.0 - _ROUNDING))
    made = np.where((pv > ice_0) & (pv < water_0), 0.0, np.nan)
    for phase, here in ((air.water, pv >= water_0), (air.ice, iced)):
        made[here] = np.clip(_saturated_c(np.log(pv[here]), phase), *phase.reach_c)  # no rounding across 0 °C
    return np.minimum(made, t_c)


def _saturated_c(ln_p: Array, phase: _Phase) -> Array:
    """Temperature [°C] of saturation over one phase, by Newton in 1/T, of which ln p is nearly a straight line."""
    t = _guess_k(ln_p, phase)
    short = ln_p - _ln_pressure(t, phase.pressure)
    return np.asarray(t / (1.0 - short / (t * _ln_slope(t, phase.pressure))) - k_from_c(0.0))


def _guess_k(ln_p: Array, phase: _Phase) -> Array:
    return np.asarray(1.0 / np.polyval(phase.inverse_t, ln_p), dtype=float)


def _wet_bulb(t_c: Array, rh: Array, p: Array) -> Array:
    t_c, held, p = np.broadcast_arrays(t_c, _ratio(t_c, rh, p), p)
    air, zero = _air(), np.zeros(1)  # either sum rises with the bulb: where it is above 0 at 0 °C, the bulb is below
    iced = _bulb_sum(zero, t_c, held, p, air.ice)[0] > 0.0
    wetted = ~iced & (_bulb_sum(zero, t_c, held, p, air.water)[0] <= 0.0)
    made = np.where(np.isnan(t_c + held + p), np.nan, 0.0)
    made[wetted] = np.maximum(_water_bulb(t_c[wetted], held[wetted], p[wetted]), 0.0)
    made[iced] = np.minimum(_ice_bulb(t_c[iced], held[iced], p[iced]), 0.0)
    return np.where(made < LOWEST_C, np.nan, np.minimum(made, t_c))


def _solved_bulb(bulb: Array, t_c: Array, held: Array, p: Array, phase: _Phase, steps: int) -> Array:
    """Newton on a sum that rises and is convex: from either side it comes down to the zero."""
    for _ in range(steps):
        total, slope = _bulb_sum(bulb, t_c, held, p, phase)
        bulb = np.minimum(bulb - total / slope, t_c)
    return bulb


def _bulb_sum(bulb: Array, t_c: Array, held: Array, p: Array, phase: _Phase) -> tuple[Array, Array]:
    """Equation 33 or 35, cleared of its fractions so that no bulb makes it infinite; and its slope by the bulb."""
    air, t = _air(), k_from_c(bulb)
    full = np.exp(_ln_pressure(t, phase.pressure))
    drawn = air.air_heat * (t_c - bulb) + held * (phase.latent + air.vapour_heat * t_c - phase.heat * bulb)
    drawn_slope = -air.air_heat - held * phase.heat
    given = air.mass_ratio * (phase.latent - phase.slope * bulb) + drawn
    slope = _ln_slope(t, phase.pressure) * given + drawn_slope - air.mass_ratio * phase.slope
    return full * given - p * drawn, full * slope - p * drawn_slope


def _water_bulb(t_c: Array, held: Array, p: Array) -> Array:
    """Start from the pressure that a bulb at 0 °C would ask for, and one step for how that falls."""
    air, water = _air(), _air().water
    drawn = air.air_heat * t_c + held * (water.latent + air.vapour_heat * t_c)
    latent = air.mass_ratio * water.latent
    t = _guess_k(np.log(p * drawn / (latent + drawn)), water)
    fall = (air.air_heat + held * water.heat) / drawn * latent / (latent + drawn)
    seed = (t - k_from_c(0.0)) / (1.0 + fall / _ln_slope(t, water.pressure))
    return _solved_bulb(seed, t_c, held, p, water, _WATER_STEPS)


def _ice_bulb(t_c: Array, held: Array, p: Array) -> Array:
    """Start from 0 °C or the air below that: the bulb is never far under it."""
    return _solved_bulb(np.minimum(t_c, 0.0), t_c, held, p, _air().ice, _ICE_STEPS)


def _rh_from_wet_bulb(t_c: Array, bulb: Array, p: Array) -> Array:
    full = _saturation_pa(t_c)
    check_range("wet_bulb_c", bulb, LOWEST_C, t_c, "°C")
    held = _ratio_from_wet_bulb(t_c, bulb, p)
    dry = held < -_ROUNDING_RATIO
    if np.any(dry):
        t_c, bulb, p = (one[dry][:1] for one in np.broadcast_arrays(t_c, bulb, p))
        dry_bulb = _wet_bulb if bulb[0] < 0.0 else _water_bulb  # the one of ice may lie lower than one of water can
        lowest = np.fmax(dry_bulb(t_c, np.zeros(1), p), LOWEST_C)
        raise OutOfRange("wet_bulb_c", float(bulb[0]), float(lowest[0]), float(t_c[0]), "°C")
    held = np.maximum(held, 0.0)
    return np.minimum(100.0 * p * held / (_air().mass_ratio + held) / full, 100.0)


def _ratio_from_wet_bulb(t_c: Array, bulb: Array, p: Array) -> Array:
    saturated, air = _ratio_of(_saturation_pa(bulb), p), _air()

    def over(phase: _Phase) -> Array:
        top = (phase.latent - phase.slope * bulb) * saturated - air.air_heat * (t_c - bulb)
        return np.asarray(top / (phase.latent + air.vapour_heat * t_c - phase.heat * bulb))

    return np.where(bulb < 0.0, over(air.ice), over(air.water))


def _ln_pressure(t: Array, c: tuple[float, ...]) -> Array:
    return np.asarray(c[0] / t + c[1] + t * (c[2] + t * (c[3] + t * (c[4] + t * c[5]))) + c[6] * np.log(t))


def _ln_slope(t: Array, c: tuple[float, ...]) -> Array:
    return np.asarray((c[6] - c[0] / t) / t + c[2] + t * (2.0 * c[3] + t * (3.0 * c[4] + t * 4.0 * c[5])))


@cache
def _air() -> _Air:
    """The table's constants, looked up once."""
    table = {name: one.value for name, one in constants("psychrometrics").items()}
    i, w = ([table.get(f"{kind}_{n}", 0.0) for n in range(1, 8)] for kind in ("ice", "water"))
    return _Air(
        water=_phase(table, (*w[:5], 0.0, w[5]), (0.0, HIGHEST_C), "wet_bulb", "wet_bulb_water_heat"),
        ice=_phase(table, tuple(i), (LOWEST_C, 0.0), "ice_bulb", "ice_bulb_ice_heat"),
        mass_ratio=table["mass_ratio"],
        air_heat=table["wet_bulb_air_heat"],
        vapour_heat=table["wet_bulb_vapour_heat"],
        gas_constant=table["gas_constant_vapour"],
    )


def _phase(
    table: dict[str, float], pressure: tuple[float, ...], reach_c: tuple[float, float], bulb: str, heat: str
) -> _Phase:
    t = k_from_c(np.linspace(*reach_c, 101))
    ln_p = _ln_pressure(t, pressure)
    reach_pa = float(np.exp(ln_p[0])), float(np.exp(ln_p[-1]))
    seed = np.polyfit(ln_p, 1.0 / t, _SEED_DEGREE)
    return _Phase(
        pressure, reach_c, reach_pa, seed, table[f"{bulb}_latent"], table[f"{bulb}_latent_slope"], table[heat]
    )
