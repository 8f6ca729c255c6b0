"""Moist air: saturation pressure, dew point, wet bulb and humidity ratio, for arrays of any shape.

All equations are those of ASHRAE Handbook Fundamentals, 2017, chapter 1, for a perfect gas mixture;
against real moist air the humidity ratio comes out 0.4 to 0.7 % low (the enhancement factor).
"""

from __future__ import annotations

import numpy as np

from kiln.errors import OutOfRange
from shared.tables import constants
from shared.units import Array, k_from_c

LOWEST_C, HIGHEST_C = -60.0, 130.0
_BISECTIONS = 60  # halves 190 K below 1e-15 K
_WIDEST_DEPRESSION_C = 100.0  # no air on earth, and no kiln, has a wider one


def _value(name: str) -> float:
    return constants("psychrometrics")[name].value


def _check(name: str, values: Array, low: float, high: float, unit: str) -> None:
    wrong = ~((values >= low) & (values <= high)) & ~np.isnan(values)
    if np.any(wrong):
        raise OutOfRange(name, float(values[wrong].flat[0]), low, high, unit)


def saturation_pressure_pa(temperature_c: float | Array) -> Array:
    """Vapour pressure over water, below 0 °C over ice [Pa], at ``temperature_c`` [°C, any shape].

    NaN stays NaN. Raises OutOfRange outside −60 to 130 °C. Source: Equations 5 and 6.
    """
    t_c = np.asarray(temperature_c, dtype=float)
    _check("temperature_c", np.atleast_1d(t_c), LOWEST_C, HIGHEST_C, "°C")
    t = k_from_c(t_c)
    i = [_value(f"ice_{n}") for n in range(1, 8)]
    w = [_value(f"water_{n}") for n in range(1, 7)]
    ice = i[0] / t + i[1] + i[2] * t + i[3] * t**2 + i[4] * t**3 + i[5] * t**4 + i[6] * np.log(t)
    water = w[0] / t + w[1] + w[2] * t + w[3] * t**2 + w[4] * t**3 + w[5] * np.log(t)
    pressure: Array = np.exp(np.where(t_c < 0.0, ice, water))
    return pressure


def vapour_pressure_pa(temperature_c: float | Array, rh_pct: float | Array) -> Array:
    """Partial pressure of water vapour [Pa] in air of ``temperature_c`` [°C] and ``rh_pct`` [%RH]."""
    rh = np.asarray(rh_pct, dtype=float)
    _check("rh_pct", np.atleast_1d(rh), 0.0, 100.0, "%RH")
    return np.asarray(saturation_pressure_pa(temperature_c) * rh / 100.0)


def pressure_at_altitude_pa(altitude_m: float | Array) -> Array:
    """Standard air pressure [Pa] at ``altitude_m`` [m above sea level, −5000 to 11000]. Source: Equation 3."""
    z = np.asarray(altitude_m, dtype=float)
    _check("altitude_m", np.atleast_1d(z), -5000.0, 11000.0, "m")
    lapse = (1.0 - _value("pressure_lapse") * z) ** _value("pressure_exponent")
    return np.asarray(_value("pressure_sea_level") * lapse)


def humidity_ratio(temperature_c: float | Array, rh_pct: float | Array, pressure_pa: float | Array) -> Array:
    """Mass of vapour per mass of dry air [kg/kg] at a total ``pressure_pa`` [Pa]. Source: Equation 20."""
    pv = vapour_pressure_pa(temperature_c, rh_pct)
    return np.asarray(_value("mass_ratio") * pv / (pressure_pa - pv))


def dew_point_c(temperature_c: float | Array, rh_pct: float | Array) -> Array:
    """Temperature [°C] at which this air becomes saturated; NaN where ``rh_pct`` is 0.

    Found by bisection on the saturation pressure, so it inverts it exactly.
    """
    t_c, rh = np.broadcast_arrays(np.asarray(temperature_c, dtype=float), np.asarray(rh_pct, dtype=float))
    pv = vapour_pressure_pa(t_c, rh)
    low, high = np.full(t_c.shape, LOWEST_C), np.array(t_c, dtype=float)
    for _ in range(_BISECTIONS):
        middle = (low + high) / 2.0
        above = saturation_pressure_pa(middle) > pv
        low, high = np.where(above, low, middle), np.where(above, middle, high)
    reachable = pv >= saturation_pressure_pa(LOWEST_C)
    return np.asarray(np.where(reachable, (low + high) / 2.0, np.nan))


def wet_bulb_c(temperature_c: float | Array, rh_pct: float | Array, pressure_pa: float | Array) -> Array:
    """Thermodynamic wet-bulb temperature [°C] at a total ``pressure_pa`` [Pa]; below 0 °C that of ice.

    Found by bisection. Source: Equations 33 and 35.
    """
    t_c, rh = np.broadcast_arrays(np.asarray(temperature_c, dtype=float), np.asarray(rh_pct, dtype=float))
    held = humidity_ratio(t_c, rh, pressure_pa)
    low, high = np.maximum(t_c - _WIDEST_DEPRESSION_C, LOWEST_C), np.array(t_c, dtype=float)
    for _ in range(_BISECTIONS):
        middle = (low + high) / 2.0
        above = _ratio_from_wet_bulb(t_c, middle, pressure_pa) > held
        low, high = np.where(above, low, middle), np.where(above, middle, high)
    return np.asarray((low + high) / 2.0)


def _ratio_from_wet_bulb(t_c: Array, bulb_c: Array, pressure_pa: float | Array) -> Array:
    saturated = humidity_ratio(bulb_c, 100.0, pressure_pa)
    air, vapour = _value("wet_bulb_air_heat"), _value("wet_bulb_vapour_heat")

    def with_bulb(kind: str, own: str) -> Array:
        latent, slope, heat = _value(f"{kind}_latent"), _value(f"{kind}_latent_slope"), _value(own)
        top = (latent - slope * bulb_c) * saturated - air * (t_c - bulb_c)
        return np.asarray(top / (latent + vapour * t_c - heat * bulb_c))

    wet = with_bulb("wet_bulb", "wet_bulb_water_heat")
    return np.asarray(np.where(bulb_c < 0.0, with_bulb("ice_bulb", "ice_bulb_ice_heat"), wet))
