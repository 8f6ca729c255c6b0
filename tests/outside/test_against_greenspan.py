"""Against L. Greenspan, "Humidity fixed points of binary saturated aqueous solutions", J. Res. NBS 81A, 89 (1977).

The figures of its table at 20 and 25 °C, printed to 0.01 %RH; the program uses its polynomials. Some secondary
sources print LiCl's linear term with a minus: that gives 10.98 %RH at 20 °C and fails here.
"""

import pytest

from kiln import hygrometers

PRINTED_TO = 0.01


@pytest.mark.parametrize(
    ("salt", "temperature_c", "rh_pct"),
    [
        ("LiCl", 20.0, 11.31),
        ("LiCl", 25.0, 11.30),
        ("MgCl2", 20.0, 33.07),
        ("MgCl2", 25.0, 32.78),
        ("NaCl", 20.0, 75.47),
        ("NaCl", 25.0, 75.29),
        ("KCl", 20.0, 85.11),
        ("KCl", 25.0, 84.34),
        ("K2SO4", 20.0, 97.59),
        ("K2SO4", 25.0, 97.30),
    ],
)
def test_fixed_points_are_those_of_the_table(salt, temperature_c, rh_pct):
    assert hygrometers.salt_rh_pct(salt, temperature_c) == pytest.approx(rh_pct, abs=PRINTED_TO)
