"""Mass, volume and water: density, the most water a piece can hold, moisture content by weighing, shrinkage.

Specific gravity is always the handbook's: oven-dry mass over volume at the named moisture content.
"""

from __future__ import annotations

import numpy as np

from kiln.errors import OutOfRange
from shared.tables import constants
from shared.units import Array

WATER_KG_M3 = 1000.0  # the density to which specific gravity refers
CONVENTIONAL_FSP_PCT = 30.0


def maximum_mc_pct(basic_specific_gravity: float | Array) -> Array:
    """Moisture content [%MC] with every cavity full of water.

    Raises OutOfRange unless 0 < specific gravity < 1.54. Source: FPL-GTR-282, 2021, Equation 4-3.
    """
    gb = np.asarray(basic_specific_gravity, dtype=float)
    wall = constants("sorption")["cell_wall_specific_gravity"].value
    if np.any(~((gb > 0) & (gb < wall))):
        raise OutOfRange("basic_specific_gravity", float(np.atleast_1d(gb).flat[0]), 0.0, wall, "")
    return np.asarray(100.0 * (wall - gb) / (wall * gb))


def sink_mc_pct(basic_specific_gravity: float | Array) -> Array:
    """Moisture content [%MC] at which the piece sinks. Source: FPL-GTR-282, 2021, Equation 4-4."""
    gb = np.asarray(basic_specific_gravity, dtype=float)
    return np.asarray(100.0 * (1.0 - gb) / gb)


def mc_pct_from_mass(mass_kg: float | Array, oven_dry_mass_kg: float | Array) -> Array:
    """Moisture content [% of oven-dry mass] of a piece weighing ``mass_kg`` [kg].

    Source: FPL-GTR-282, 2021, chapter 4 (definition). Raises OutOfRange when the oven-dry mass is not positive.
    """
    dry = np.asarray(oven_dry_mass_kg, dtype=float)
    if np.any(~(dry > 0)):
        raise OutOfRange("oven_dry_mass_kg", float(np.atleast_1d(dry).flat[0]), 0.0, np.inf, "kg")
    return np.asarray(100.0 * (np.asarray(mass_kg, dtype=float) - dry) / dry)


def oven_dry_mass_kg(basic_specific_gravity: float, green_volume_m3: float) -> float:
    """Oven-dry mass [kg] of a piece from its species' basic specific gravity and its green volume [m³]."""
    return basic_specific_gravity * WATER_KG_M3 * green_volume_m3


def shrinkage_pct(total_pct: float | Array, mc_pct: float | Array, fsp_pct: float = CONVENTIONAL_FSP_PCT) -> Array:
    """Shrinkage [% of the green size] from green to ``mc_pct`` [%MC]; none at or above fibre saturation.

    ``total_pct``: green to oven-dry. Source: FPL-GTR-282, 2021, Equation 4-9, with its line held at zero above FSP.
    """
    m = np.asarray(mc_pct, dtype=float)
    return np.asarray(total_pct * np.clip(1.0 - m / fsp_pct, 0.0, 1.0))


def density_kg_m3(specific_gravity_at_mc: float | Array, mc_pct: float | Array) -> Array:
    """Density [kg/m³] at ``mc_pct`` from the specific gravity at that same moisture content. Source: Equation 4-14."""
    return np.asarray(WATER_KG_M3 * np.asarray(specific_gravity_at_mc) * (1.0 + np.asarray(mc_pct) / 100.0))


def specific_gravity_at(
    basic_specific_gravity: float, volumetric_shrinkage_pct: float, mc_pct: float, fsp_pct: float = CONVENTIONAL_FSP_PCT
) -> float:
    """Specific gravity at ``mc_pct`` from the basic one and the total volumetric shrinkage. Source: Equation 4-11."""
    return basic_specific_gravity / (1.0 - float(shrinkage_pct(volumetric_shrinkage_pct, mc_pct, fsp_pct)) / 100.0)
