"""Properties of moist air that hold whatever the constants; dew point and wet bulb against a slow bisection."""

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from kiln import psychrometrics as air
from kiln import runs
from kiln.errors import OutOfRange

SEA_LEVEL_PA = 101_325.0
SOLVED_K = 1e-8
temperatures = st.floats(-40.0, 100.0)
humidities = st.floats(0.1, 100.0)
pressures = st.floats(60_000.0, 110_000.0)


def states(count, seed):
    """Return invented states over the whole range asked of the solvers, thick at the dry end and around 0 °C."""
    rng = np.random.default_rng(seed)
    t = np.concatenate([rng.uniform(-40.0, 100.0, count), rng.uniform(-3.0, 25.0, count), rng.uniform(0, 0.01, count)])
    rh = np.concatenate(
        [rng.uniform(0.1, 100.0, count), 10.0 ** rng.uniform(-1.0, 2.0, count), rng.uniform(99.9, 100, count)]
    )
    p = rng.uniform(60_000.0, 110_000.0, t.size)
    real = air.vapour_pressure_pa(t, rh) < 0.999 * p
    return t[real], rh[real], p[real]


def bisected(rises_above_zero, low, high):
    for _ in range(70):
        middle = (low + high) / 2.0
        above = rises_above_zero(middle)
        low, high = np.where(above, low, middle), np.where(above, middle, high)
    return (low + high) / 2.0


def bulb_by_bisection(t, rh, p):
    """Equations 33 and 35 with their printed constants, each bisected on its own side of 0 °C."""
    held = air.humidity_ratio(t, rh, p)

    def too_much(bulb, latent, slope, heat):
        full = air.saturation_pressure_pa(bulb)
        given_up = (latent - slope * bulb) * 0.621945 * full - 1.006 * (t - bulb) * (p - full)
        return given_up > held * (latent + 1.86 * t - heat * bulb) * (p - full)

    def ice(bulb):
        return too_much(bulb, 2830.0, 0.24, 2.1)

    def water(bulb):
        return too_much(bulb, 2501.0, 2.326, 4.186)

    below = np.full(t.shape, -1e-12)
    iced = bisected(ice, np.full(t.shape, air.LOWEST_C), np.minimum(t, below))
    wetted = bisected(water, np.zeros(t.shape), np.maximum(t, 0.0))
    return np.where(ice(below), iced, np.where(water(np.zeros(t.shape)), 0.0, wetted))


def test_the_wet_bulb_is_that_of_a_slow_bisection():
    t, rh, p = states(20_000, 1)
    assert np.max(np.abs(air.wet_bulb_c(t, rh, p) - bulb_by_bisection(t, rh, p))) < SOLVED_K


def test_the_wet_bulb_is_that_of_a_slow_bisection_on_high_mountains_too():
    t, rh, p = states(5_000, 2)
    p = p - 40_000.0
    real = air.vapour_pressure_pa(t, rh) < 0.999 * p
    t, rh, p = t[real], rh[real], p[real]
    assert np.max(np.abs(air.wet_bulb_c(t, rh, p) - bulb_by_bisection(t, rh, p))) < SOLVED_K


def test_the_dew_point_is_that_of_a_slow_bisection():
    t, rh, _ = states(20_000, 3)
    pv = air.vapour_pressure_pa(t, rh)
    slow = bisected(lambda dew: air.saturation_pressure_pa(dew) > pv, np.full(t.shape, air.LOWEST_C), t)
    dew = air.dew_point_c(t, rh)
    reached = pv >= air.saturation_pressure_pa(air.LOWEST_C)
    assert np.array_equal(np.isfinite(dew), reached)
    assert np.max(np.abs(dew - slow)[reached]) < SOLVED_K


def test_air_just_above_freezing_and_all_but_saturated_has_dew_point_and_wet_bulb_at_exactly_zero():
    assert air.dew_point_c(0.0, 99.995) == 0.0
    assert air.wet_bulb_c(0.002, 99.96, SEA_LEVEL_PA) == 0.0


def test_where_a_bulb_of_water_and_one_of_ice_are_both_right_the_ice_is_given():
    rh = air.rh_pct_from_wet_bulb(8.0, 0.5, SEA_LEVEL_PA)  # of a bulb that has not frozen
    iced = air.wet_bulb_c(8.0, rh, SEA_LEVEL_PA)
    assert -0.2 < iced < 0.0
    assert air.rh_pct_from_wet_bulb(8.0, iced, SEA_LEVEL_PA) == pytest.approx(rh, abs=1e-7)


