"""Against CoolProp's dry air (Lemmon and Jacobsen, 2004), and its moist air for what leaving the vapour out costs.

Lemmon and Jacobsen give their own viscosity and conductivity of air to 1 and 2 %: the tolerance.
"""

import numpy as np
import pytest
from CoolProp import CoolProp

from kiln import film

SEA_LEVEL_PA = 101_325.0
AIRS_C = (0.0, 10.0, 20.0, 30.0, 45.0)


@pytest.mark.parametrize("t", AIRS_C)
def test_viscosity_conductivity_and_prandtl_number(t):
    def real(output):
        return CoolProp.PropsSI(output, "T", t + 273.15, "P", SEA_LEVEL_PA, "Air")

    air = film.air_properties(t)
    assert air.viscosity_m2_s == pytest.approx(real("V") / real("D"), rel=0.01)
    assert air.conductivity_w_mk == pytest.approx(real("L"), rel=0.02)
    assert air.prandtl == pytest.approx(real("PRANDTL"), rel=0.02)


def test_saturated_air_makes_nearly_the_same_film():
    """At 30 °C, through h as k (rho / mu)^½ Pr^⅓, that is k^⅔ rho^½ mu^(-1/6) c_p^⅓."""

    def moist(output, rh):
        return CoolProp.HAPropsSI(output, "T", 303.15, "P", SEA_LEVEL_PA, "R", rh)

    def film_like(rh):
        density = (1.0 + moist("W", rh)) / moist("V", rh)
        heat = moist("C", rh) / (1.0 + moist("W", rh))
        return moist("K", rh) ** (2 / 3) * density**0.5 * moist("M", rh) ** (-1 / 6) * heat ** (1 / 3)

    assert film_like(1.0) == pytest.approx(film_like(0.0), rel=0.02)


def test_the_whole_film_with_coolprops_air_in_the_same_correlation():
    t = np.array(AIRS_C)
    real = np.array(
        [
            [CoolProp.PropsSI(x, "T", one + 273.15, "P", SEA_LEVEL_PA, "Air") for x in ("V", "D", "L", "PRANDTL")]
            for one in t
        ]
    ).T
    reynolds = 1.0 * 0.2 * real[1] / real[0]
    expected = 0.664 * np.sqrt(reynolds) * real[3] ** (1 / 3) * real[2] / 0.2
    assert film.forced_film_w_m2k(1.0, 0.2, t) == pytest.approx(expected, rel=0.01)
