"""Properties of the isotherms, and of where wood comes to rest, that hold whatever their coefficients."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from kiln import runs, sorption
from kiln.errors import OutOfRange

temperatures = st.floats(sorption.LOWEST_C, sorption.HIGHEST_C)
fsps = st.floats(15.0, 40.0)
CURVES = [sorption.emc_pct, sorption.emc_glass_pct]


@pytest.mark.parametrize("curve", CURVES)
@given(t=temperatures, rh=st.floats(0.0, 98.9), more=st.floats(0.01, 1.0))
def test_emc_rises_with_humidity(curve, t, rh, more):
    assert curve(t, rh + more) > curve(t, rh)


@pytest.mark.parametrize("curve", CURVES)
@given(t=st.floats(10.0, 129.0), rh=st.floats(1.0, 99.0), warmer=st.floats(0.1, 1.0))
def test_emc_falls_as_air_of_one_humidity_is_warmer(curve, t, rh, warmer):
    # Between −2 and 7 °C the handbook's curve is flat, and may rise by up to 0.15 %MC.
    assert curve(t + warmer, rh) < curve(t, rh)


@given(t=temperatures, rh=st.floats(0.0, 100.0), fsp=fsps)
def test_the_inverse_inverts(t, rh, fsp):
    assert sorption.rh_pct_from_emc(t, sorption.emc_pct(t, rh, fsp), fsp) == pytest.approx(rh, abs=1e-9)


@given(t=temperatures, rh=st.floats(0.0, 100.0))
def test_the_inverse_of_the_glass_form_inverts(t, rh):
    assert sorption.rh_pct_from_emc_glass(t, sorption.emc_glass_pct(t, rh)) == pytest.approx(rh, abs=1e-9)


def test_the_inverse_is_that_of_a_slow_bisection():
    t, mc = np.meshgrid(np.linspace(-2.0, 130.0, 67), np.linspace(0.0, 35.0, 141))
    low, high = np.zeros(t.shape), np.full(t.shape, 100.0)
    for _ in range(60):
        middle = (low + high) / 2.0
        above = sorption.emc_pct(t, middle, 25.0) > mc
        low, high = np.where(above, low, middle), np.where(above, middle, high)
    assert np.max(np.abs(sorption.rh_pct_from_emc(t, mc, 25.0) - high)) < 1e-9


def test_dry_air_gives_dry_wood_and_soaked_wood_gives_saturated_air():
    assert sorption.emc_pct(20.0, 0.0) == 0.0
    assert sorption.emc_glass_pct(20.0, 0.0) == 0.0
    assert sorption.rh_pct_from_emc(20.0, 0.0) == 0.0
    assert sorption.rh_pct_from_emc_glass(20.0, 0.0) == 0.0
    assert sorption.rh_pct_from_emc(20.0, [80.0, np.inf]).tolist() == [100.0, 100.0]


def test_at_saturation_one_curve_ends_and_the_other_has_no_bound():
    assert 28.0 < sorption.emc_pct(20.0, 100.0) < 30.0
    assert sorption.rh_pct_from_emc(20.0, sorption.emc_pct(20.0, 100.0)) == 100.0
    assert sorption.emc_glass_pct(20.0, [100.0, 50.0]).tolist() == [np.inf, float(sorption.emc_glass_pct(20.0, 50.0))]
    assert sorption.rh_pct_from_emc_glass(20.0, np.inf) == 100.0


def test_air_from_98_percent_up_is_marked_near_saturation():
    marked = sorption.near_saturation(np.array([[0.0, 97.99, 98.0], [99.0, 100.0, np.nan]]))
    assert marked.tolist() == [[False, False, True], [True, True, False]]
    assert sorption.near_saturation(np.array([])).size == 0
    with pytest.raises(OutOfRange, match="rh_pct is 101 %RH"):
        sorption.near_saturation([20.0, 101.0])


WRONG = [
    (lambda: sorption.emc_pct(20.0, 140.0), "rh_pct is 140 %RH; accepted: 0 to 100 %RH"),
    (lambda: sorption.emc_pct(20.0, -1.0), "rh_pct is -1 %RH"),
    (lambda: sorption.emc_pct(-80.0, 50.0), "temperature_c is -80 °C; accepted: -2 to 130 °C"),
    (lambda: sorption.emc_pct(20.0, 50.0, 0.0), "fsp_pct is 0 %MC"),
    (lambda: sorption.emc_pct([np.nan, 20.0, 131.0], 50.0), "temperature_c is 131 °C"),
    (lambda: sorption.emc_glass_pct(20.0, 100.1), "rh_pct is 100.1 %RH"),
    (lambda: sorption.emc_glass_pct(-3.0, 50.0), "temperature_c is -3 °C"),
    (lambda: sorption.rh_pct_from_emc(20.0, -0.1), "mc_pct is -0.1 %MC"),
    (lambda: sorption.rh_pct_from_emc(200.0, 10.0), "temperature_c is 200 °C"),
    (lambda: sorption.rh_pct_from_emc_glass(20.0, -0.1), "mc_pct is -0.1 %MC"),
    (lambda: sorption.rest_pct(-0.1, 20.0, 50.0), "mc_pct is -0.1 %MC"),
    (lambda: sorption.rest_pct(10.0, 20.0, 150.0), "rh_pct is 150 %RH"),
    (lambda: sorption.fsp_at_pct(30.0, 101.0), "temperature_c is 101 °C; accepted: 0 to 100 °C"),
    (lambda: sorption.fsp_at_pct(5.0, 20.0), "fsp_20c_pct is 5 %MC"),
]


@pytest.mark.parametrize(("ask", "said"), WRONG)
def test_outside_its_range_it_says_which_value_and_which_range(ask, said):
    with pytest.raises(OutOfRange, match=said) as caught:
        ask()
    assert str(caught.value).count("accepted") == 1


def test_a_hygrometer_3_percent_out_is_about_half_a_percent_of_emc_in_a_shop_and_far_more_when_damp():
    # 0.16 %MC per %RH at 50 %RH and 0.58 at 90 %RH and 20 °C, computed from Equation 4-5.
    shop = float(sorption.emc_error_mc_pct(20.0, 50.0, 3.0)) ** 2 - 1.0
    damp = float(sorption.emc_error_mc_pct(20.0, 90.0, 3.0)) ** 2 - 1.0
    assert np.sqrt(shop) == pytest.approx(0.48, abs=0.03)
    assert np.sqrt(damp) == pytest.approx(1.8, abs=0.15)


@given(t=temperatures, rh=st.floats(0.0, 100.0), fsp=fsps, mc=st.floats(0.0, 200.0))
def test_wood_rests_between_the_wetting_and_the_drying_branch_and_stays_there(t, rh, fsp, mc):
    low, high = sorption.rest_band_pct(t, rh, fsp)
    rest = sorption.rest_pct(mc, t, rh, fsp)
    assert high == sorption.emc_pct(t, rh, fsp)
    assert low == sorption.adsorption_ratio() * high
    assert low <= rest <= high
    assert rest == (high if mc > high else low if mc < low else mc)
    assert sorption.rest_pct(rest, t, rh, fsp) == rest


def test_wood_that_was_wet_rests_higher_than_wood_that_was_dry():
    assert sorption.rest_pct([4.0, 8.5, 60.0, np.nan], 20.0, 50.0).round(2).tolist()[:3] == [7.88, 8.5, 9.27]
    assert np.isnan(sorption.rest_pct(np.nan, 20.0, 50.0))


def test_fibre_saturation_falls_by_a_tenth_of_a_percent_for_each_degree():
    out = sorption.fsp_at_pct(30.0, np.array([0.0, 20.0, 60.0, 100.0, np.nan]))
    assert out[:4] == pytest.approx([32.0, 30.0, 26.0, 22.0])
    assert np.isnan(out[4])


ASKED = [
    (sorption.emc_pct, (20.0, 50.0, 28.0)),
    (sorption.emc_glass_pct, (20.0, 50.0)),
    (sorption.rh_pct_from_emc, (20.0, 9.0, 28.0)),
    (sorption.rh_pct_from_emc_glass, (20.0, 9.0)),
    (sorption.fsp_at_pct, (28.0, 50.0)),
    (sorption.rest_pct, (40.0, 20.0, 50.0, 28.0)),
    (lambda *given: sorption.rest_band_pct(*given)[0], (20.0, 50.0, 28.0)),
]


@pytest.mark.parametrize(("function", "good"), ASKED)
def test_arrays_longer_than_a_run_give_what_single_values_give(function, good):
    size = 2 * runs.RUN_POINTS + 7
    spread = np.random.default_rng(5).uniform(0.8, 1.2, (len(good), size))
    every = [value * row for value, row in zip(good, spread, strict=True)]
    whole = function(*every)
    assert whole.shape == (size,)
    for at in (0, 3, 9, runs.RUN_POINTS - 1, runs.RUN_POINTS, size - 1):
        assert whole[at] == function(*(float(one[at]) for one in every))


@pytest.mark.parametrize(("function", "good"), ASKED)
def test_nan_stays_nan_and_spoils_nothing_beside_it(function, good):
    alone = function(*good)
    for wrong in range(len(good)):
        out = function(*(np.array([v, np.nan]) if n == wrong else v for n, v in enumerate(good)))
        assert out[0] == alone
        assert np.isnan(out[1])


def test_shapes_broadcast():
    out = sorption.emc_pct(np.array([[20.0], [np.nan]]), np.array([30.0, 50.0, 70.0]))
    assert out.shape == (2, 3)
    assert np.isnan(out[1]).all()
    assert out[0, 1] == sorption.emc_pct(20.0, 50.0)
    assert sorption.rest_band_pct(20.0, np.array([30.0, 50.0]))[0].shape == (2,)
