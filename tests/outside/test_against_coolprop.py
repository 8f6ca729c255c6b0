"""Against CoolProp's moist air (real-gas, ASHRAE RP-1485) and psychrolib (ASHRAE Fundamentals 2017).

CoolProp's humidity ratio lies 0.4 to 0.7 % above a perfect-gas mixture (the enhancement factor), which
is the tolerance for it; psychrolib makes the same approximation and must agree closely.
"""

import numpy as np
import psychrolib
import pytest
from CoolProp import CoolProp

from kiln import psychrometrics as air

STATES = [(t, rh, p) for t in (-8.0, 5.0, 20.0, 35.0, 60.0) for rh in (20.0, 50.0, 90.0) for p in (101_325.0, 79_495.0)]
psychrolib.SetUnitSystem(psychrolib.SI)


def real(output, temperature_c, rh_pct, pressure_pa):
    return CoolProp.HAPropsSI(output, "T", temperature_c + 273.15, "R", rh_pct / 100.0, "P", pressure_pa)


@pytest.mark.parametrize(("t", "rh", "p"), STATES)
def test_dew_point_and_wet_bulb(t, rh, p):
    assert air.dew_point_c(t, rh) == pytest.approx(real("D", t, rh, p) - 273.15, abs=0.04)
    assert air.wet_bulb_c(t, rh, p) == pytest.approx(real("B", t, rh, p) - 273.15, abs=0.03)


@pytest.mark.parametrize(("t", "rh", "p"), STATES)
def test_humidity_ratio(t, rh, p):
    assert air.humidity_ratio(t, rh, p) == pytest.approx(real("W", t, rh, p), rel=0.008)
    assert air.humidity_ratio(t, rh, p) == pytest.approx(psychrolib.GetHumRatioFromRelHum(t, rh / 100, p), rel=1e-3)


@pytest.mark.parametrize("t", [-20.0, -5.0, 5.0, 25.0, 60.0, 100.0])
def test_saturation_pressure(t):
    assert air.saturation_pressure_pa(t) == pytest.approx(psychrolib.GetSatVapPres(t), rel=1e-6)


# ASHRAE Handbook Fundamentals, 2017, chapter 1, Table 3 (saturation) and Table 1 (altitude).
@pytest.mark.parametrize(("t", "pascal"), [(5.0, 872.6), (25.0, 3169.7), (100.0, 101_418.0)])
def test_saturation_pressure_table(t, pascal):
    assert air.saturation_pressure_pa(t) == pytest.approx(pascal, rel=3e-4)


@pytest.mark.parametrize(("z", "pascal"), [(0.0, 101_325), (500.0, 95_461), (1000.0, 89_875)])
def test_pressure_with_altitude_table(z, pascal):
    assert air.pressure_at_altitude_pa(z) == pytest.approx(pascal, abs=1.0)


def test_arrays_give_what_single_values_give():
    t = np.array([[5.0, 20.0], [35.0, np.nan]])
    rh = np.array([50.0, 80.0])
    whole = air.dew_point_c(t, rh)
    assert whole.shape == (2, 2)
    assert whole[0, 1] == air.dew_point_c(20.0, 80.0)
    assert np.isnan(whole[1, 1])
