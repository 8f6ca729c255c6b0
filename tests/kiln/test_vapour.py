"""Vapour as a perfect gas, and the three words of what can hurt."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from kiln.control import Control, worst
from kiln.errors import OutOfRange
from kiln.vapour import mg_m3_from_ppm, molar_volume_m3_mol, ppm_from_mg_m3, vapour_volume_m3

MASSES = st.floats(0.01, 0.4)
AIR = st.tuples(st.floats(0.0, 40.0), st.floats(60_000.0, 110_000.0))


def test_over_comes_before_cant_say_before_not_shown():
    assert tuple(Control) == ("over", "can't say", "not shown to be under control")
    assert worst(Control.NOT_SHOWN, Control.CANT_SAY) is Control.CANT_SAY
    assert worst(Control.NOT_SHOWN, Control.OVER, Control.CANT_SAY) is Control.OVER
    assert worst(Control.NOT_SHOWN) is Control.NOT_SHOWN


def test_of_nothing_at_all_nothing_can_be_said():
    assert worst() is Control.CANT_SAY


@given(st.floats(0.0, 1e6), MASSES, AIR)
def test_there_and_back(ppm, molar_mass, air):
    assert ppm_from_mg_m3(mg_m3_from_ppm(ppm, molar_mass, *air), molar_mass, *air) == pytest.approx(ppm)


@given(st.floats(1e-6, 10.0), MASSES, AIR)
def test_the_vapour_of_a_mass_alone_in_its_volume_is_all_of_it(mass_kg, molar_mass, air):
    volume_m3 = vapour_volume_m3(mass_kg, molar_mass, *air)
    assert ppm_from_mg_m3(mass_kg * 1e6 / volume_m3, molar_mass, *air) == pytest.approx(1e6)


def test_whole_arrays_are_converted():
    assert mg_m3_from_ppm(np.array([0.0, 100.0]), 0.0921)[1] == pytest.approx(mg_m3_from_ppm(100.0, 0.0921))


# A perfect gas at 0 °C and 1 atm: 22.413 969 54 L/mol (CODATA 2018, molar volume of ideal gas, 101.325 kPa).
def test_a_mole_at_nought_degrees():
    assert molar_volume_m3_mol(0.0) == pytest.approx(22.413_969_54e-3, rel=1e-9)


@pytest.mark.parametrize("wrong", [92.1, 0.0, -0.1])
def test_a_molar_mass_in_the_wrong_unit_is_refused(wrong):
    with pytest.raises(OutOfRange, match=f"molar_mass_kg_mol is {wrong:g}"):
        ppm_from_mg_m3(1.0, wrong)


@pytest.mark.parametrize(("air", "named"), [((25.0, 101.3), "pressure_pa"), ((700.0, 101_325.0), "temperature_c")])
def test_air_that_no_room_has_is_refused(air, named):
    with pytest.raises(OutOfRange, match=named):
        mg_m3_from_ppm(1.0, 0.1, *air)
