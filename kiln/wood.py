"""Mass, volume, water and heat: density, the most water a piece can hold, weighing, shrinkage, thermal values.

Specific gravity is always the handbook's: oven-dry mass over volume at the named moisture content,
so "0.49 at 12 %" weighs 549 kg/m³ there. Lists that print mass at 12 % over volume at 12 % stand
1.12 times higher and must not be entered as specific gravity.
"""

from __future__ import annotations

import numpy as np

from kiln.errors import refuse_unless
from shared.tables import constants
from shared.units import Array

WATER_KG_M3 = 1000.0  # the density to which specific gravity refers
CONVENTIONAL_FSP_PCT = 30.0
CONDUCTIVITY_LEAST_GRAVITY, CONDUCTIVITY_MOST_MC_PCT = 0.3, 25.0  # printed beside Equation 4-17


def maximum_mc_pct(basic_specific_gravity: float | Array) -> Array:
    """Moisture content [%MC] with every cavity full of water; any shape, NaN stays NaN.

    Raises OutOfRange unless 0 < specific gravity < 1.54. Source: FPL-GTR-282, 2021, Equation 4-3.
    """
    gb, wall = _basic(basic_specific_gravity), _cell_wall()
    return np.asarray(100.0 * (wall - gb) / (wall * gb))


def sink_mc_pct(basic_specific_gravity: float | Array) -> Array:
    """Moisture content [%MC] at which the piece sinks; any shape. Source: FPL-GTR-282, 2021, Equation 4-4.

    Negative where even oven-dry wood sinks. Raises OutOfRange unless 0 < specific gravity < 1.54.
    """
    gb = _basic(basic_specific_gravity)
    return np.asarray(100.0 * (1.0 - gb) / gb)


def mc_pct_from_mass(mass_kg: float | Array, oven_dry_mass_kg: float | Array) -> Array:
    """Moisture content [% of oven-dry mass] of a piece weighing ``mass_kg`` [kg]; any shape, NaN stays NaN.

    Source: FPL-GTR-282, 2021, chapter 4 (definition). Raises OutOfRange when the oven-dry mass is not positive.
    """
    dry = np.asarray(oven_dry_mass_kg, dtype=float)
    refuse_unless(dry > 0, "oven_dry_mass_kg", dry, 0.0, np.inf, "kg")
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


def volumetric_shrinkage_from_basic_pct(basic_specific_gravity: float | Array) -> Array:
    """Volumetric shrinkage green to oven-dry [% of the green volume], where none was measured; any shape.

    Raises OutOfRange unless 0 < specific gravity < 1.54. Source: FPL-GTR-282, 2021, Equation 4-12.
    """
    return np.asarray(_shrinkage_per_basic() * _basic(basic_specific_gravity))


def density_kg_m3(specific_gravity_at_mc: float | Array, mc_pct: float | Array) -> Array:
    """Density [kg/m³] at ``mc_pct`` from the specific gravity at that same moisture content. Source: Equation 4-14."""
    return np.asarray(WATER_KG_M3 * np.asarray(specific_gravity_at_mc) * (1.0 + np.asarray(mc_pct) / 100.0))


def specific_gravity_at(
    basic_specific_gravity: float, volumetric_shrinkage_pct: float, mc_pct: float, fsp_pct: float = CONVENTIONAL_FSP_PCT
) -> float:
    """Specific gravity at ``mc_pct`` from the basic one and the total volumetric shrinkage. Source: Equation 4-11."""
    return basic_specific_gravity / (1.0 - float(shrinkage_pct(volumetric_shrinkage_pct, mc_pct, fsp_pct)) / 100.0)


def density_at_mc_kg_m3(
    basic_specific_gravity: float | Array,
    mc_pct: float | Array,
    volumetric_shrinkage_pct: float | Array | None = None,
    fsp_pct: float = CONVENTIONAL_FSP_PCT,
) -> Array:
    """Density, water included [kg/m³], at ``mc_pct`` [%MC] from the basic specific gravity; any shape.

    ``volumetric_shrinkage_pct``: green to oven-dry [%], 0 to below 100; None takes 26.5 times the basic
    specific gravity. NaN stays NaN. Raises OutOfRange unless 0 < specific gravity < 1.54 and mc_pct >= 0.
    Source: FPL-GTR-282, 2021, Equations 4-11 and 4-14; without a shrinkage 4-13 and 4-14.
    """
    gb, m = _basic(basic_specific_gravity), _moisture(mc_pct)
    given = volumetric_shrinkage_pct is not None
    total = _shrinkage(volumetric_shrinkage_pct) if given else volumetric_shrinkage_from_basic_pct(gb)
    return density_kg_m3(gb / (1.0 - shrinkage_pct(total, m, fsp_pct) / 100.0), m)


def basic_specific_gravity_from_density(
    density_kg_m3: float | Array,
    mc_pct: float | Array,
    volumetric_shrinkage_pct: float | Array | None = None,
    fsp_pct: float = CONVENTIONAL_FSP_PCT,
) -> Array:
    """Basic specific gravity of wood of ``density_kg_m3`` [kg/m³, water included] at ``mc_pct`` [%MC]; any shape.

    The exact inverse of ``density_at_mc_kg_m3``, with or without a known shrinkage. NaN stays NaN.
    Raises OutOfRange unless density > 0 and mc_pct >= 0; the answer may exceed what any wood has.
    Source: FPL-GTR-282, 2021, Equations 4-9, 4-12 and 4-14, solved for the basic specific gravity.
    """
    rho, m = _density("density_kg_m3", density_kg_m3), _moisture(mc_pct)
    gravity = rho / (WATER_KG_M3 * (1.0 + m / 100.0))
    if volumetric_shrinkage_pct is None:
        return np.asarray(gravity / (1.0 + gravity * shrinkage_pct(_shrinkage_per_basic(), m, fsp_pct) / 100.0))
    return np.asarray(gravity * (1.0 - shrinkage_pct(_shrinkage(volumetric_shrinkage_pct), m, fsp_pct) / 100.0))


