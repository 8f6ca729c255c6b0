"""Against psychrolib (ASHRAE Handbook Fundamentals, 2017, chapter 1, SI) and that chapter's printed tables.

The same perfect gas and the same equations, so the direct functions must agree to rounding. Its wet bulb is
bisected to 0.001 °C; it puts ice below 0.01 °C where we put it below 0 °C, which no state here tells apart.
"""

import psychrolib
import pytest

from kiln import psychrometrics as air

BISECTED_K = 0.001
STATES = [
    (t, rh, p)
    for t in (-20.0, -3.0, 5.0, 12.0, 20.0, 35.0, 60.0, 80.0)
    for rh in (20.0, 50.0, 90.0)
    for p in (101_325.0, 89_875.0, 79_495.0)  # sea level, 1000 m, 2000 m
]
psychrolib.SetUnitSystem(psychrolib.SI)


@pytest.mark.parametrize("t", [-40.0, -20.0, -5.0, 5.0, 25.0, 60.0, 100.0, 130.0])
def test_saturation_pressure(t):
    assert air.saturation_pressure_pa(t) == pytest.approx(psychrolib.GetSatVapPres(t), rel=1e-12)


@pytest.mark.parametrize(("t", "rh", "p"), STATES)
def test_humidity_ratio_and_vapour_pressure(t, rh, p):
    assert air.vapour_pressure_pa(t, rh) == pytest.approx(psychrolib.GetVapPresFromRelHum(t, rh / 100.0), rel=1e-12)
    ratio = psychrolib.GetHumRatioFromRelHum(t, rh / 100.0, p)
    assert air.humidity_ratio(t, rh, p) == pytest.approx(ratio, rel=1e-12)
    assert air.rh_pct_from_humidity_ratio(t, ratio, p) == pytest.approx(rh, abs=1e-9)


@pytest.mark.parametrize(("t", "rh", "p"), STATES)
def test_dew_point_and_wet_bulb(t, rh, p):
    assert air.dew_point_c(t, rh) == pytest.approx(psychrolib.GetTDewPointFromRelHum(t, rh / 100.0), abs=BISECTED_K)
    bulb = psychrolib.GetTWetBulbFromRelHum(t, rh / 100.0, p)
    assert air.wet_bulb_c(t, rh, p) == pytest.approx(bulb, abs=BISECTED_K)
    assert air.wet_bulb_depression_c(t, rh, p) == pytest.approx(t - bulb, abs=BISECTED_K)


@pytest.mark.parametrize("p", [101_325.0, 89_875.0, 79_495.0])
@pytest.mark.parametrize(
    ("t", "bulb"), [(-5.0, -6.0), (4.0, -1.5), (10.0, 6.0), (20.0, 13.8), (35.0, 24.0), (80.0, 60.0)]
)
def test_relative_humidity_from_wet_bulb(t, bulb, p):
    expected = 100.0 * psychrolib.GetRelHumFromTWetBulb(t, bulb, p)
    assert air.rh_pct_from_wet_bulb(t, bulb, p) == pytest.approx(expected, abs=1e-9)


@pytest.mark.parametrize(
    ("t", "dew"), [(-5.0, -15.0), (4.0, -1.5), (10.0, 6.0), (20.0, 9.27), (35.0, -30.0), (80.0, 75.0)]
)
def test_relative_humidity_from_dew_point(t, dew):
    expected = 100.0 * psychrolib.GetRelHumFromTDewPoint(t, dew)
    assert air.rh_pct_from_dew_point(t, dew) == pytest.approx(expected, abs=1e-9)


# ASHRAE Handbook Fundamentals, 2017, chapter 1, Table 3 (saturation); the equations meet it to 300 ppm.
@pytest.mark.parametrize(
    ("t", "pascal"), [(-20.0, 103.24), (-5.0, 401.74), (5.0, 872.6), (25.0, 3169.7), (100.0, 101_418.0)]
)
def test_saturation_pressure_table(t, pascal):
    assert air.saturation_pressure_pa(t) == pytest.approx(pascal, rel=3e-4)


# ASHRAE Handbook Fundamentals, 2017, chapter 1, Table 2 (saturated moist air, 101 325 Pa): real gas, so 0.4 to 0.7 %
# above a perfect one in ordinary air, and up to 2 % off at 85 °C, where over half of the air is vapour.
@pytest.mark.parametrize(
    ("t", "ratio", "apart"), [(5.0, 0.005425, 0.005), (25.0, 0.020173, 0.005), (85.0, 0.838105, 0.02)]
)
def test_saturated_humidity_ratio_table(t, ratio, apart):
    assert air.humidity_ratio(t, 100.0, 101_325.0) == pytest.approx(ratio, rel=apart)


# ASHRAE Handbook Fundamentals, 2017, chapter 1, Table 1 (standard atmosphere), printed to 1 Pa.
@pytest.mark.parametrize(
    ("z", "pascal"), [(-500.0, 107_478), (0.0, 101_325), (500.0, 95_461), (1000.0, 89_875), (10_000.0, 26_436)]
)
def test_pressure_with_altitude_table(z, pascal):
    assert air.pressure_at_altitude_pa(z) == pytest.approx(pascal, abs=1.0)
