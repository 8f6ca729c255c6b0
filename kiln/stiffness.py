"""Stiffness and moisture: how modulus and strength of clear wood move with moisture content below the green state.

For straight-grained wood free of defects, at about 21 °C. The handbook advises against the formula for
work to maximum load, impact bending and tension across the grain.
"""

from __future__ import annotations

import numpy as np

from kiln.errors import refuse_unless
from shared.errors import BadInput
from shared.tables import Species, constants
from shared.units import Array

TABLE_MC_PCT = 12.0  # the moisture content of the handbook's dry columns


def intersection_mc_pct(botanical_name: str = "") -> float:
    """Moisture content [%MC] below which strength begins to rise as the timber dries; 25 where none is printed.

    A lot named after its species ("Picea sitchensis, pond lot") takes the value of the species.
    Source: Wood Handbook FPL-GTR-282, 2021, Table 5-13; the default from page 5-34.
    """
    table = constants("strength")
    return table.get(botanical_name.partition(",")[0].strip(), table["default"]).value


def property_at_mc(
    at_12: float | Array, green: float | Array, mc_pct: float | Array, intersection_pct: float | None = None
) -> Array:
    """Return a property of clear wood at ``mc_pct`` [%MC] from its values at 12 % and green, in their unit; any shape.

    ``intersection_pct`` [%MC]: see ``intersection_mc_pct``; None takes the default, 25. At and above it the
    property is the green one. NaN stays NaN. Below about 6 %MC the curve runs on beyond common tests.
    Raises OutOfRange unless both values are positive, mc_pct >= 0 and the intersection lies above 12 %MC.
    Source: Wood Handbook FPL-GTR-282, 2021, Equation 5-3.
    """
    dry, wet, m = (np.asarray(one, dtype=float) for one in (at_12, green, mc_pct))
    meet = np.asarray(intersection_mc_pct() if intersection_pct is None else intersection_pct, dtype=float)
    refuse_unless((dry > 0) & (dry < np.inf), "at_12", dry, 0.0, np.inf, "")
    refuse_unless((wet > 0) & (wet < np.inf), "green", wet, 0.0, np.inf, "")
    refuse_unless((m >= 0) & (m < np.inf), "mc_pct", m, 0.0, np.inf, "%MC")
    refuse_unless((meet > TABLE_MC_PCT) & (meet < np.inf), "intersection_pct", meet, TABLE_MC_PCT, np.inf, "%MC")
    below = np.minimum(m, meet)  # at the intersection the exponent is −1 and the value the green one
    return np.asarray(dry * (dry / wet) ** ((TABLE_MC_PCT - below) / (meet - TABLE_MC_PCT)))


def modulus_pa(
    moe_12_pa: float | Array, moe_green_pa: float | Array, mc_pct: float | Array, intersection_pct: float | None = None
) -> Array:
    """Modulus of elasticity along the grain [Pa] at ``mc_pct`` [%MC] from those at 12 % and green [Pa]; any shape.

    Range, errors and source as in ``property_at_mc``. A species' mean: clear pieces scatter by ``modulus_cv()``.
    """
    return property_at_mc(moe_12_pa, moe_green_pa, mc_pct, intersection_pct)


def modulus_cv() -> float:
    """Coefficient of variation of the modulus among clear pieces of one species (0.22; from memory)."""
    return constants("wood")["modulus_cv"].value


def species_modulus_pa(species: Species, mc_pct: float | Array) -> Array:
    """Mean modulus of elasticity of a timber [Pa] at ``mc_pct`` [%MC, any shape], with its own intersection.

    Raises BadInput when the tables hold no modulus of it at 12 % or none of it green.
    """
    if species.moe_12_pa is None or species.moe_green_pa is None:
        lacking = "at 12 %" if species.moe_12_pa is None else "green"
        raise BadInput(f"modulus of {species.label} {lacking}", None, "a value in the species table")
    return modulus_pa(species.moe_12_pa, species.moe_green_pa, mc_pct, intersection_mc_pct(species.botanical_name))