@given(t=temperatures, rh=humidities, p=pressures)
def test_dew_point_wet_bulb_and_air_stand_in_that_order(t, rh, p):
    assume(air.vapour_pressure_pa(t, rh) < 0.999 * p)
    bulb = air.wet_bulb_c(t, rh, p)
    assert bulb <= t
    assert air.wet_bulb_depression_c(t, rh, p) == t - bulb
    dew = air.dew_point_c(t, rh)
    assert np.isnan(dew) or dew <= bulb + 1e-6  # near saturation they meet, to the rounding of the state


@given(t=temperatures, rh=humidities)
def test_the_dew_point_gives_the_humidity_back(t, rh):
    dew = air.dew_point_c(t, rh)
    assume(np.isfinite(dew) and dew != 0.0)
    assert air.rh_pct_from_dew_point(t, dew) == pytest.approx(rh, abs=1e-7)


@given(t=temperatures, rh=st.floats(0.0, 100.0), p=pressures)
def test_the_wet_bulb_gives_the_humidity_back(t, rh, p):
    assume(air.vapour_pressure_pa(t, rh) < 0.999 * p)
    bulb = air.wet_bulb_c(t, rh, p)
    assume(bulb != 0.0 and air.saturation_pressure_pa(bulb) < 0.99 * p)
    # At -40 °C a whole %RH is 0.005 K of wet bulb, and the last digit of a temperature in K is 6e-14 K.
    assert air.rh_pct_from_wet_bulb(t, bulb, p) == pytest.approx(rh, abs=1e-7)


@given(t=temperatures, rh=st.floats(0.0, 100.0), p=pressures)
def test_the_humidity_ratio_gives_the_humidity_back(t, rh, p):
    assume(air.vapour_pressure_pa(t, rh) < 0.999 * p)
    assert air.rh_pct_from_humidity_ratio(t, air.humidity_ratio(t, rh, p), p) == pytest.approx(rh, abs=1e-8)


def test_saturated_air_has_its_own_temperature_as_dew_point_and_wet_bulb():
    t = np.array([-30.0, -0.5, 0.0, 0.5, 20.0, 60.0])
    assert air.dew_point_c(t, 100.0) == pytest.approx(t, abs=SOLVED_K)
    assert air.wet_bulb_c(t, 100.0, SEA_LEVEL_PA) == pytest.approx(t, abs=SOLVED_K)
    assert np.all(air.rh_pct_from_dew_point(t, t) == 100.0)
    assert air.rh_pct_from_wet_bulb(t, t, SEA_LEVEL_PA) == pytest.approx(np.full(6, 100.0), abs=1e-9)
    assert np.all(air.rh_pct_from_wet_bulb(t, t, SEA_LEVEL_PA) <= 100.0)


def test_perfectly_dry_air_has_a_wet_bulb_but_no_dew_point_and_no_vapour():
    assert np.isnan(air.dew_point_c(20.0, 0.0))
    assert 5.0 < air.wet_bulb_c(20.0, 0.0, SEA_LEVEL_PA) < 7.0
    assert air.vapour_density_kg_m3(20.0, 0.0) == 0.0
    assert np.isnan(air.wet_bulb_c(-60.0, 0.0, SEA_LEVEL_PA))  # below the lowest temperature: not given


