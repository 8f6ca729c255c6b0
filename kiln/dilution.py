"""How much air dilutes a vapour: the published formulas for health and for fire, with the volume of a perfect gas.

ACGIH, Industrial Ventilation, prints them for 70 °F in pints a minute: Q = 403 SG ER 10⁶ K/(MW TLV) for health and
Q = 403 SG ER 100 Sf/(MW LEL B) for fire, 403 being the ft³ of vapour of a pint of water were its MW 1 (from memory).
Here the volume is R T/P at the room's own temperature and pressure. Of a mixture the airs for each ingredient add up.
A formula of dilution is none for what sensitizes lungs: who asks, asks ``Mixture.refusal`` first.
"""

from __future__ import annotations

from kiln.errors import check_number
from kiln.vapour import vapour_volume_m3
from shared.errors import BadInput
from shared.tables import FIRE
from shared.units import MG_PER_KG, PPM_PER_FRACTION


def health_air_m3_s(rate_kg_s: float, limit_mg_m3: float, mixing_factor: float) -> float:
    """Air [m³/s] that keeps the mean of ``rate_kg_s`` of vapour at a limit in mg/m³; Q = G K/L.

    ``mixing_factor``: K, 3 to 10. Raises OutOfRange outside that, BadInput for a limit that is not above 0.
    """
    _check_factors(rate_kg_s, limit_mg_m3, "limit_mg_m3", mixing_factor)
    return rate_kg_s * MG_PER_KG * mixing_factor / limit_mg_m3


def health_air_of_ppm_m3_s(
    rate_kg_s: float,
    molar_mass_kg_mol: float,
    limit_ppm: float,
    mixing_factor: float,
    temperature_c: float,
    pressure_pa: float,
) -> float:
    """Air [m³/s] that keeps the mean of ``rate_kg_s`` of vapour at a limit in ppm, as ACGIH has it; errors as above."""
    _check_factors(rate_kg_s, limit_ppm, "limit_ppm", mixing_factor)
    vapour_m3_s = vapour_volume_m3(rate_kg_s, molar_mass_kg_mol, temperature_c, pressure_pa)
    return vapour_m3_s * PPM_PER_FRACTION * mixing_factor / limit_ppm


def fire_air_m3_s(
    rate_kg_s: float,
    molar_mass_kg_mol: float,
    lel_vol_fraction: float,
    safety_factor: float,
    temperature_c: float,
    pressure_pa: float,
) -> float:
    """Air [m³/s] that keeps the mean ``safety_factor`` times below the lower explosive limit [volume fraction].

    Raises OutOfRange for a factor below 1, BadInput for a limit that is not above 0. Source: ACGIH, as above; the
    factor 4 (a quarter of the limit) is for steady drying, 10 to 12 for batches and badly mixed air.
    """
    check_number("safety_factor", safety_factor, 1.0, 100.0, "")
    _check_positive(lel_vol_fraction, "lel_vol_fraction")
    vapour_m3_s = vapour_volume_m3(rate_kg_s, molar_mass_kg_mol, temperature_c, pressure_pa)
    return vapour_m3_s * safety_factor / (lel_vol_fraction * heat_factor(temperature_c))


def air_for_liquid_m3(vapour_m3: float, lel_vol_fraction: float) -> float:
    """Air [m³] for what evaporates from some liquid as ``vapour_m3``: 4 (100 - LEL) v/LEL.

    The form below Table G-11 of 29 CFR 1910.94(c)(6), there a gallon's (from memory); 4 is a quarter of the limit.
    """
    _check_positive(lel_vol_fraction, "lel_vol_fraction")
    return FIRE["per_gallon_factor"].value * (1.0 - lel_vol_fraction) * vapour_m3 / lel_vol_fraction


def heat_factor(temperature_c: float) -> float:
    """B: what is left of a lower explosive limit in hot air: 0.7 above 121 °C, 1 up to there (ACGIH, from memory)."""
    return FIRE["warm_factor"].value if temperature_c > FIRE["warm_from_c"].value else 1.0


def _check_factors(rate_kg_s: float, limit: float, name: str, mixing_factor: float) -> None:
    low, high = FIRE["mixing_factor_low"].value, FIRE["mixing_factor_high"].value
    check_number("mixing_factor", mixing_factor, low, high, "")
    check_number("rate_kg_s", rate_kg_s, 0.0, 100.0, "kg/s")
    _check_positive(limit, name)


def _check_positive(limit: float, name: str) -> None:
    if not limit > 0.0:
        raise BadInput(name, limit, "a limit above 0")
