"""Vapour of solvents as a perfect gas: parts per million and milligrams in a cubic metre, and what a liquid becomes.

ppm are millionths of the volume of the air. Limits are printed for 25 °C and 101.325 kPa (NIOSH Pocket Guide,
introduction); a room has its own temperature and pressure, and both change what a milligram is in ppm.
"""

from __future__ import annotations

from typing import overload

from kiln.errors import check_number
from shared.units import (
    GAS_CONSTANT_J_MOL_K,
    MG_PER_KG,
    PPM_PER_FRACTION,
    STANDARD_C,
    STANDARD_PA,
    Array,
    k_from_c,
)

COLDEST_C, HOTTEST_C = -40.0, 400.0
LOWEST_PA, HIGHEST_PA = 50_000.0, 120_000.0  # 5,500 m up to the deepest mines: beyond is a slip of units


def molar_volume_m3_mol(temperature_c: float = STANDARD_C, pressure_pa: float = STANDARD_PA) -> float:
    """Volume of a mole of any perfect gas [m³/mol] at ``temperature_c`` [°C] and ``pressure_pa`` [Pa]: R T / P.

    Raises OutOfRange outside -40 to 400 °C or 50 to 120 kPa. Source: the perfect gas law, R from CODATA 2018.
    """
    check_number("temperature_c", temperature_c, COLDEST_C, HOTTEST_C, "°C")
    check_number("pressure_pa", pressure_pa, LOWEST_PA, HIGHEST_PA, "Pa")
    return GAS_CONSTANT_J_MOL_K * k_from_c(temperature_c) / pressure_pa


@overload
def ppm_from_mg_m3(
    concentration_mg_m3: float, molar_mass_kg_mol: float, temperature_c: float = ..., pressure_pa: float = ...
) -> float: ...
@overload
def ppm_from_mg_m3(
    concentration_mg_m3: Array, molar_mass_kg_mol: float, temperature_c: float = ..., pressure_pa: float = ...
) -> Array: ...
def ppm_from_mg_m3(
    concentration_mg_m3: float | Array,
    molar_mass_kg_mol: float,
    temperature_c: float = STANDARD_C,
    pressure_pa: float = STANDARD_PA,
) -> float | Array:
    """Return a concentration in ppm, given mg/m³ (any shape), the molar mass [kg/mol], °C and Pa; errors as below."""
    check_molar_mass(molar_mass_kg_mol)
    kg_m3 = concentration_mg_m3 / MG_PER_KG
    return kg_m3 / molar_mass_kg_mol * molar_volume_m3_mol(temperature_c, pressure_pa) * PPM_PER_FRACTION


@overload
def mg_m3_from_ppm(
    concentration_ppm: float, molar_mass_kg_mol: float, temperature_c: float = ..., pressure_pa: float = ...
) -> float: ...
@overload
def mg_m3_from_ppm(
    concentration_ppm: Array, molar_mass_kg_mol: float, temperature_c: float = ..., pressure_pa: float = ...
) -> Array: ...
def mg_m3_from_ppm(
    concentration_ppm: float | Array,
    molar_mass_kg_mol: float,
    temperature_c: float = STANDARD_C,
    pressure_pa: float = STANDARD_PA,
) -> float | Array:
    """Return a concentration in mg/m³, given ppm (any shape), the molar mass [kg/mol], °C and Pa.

    Raises OutOfRange for a molar mass outside 2 to 1000 g/mol, or as ``molar_volume_m3_mol``.
    """
    check_molar_mass(molar_mass_kg_mol)
    mol_m3 = concentration_ppm / PPM_PER_FRACTION / molar_volume_m3_mol(temperature_c, pressure_pa)
    return mol_m3 * molar_mass_kg_mol * MG_PER_KG


def vapour_volume_m3(
    mass_kg: float, molar_mass_kg_mol: float, temperature_c: float = STANDARD_C, pressure_pa: float = STANDARD_PA
) -> float:
    """Volume of vapour [m³] that ``mass_kg`` of a solvent becomes; errors as ``mg_m3_from_ppm``."""
    check_molar_mass(molar_mass_kg_mol)
    return mass_kg / molar_mass_kg_mol * molar_volume_m3_mol(temperature_c, pressure_pa)


def check_molar_mass(molar_mass_kg_mol: float) -> None:
    """Raise OutOfRange for a molar mass [kg/mol] that no vapour has: a figure in g/mol lies a thousandfold above."""
    check_number("molar_mass_kg_mol", molar_mass_kg_mol, 0.002, 1.0, "kg/mol")