def density_from_oven_dry_kg_m3(
    oven_dry_density_kg_m3: float | Array,
    mc_pct: float | Array,
    volumetric_shrinkage_pct: float | Array | None = None,
    fsp_pct: float = CONVENTIONAL_FSP_PCT,
) -> Array:
    """Density, water included [kg/m³], at ``mc_pct`` [%MC] from oven-dry mass over oven-dry volume [kg/m³].

    Any shape; NaN stays NaN. ``volumetric_shrinkage_pct`` as in ``density_at_mc_kg_m3``.
    Raises OutOfRange unless density > 0 and mc_pct >= 0. Source: FPL-GTR-282, 2021, Equations 4-15 and 4-16.
    """
    rho, m = _density("oven_dry_density_kg_m3", oven_dry_density_kg_m3), _moisture(mc_pct)
    if volumetric_shrinkage_pct is None:
        per_basic = _shrinkage_per_basic()
        total = np.asarray(per_basic * rho / (WATER_KG_M3 + per_basic / 100.0 * rho))
    else:
        total = _shrinkage(volumetric_shrinkage_pct)
    return np.asarray(rho * (1.0 + m / 100.0) * (100.0 - total) / (100.0 - shrinkage_pct(total, m, fsp_pct)))


def conductivity_w_mk(specific_gravity_at_mc: float | Array, mc_pct: float | Array) -> Array:
    """Thermal conductivity across the grain [W/(m·K)] at about 24 °C; any shape, NaN stays NaN.

    ``specific_gravity_at_mc``: oven-dry mass over volume at ``mc_pct`` [%MC]. Along the grain it is 1.5 to 2.8
    times as much. Raises OutOfRange outside 0.3 to 1.54, or outside 0 to 25 %MC.
    Source: Wood Handbook FPL-GTR-282, 2021, Equation 4-17.
    """
    gravity, m, wall = np.asarray(specific_gravity_at_mc, dtype=float), np.asarray(mc_pct, dtype=float), _cell_wall()
    enough = (gravity >= CONDUCTIVITY_LEAST_GRAVITY) & (gravity <= wall)
    refuse_unless(enough, "specific_gravity_at_mc", gravity, CONDUCTIVITY_LEAST_GRAVITY, wall, "")
    refuse_unless((m >= 0) & (m <= CONDUCTIVITY_MOST_MC_PCT), "mc_pct", m, 0.0, CONDUCTIVITY_MOST_MC_PCT, "%MC")
    table = constants("wood")
    per_gravity = table["conductivity_dry_slope"].value + table["conductivity_moisture_slope"].value * m
    return np.asarray(gravity * per_gravity + table["conductivity_base"].value)


def heat_capacity_j_kgk(mc_pct: float | Array, temperature_k: float | Array) -> Array:
    """Heat capacity of wood with its water [J/(kg·K)], per kg of moist wood; any shape, NaN stays NaN.

    Raises OutOfRange outside 0 to 30 %MC (below fibre saturation), or outside 280.15 to 420.15 K.
    Source: Wood Handbook FPL-GTR-190, 2010, Equations 4-16a, 4-17 and 4-18; its temperatures from memory.
    """
    m, t = np.asarray(mc_pct, dtype=float), np.asarray(temperature_k, dtype=float)
    table = {name: one.value for name, one in constants("wood").items()}
    low, high = table["heat_lowest_temperature"], table["heat_highest_temperature"]
    refuse_unless((m >= 0) & (m <= CONVENTIONAL_FSP_PCT), "mc_pct", m, 0.0, CONVENTIONAL_FSP_PCT, "%MC")
    refuse_unless((t >= low) & (t <= high), "temperature_k", t, low, high, "K")
    dry = table["heat_dry_base"] + table["heat_dry_slope"] * t
    bound = table["heat_bound_base"] + table["heat_bound_temperature"] * t + table["heat_bound_moisture"] * m
    return np.asarray((dry + table["heat_water"] * m / 100.0) / (1.0 + m / 100.0) + m * bound)


def _cell_wall() -> float:
    return constants("sorption")["cell_wall_specific_gravity"].value


def _shrinkage_per_basic() -> float:
    return constants("wood")["volumetric_shrinkage_per_basic"].value


def _basic(values: float | Array) -> Array:
    gb, wall = np.asarray(values, dtype=float), _cell_wall()
    refuse_unless((gb > 0) & (gb < wall), "basic_specific_gravity", gb, 0.0, wall, "")
    return gb


def _moisture(values: float | Array) -> Array:
    m = np.asarray(values, dtype=float)
    refuse_unless((m >= 0) & (m < np.inf), "mc_pct", m, 0.0, np.inf, "%MC")
    return m


def _shrinkage(values: float | Array | None) -> Array:
    s = np.asarray(values, dtype=float)
    refuse_unless((s >= 0) & (s < 100.0), "volumetric_shrinkage_pct", s, 0.0, 100.0, "%")
    return s


def _density(name: str, values: float | Array) -> Array:
    rho = np.asarray(values, dtype=float)
    refuse_unless((rho > 0) & (rho < np.inf), name, rho, 0.0, np.inf, "kg/m³")
    return rho