WRONG = [
    (lambda: air.rh_pct_from_wet_bulb(20.0, 20.1, SEA_LEVEL_PA), "wet_bulb_c is 20.1 °C; accepted: -60 to 20 °C"),
    (lambda: air.rh_pct_from_wet_bulb(20.0, 5.0, SEA_LEVEL_PA), r"wet_bulb_c is 5 °C; accepted: 5\.\d+ to 20 °C"),
    (lambda: air.rh_pct_from_wet_bulb(20.0, -5.0, SEA_LEVEL_PA), r"wet_bulb_c is -5 °C; accepted: 5\.\d+ to 20 °C"),
    (lambda: air.rh_pct_from_wet_bulb(10.0, 0.05, SEA_LEVEL_PA), r"wet_bulb_c is 0\.05 °C; accepted: 0\.\d+ to 10 °C"),
    (lambda: air.rh_pct_from_wet_bulb(-5.0, -10.0, SEA_LEVEL_PA), r"wet_bulb_c is -10 °C; accepted: -9\.\d+ to -5 °C"),
    (lambda: air.rh_pct_from_wet_bulb(100.0, 95.0, 60_000.0), "pressure_pa is 60000 Pa; accepted: 84607"),
    (lambda: air.rh_pct_from_wet_bulb(200.0, 20.0, SEA_LEVEL_PA), "temperature_c is 200 °C"),
    (lambda: air.rh_pct_from_dew_point(20.0, 21.0), "dew_point_c is 21 °C; accepted: -60 to 20 °C"),
    (lambda: air.rh_pct_from_dew_point(20.0, -61.0), "dew_point_c is -61 °C; accepted: -60 to 20 °C"),
    (lambda: air.rh_pct_from_humidity_ratio(20.0, -0.001, SEA_LEVEL_PA), "humidity_ratio is -0.001 kg/kg"),
    (lambda: air.rh_pct_from_humidity_ratio(20.0, 0.02, SEA_LEVEL_PA), r"accepted: 0 to 0\.01469\d* kg/kg"),
    (lambda: air.rh_pct_from_humidity_ratio(20.0, 0.01, 0.0), "pressure_pa is 0 Pa"),
    (lambda: air.humidity_ratio(100.0, 99.0, 90_000.0), "pressure_pa is 90000 Pa"),
    (lambda: air.wet_bulb_c(20.0, 50.0, 101_325_000.0), r"pressure_pa is 1\.01325e\+08 Pa; accepted: 1169"),
    (lambda: air.vapour_density_kg_m3(20.0, 101.0), "rh_pct is 101 %RH"),
    (lambda: air.dew_point_c(-61.0, 50.0), "temperature_c is -61 °C"),
    (lambda: air.saturation_pressure_pa([np.nan, 20.0, 131.0]), "temperature_c is 131 °C"),
    (lambda: air.pressure_at_altitude_pa(12_000.0), "altitude_m is 12000 m"),
]


@pytest.mark.parametrize(("ask", "said"), WRONG)
def test_outside_the_range_it_says_which_value_and_which_range(ask, said):
    with pytest.raises(OutOfRange, match=said) as caught:
        ask()
    assert str(caught.value).count("accepted") == 1


ASKED = [
    (air.saturation_pressure_pa, 1),
    (air.vapour_pressure_pa, 2),
    (air.vapour_density_kg_m3, 2),
    (air.dew_point_c, 2),
    (air.humidity_ratio, 3),
    (air.wet_bulb_c, 3),
    (air.wet_bulb_depression_c, 3),
    (lambda t, bulb_share, p: air.rh_pct_from_wet_bulb(t, t - bulb_share / 100.0, p), 3),
    (lambda t, drop: air.rh_pct_from_dew_point(t, t - drop / 10.0), 2),
    (lambda t, ratio, p: air.rh_pct_from_humidity_ratio(t, ratio * 1e-7, p), 3),
]


@pytest.mark.parametrize(("function", "count"), ASKED)
def test_arrays_longer_than_a_run_give_what_single_values_give(function, count):
    rng = np.random.default_rng(5)
    size = 2 * runs.RUN_POINTS + 7
    every = [rng.uniform(-15.0, 60.0, size), rng.uniform(5.0, 80.0, size), rng.uniform(7e4, 1.1e5, size)][:count]
    whole = function(*every)
    assert whole.shape == (size,)
    for at in (0, 3, 9, runs.RUN_POINTS - 1, runs.RUN_POINTS, size - 1):
        assert whole[at] == function(*(float(one[at]) for one in every))


@pytest.mark.parametrize(("function", "count"), ASKED)
def test_nan_stays_nan_and_spoils_nothing_beside_it(function, count):
    good = [30.0, 50.0, SEA_LEVEL_PA][:count]
    alone = function(*good)
    for wrong in range(count):
        mixed = [np.array([v, np.nan]) if n == wrong else v for n, v in enumerate(good)]
        out = function(*mixed)
        assert out[0] == alone
        assert np.isnan(out[1])


def test_shapes_broadcast_and_empty_arrays_stay_empty():
    t, rh = np.array([[5.0], [20.0]]), np.array([30.0, 50.0, 90.0])
    assert air.wet_bulb_c(t, rh, SEA_LEVEL_PA).shape == (2, 3)
    assert air.wet_bulb_c(t, rh, SEA_LEVEL_PA)[1, 2] == air.wet_bulb_c(20.0, 90.0, SEA_LEVEL_PA)
    assert air.dew_point_c(np.empty((0, 3)), rh).shape == (0, 3)
    assert air.dew_point_c(20.0, 50.0).shape == ()
