"""Against CoolProp's moist air (real-gas, ASHRAE RP-1485), at sea level and at altitude.

Its humidity ratio lies 0.4 to 0.7 % above that of a perfect-gas mixture in ordinary air (the enhancement factor), and
up to 1 % in hot damp air; its dew point within 0.012 °C and its wet bulb within 0.012 °C at 10 to 60 °C. A wet bulb
over ice, and one in very dry air, lies up to 0.02 °C from ASHRAE's simpler equations. Tolerances follow from these.
"""

import numpy as np
import pytest
from CoolProp import CoolProp

from kiln import psychrometrics as air

WET_BULB_K, DEW_POINT_K, ENHANCEMENT = 0.03, 0.04, 0.008
STATES = [
    (t, rh, p)
    for t in (-8.0, 5.0, 20.0, 35.0, 60.0)
    for rh in (20.0, 50.0, 90.0)
    for p in (101_325.0, 89_875.0, 79_495.0)  # sea level, 1000 m, 2000 m
]


def real(output, temperature_c, rh_pct, pressure_pa):
    return CoolProp.HAPropsSI(output, "T", temperature_c + 273.15, "R", rh_pct / 100.0, "P", pressure_pa)


@pytest.mark.parametrize(("t", "rh", "p"), STATES)
def test_dew_point_and_wet_bulb(t, rh, p):
    assert air.dew_point_c(t, rh) == pytest.approx(real("D", t, rh, p) - 273.15, abs=DEW_POINT_K)
    assert air.wet_bulb_c(t, rh, p) == pytest.approx(real("B", t, rh, p) - 273.15, abs=WET_BULB_K)
    depression = t + 273.15 - real("B", t, rh, p)
    assert air.wet_bulb_depression_c(t, rh, p) == pytest.approx(depression, abs=WET_BULB_K)


@pytest.mark.parametrize(("t", "rh", "p"), STATES)
def test_humidity_ratio_and_vapour_density(t, rh, p):
    ratio = real("W", t, rh, p)
    assert air.humidity_ratio(t, rh, p) == pytest.approx(ratio, rel=ENHANCEMENT)
    density = ratio / real("V", t, rh, p)  # kg of vapour over m³ of moist air, both for one kg of dry air
    assert air.vapour_density_kg_m3(t, rh) == pytest.approx(density, rel=ENHANCEMENT)


@pytest.mark.parametrize(("t", "rh", "p"), STATES)
def test_relative_humidity_from_wet_bulb_dew_point_and_humidity_ratio(t, rh, p):
    bulb, dew, ratio = real("B", t, rh, p) - 273.15, real("D", t, rh, p) - 273.15, real("W", t, rh, p)
    below, above = air.rh_pct_from_wet_bulb(t, np.array([bulb - WET_BULB_K, min(bulb + WET_BULB_K, t)]), p)
    assert below < rh < above
    below, above = air.rh_pct_from_dew_point(t, np.array([dew - DEW_POINT_K, min(dew + DEW_POINT_K, t)]))
    assert below < rh < above
    assert air.rh_pct_from_humidity_ratio(t, ratio, p) == pytest.approx(rh, rel=ENHANCEMENT)


# Computed with CoolProp 8.0.0: at 20 °C and 50 %RH the wet bulb falls by 0.29 °C to 1000 m and by 0.58 to 2000 m.
@pytest.mark.parametrize(("altitude_m", "fall_k"), [(1000.0, 0.29), (2000.0, 0.58)])
def test_a_wet_bulb_falls_with_altitude(altitude_m, fall_k):
    levels = air.pressure_at_altitude_pa(np.array([0.0, altitude_m]))
    low, high = air.wet_bulb_c(20.0, 50.0, levels)
    assert low - high == pytest.approx(fall_k, abs=0.006)


# Around 0 °C two bulbs may be right; CoolProp too gives the one of ice.
@pytest.mark.parametrize(("t", "ratio"), [(2.0, 0.0030), (5.0, 0.0018), (5.0, 0.00195), (8.0, 0.0009)])
def test_where_two_bulbs_are_right_ice_is_given(t, ratio):
    bulb = CoolProp.HAPropsSI("B", "T", t + 273.15, "W", ratio, "P", 101_325.0) - 273.15
    rh = air.rh_pct_from_humidity_ratio(t, ratio, 101_325.0)
    assert bulb < 0.0
    assert air.wet_bulb_c(t, rh, 101_325.0) == pytest.approx(bulb, abs=WET_BULB_K)
