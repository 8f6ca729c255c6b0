"""Every unit conversion and exact constant, in one place.

Inside the program: kg, m, s, Pa, and K where physics needs it; °C, %RH and %MC (of oven-dry mass)
where the field writes them so. Time is UTC, in milliseconds since 1970 (``_ms``) or seconds (``_s``).
A converter is named result first, so that a line reads straight: ``t_k = k_from_c(t_c)``.
"""

from __future__ import annotations

from datetime import UTC, datetime
from typing import overload

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

ZERO_CELSIUS_K = 273.15  # exact; SI Brochure, 9th edition (2019), section 2.3.1
MM_PER_M = 1000.0
MM_PER_INCH = 25.4  # exact; NIST Special Publication 811 (2008), Appendix B.8
INCHES_PER_FOOT = 12  # exact; NIST SP 811 (2008), B.8
F_PER_C = 1.8  # exact, of differences; the same, section B.8: t/°C = (t/°F - 32)/1.8
F_AT_ZERO_C = 32.0
GRAMS_PER_KG = 1000.0
MG_PER_KG = 1e6
PPM_PER_FRACTION = 1e6
GAS_CONSTANT_J_MOL_K = 8.314462618  # CODATA 2018, exact since the SI of 2019 but for further digits
STANDARD_C, STANDARD_PA = 25.0, 101_325.0  # of printed limits in air: NIOSH Pocket Guide (2007), introduction
M3_PER_BOARD_FOOT = 144 * 0.0254**3  # exact: 144 cubic inches of 25.4 mm
MS_PER_S = 1000
S_PER_MINUTE = 60
S_PER_HOUR = 3600
S_PER_DAY = 86_400
MS_PER_MINUTE = S_PER_MINUTE * MS_PER_S
MS_PER_HOUR = S_PER_HOUR * MS_PER_S
MS_PER_DAY = S_PER_DAY * MS_PER_S


@overload
def k_from_c(temperature_c: float) -> float: ...
@overload
def k_from_c(temperature_c: Array) -> Array: ...
def k_from_c(temperature_c: float | Array) -> float | Array:
    """Return a temperature in K, given °C."""
    return temperature_c + ZERO_CELSIUS_K


def c_from_k(temperature_k: float) -> float:
    """Return a temperature in °C, given K."""
    return temperature_k - ZERO_CELSIUS_K


def c_from_f(temperature_f: float) -> float:
    """Return a temperature in °C, given °F (exact: 5/9 of the distance from 32)."""
    return (temperature_f - 32.0) * 5.0 / 9.0


def f_from_c(temperature_c: float) -> float:
    """Return a temperature in °F, given °C (exact)."""
    return temperature_c * F_PER_C + F_AT_ZERO_C


def f_difference_from_c(difference_c: float) -> float:
    """Return a difference of temperatures in °F, given °C (exact)."""
    return difference_c * F_PER_C


def c_difference_from_f(difference_f: float) -> float:
    """Return a difference of temperatures in °C, given °F (exact)."""
    return difference_f / F_PER_C


def inches_from_mm(length_mm: float) -> float:
    """Return a length in inches, given mm (exact)."""
    return length_mm / MM_PER_INCH


def mm_from_inches(length_in: float) -> float:
    """Return a length in mm, given inches (exact)."""
    return length_in * MM_PER_INCH


def mm_from_feet(length_ft: float) -> float:
    """Return a length in mm, given feet (exact: twelve inches each)."""
    return mm_from_inches(length_ft * INCHES_PER_FOOT)


def m_from_mm(length_mm: float) -> float:
    """Return a length in m, given mm."""
    return length_mm / MM_PER_M


def mm_from_m(length_m: float) -> float:
    """Return a length in mm, given m."""
    return length_m * MM_PER_M


def kg_from_g(mass_g: float) -> float:
    """Return a mass in kg, given g."""
    return mass_g / GRAMS_PER_KG


def g_from_kg(mass_kg: float) -> float:
    """Return a mass in g, given kg."""
    return mass_kg * GRAMS_PER_KG


def kpa_from_pa(pressure_pa: float) -> float:
    """Return a pressure in kPa, given Pa."""
    return pressure_pa / 1000.0


def m3_from_l(volume_l: float) -> float:
    """Return a volume in m³, given litres."""
    return volume_l / 1000.0


def l_from_m3(volume_m3: float) -> float:
    """Return a volume in litres, given m³."""
    return volume_m3 * 1000.0


def m3_s_from_m3_h(flow_m3_h: float) -> float:
    """Return a flow of air in m³/s, given m³/h."""
    return flow_m3_h / S_PER_HOUR


def m3_h_from_m3_s(flow_m3_s: float) -> float:
    """Return a flow of air in m³/h, given m³/s."""
    return flow_m3_s * S_PER_HOUR


def kg_m3_from_kg_l(density_kg_l: float) -> float:
    """Return a density in kg/m³, given kg/l (the same figure as g/cm³)."""
    return density_kg_l * 1000.0


def kg_l_from_kg_m3(density_kg_m3: float) -> float:
    """Return a density in kg/l, given kg/m³."""
    return density_kg_m3 / 1000.0


def board_feet_from_m3(volume_m3: float) -> float:
    """Return a volume in board feet, given m³ (exact: 144 cubic inches each)."""
    return volume_m3 / M3_PER_BOARD_FOOT


def gpa_from_pa(pressure_pa: float) -> float:
    """Return a pressure or a modulus in GPa, given Pa."""
    return pressure_pa / 1e9


def ms_from_datetime(moment: datetime) -> int:
    """Return UTC milliseconds since 1970, given an aware datetime."""
    if moment.tzinfo is None:
        raise ValueError("a datetime without a time zone has no place in the store")
    return round(moment.timestamp() * MS_PER_S)


def datetime_from_ms(at_ms: int) -> datetime:
    """Return an aware UTC datetime, given milliseconds since 1970."""
    return datetime.fromtimestamp(at_ms / MS_PER_S, tz=UTC)
