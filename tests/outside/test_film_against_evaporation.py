"""Vapour off a wet face by the film and the analogy of heat and mass transfer, against diffusion and against pools."""

import numpy as np
import pytest
from film import evaporation_heat_j_kg, per_pa

from kiln import film as films
from shared.tables import constants

PA_PER_IN_HG, J_PER_BTU, KG_PER_LB, M_PER_FT = 3386.39, 1055.06, 0.453592, 0.3048
QUIET = 0.74


def pool_kg_m2s_pa(speed_m_s):
    """Evaporation from quiet water: 0.74 of (95 + 0.425 v) (p_w - p_a) / Y [lb/h ft², ft/min, in Hg, Btu/lb].

    Smith, Löf and Jones, ASHRAE Transactions 104 (1A), 1998, abstract (authors from memory).
    """
    feet_a_minute = speed_m_s * 60.0 / M_PER_FT
    heat_btu_lb = evaporation_heat_j_kg() / J_PER_BTU * KG_PER_LB
    pounds = QUIET * (95.0 + 0.425 * feet_a_minute) / heat_btu_lb
    return pounds * KG_PER_LB / 3600.0 / M_PER_FT**2 / PA_PER_IN_HG


@pytest.mark.parametrize("speed_m_s", [0.25, 0.5, 1.0, 1.5])
def test_a_wet_board_and_a_pool_give_off_alike(speed_m_s):
    """A pool is metres long and its air turbulent: that evens out, so a half more or less is all that can be asked."""
    board = per_pa(films.plate_film_w_m2k(speed_m_s, 0.2, 20.0), 20.0)
    assert 1 / 1.5 < board / pool_kg_m2s_pa(speed_m_s) < 1.5


@pytest.mark.parametrize("speed_m_s", [0.5, 1.0, 2.0])
def test_the_analogy_and_the_same_plate_worked_out_for_vapour(speed_m_s):
    """Sh = 0.664 Re^½ Sc^⅓ with D = 1.87e-10 T^2.072 / p [m²/s, K, atm] (Marrero and Mason, 1972; from memory).

    The analogy's own factor (Lewis number to ⅔, 0.9) is rounded to one figure.
    """
    t_k, along = 293.15, 0.2
    diffusivity = 1.87e-10 * t_k**2.072
    viscosity = films.air_properties(20.0).viscosity_m2_s
    sherwood = 0.664 * np.sqrt(speed_m_s * along / viscosity) * (viscosity / diffusivity) ** (1 / 3)
    vapour = sherwood * diffusivity / along / (constants("psychrometrics")["gas_constant_vapour"].value * t_k)
    assert per_pa(films.forced_film_w_m2k(speed_m_s, along, 20.0), 20.0) == pytest.approx(vapour, rel=0.05)
