"""The bag test: the wood sets the humidity, and the answer knows its history, its error and its wait."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from kiln import bag as bags
from kiln import psychrometrics, sorption
from kiln.bag import Bag, mc_from_bag
from kiln.errors import OutOfRange
from kiln.records import Z80
from shared.errors import BadInput
from shared.tables import species
from shared.units import S_PER_HOUR

SYCAMORE = species()["Platanus occidentalis"]
OAK = species()["Quercus alba"]
SPRUCE = species()["Picea sitchensis"]
PLATE = Bag(0.35, 0.004, 0.22, 0.003, 20.0, 45.0)  # a pair of thin back plates, the air pressed out
humid = st.floats(5.0, 95.0)
rooms = st.floats(5.0, 35.0)


@given(rh=humid, t=rooms)
def test_wood_that_dried_stands_on_the_printed_curve_and_wood_that_gained_below_it(rh, t):
    dried, gained, unknown = (mc_from_bag(rh, t, 1.0, history).mc_pct for history in ("dried", "gained", "unknown"))
    assert dried == pytest.approx(float(sorption.emc_pct(t, rh)))
    assert gained == pytest.approx(sorption.adsorption_ratio() * dried)
    assert gained < unknown < dried


@given(rh=humid, t=rooms, error=st.floats(0.0, 4.0))
def test_an_unknown_history_and_a_worse_hygrometer_only_widen_the_answer(rh, t, error):
    unknown = mc_from_bag(rh, t, error, "unknown")
    assert unknown.error_mc_pct >= mc_from_bag(rh, t, 0.0, "unknown").error_mc_pct
    assert unknown.error_mc_pct > 0.999 * mc_from_bag(rh, t, error, "gained").error_mc_pct
    assert unknown.low_mc_pct <= unknown.mc_pct <= unknown.high_mc_pct


def test_the_error_is_the_hygrometers_through_the_slope_and_the_curves_own():
    # 0.16 %MC per %RH at 50 %RH and 20 °C, computed from FPL-GTR-282, 2021, Equation 4-5; the curve about 1 %MC
    # (FPL-GTR-229, 2014).
    answer = mc_from_bag(50.0, 20.0, 2.0, "dried")
    assert answer.error_mc_pct == pytest.approx(np.hypot(0.32, 1.0), abs=0.02)
    assert answer.high_mc_pct - answer.low_mc_pct == pytest.approx(2 * Z80 * answer.error_mc_pct)
    wider = mc_from_bag(50.0, 20.0, 2.0, "dried", scale_error_share=0.1)
    assert wider.error_mc_pct == pytest.approx(np.hypot(answer.error_mc_pct, 0.1 * answer.mc_pct))


@pytest.mark.parametrize("rh", [98.0, 99.5, 100.0])
def test_near_saturation_it_only_says_at_least(rh):
    answer = mc_from_bag(rh, 20.0, 1.0, "unknown")
    assert answer.at_least
    assert answer.high_mc_pct == np.inf
    assert answer.mc_pct == pytest.approx(sorption.adsorption_ratio() * float(sorption.emc_pct(20.0, 98.0)))
    assert "At least" in answer.sentence


def test_a_hygrometer_whose_error_reaches_saturation_leaves_the_answer_open_above():
    assert mc_from_bag(96.5, 20.0, 2.0, "dried").high_mc_pct == np.inf
    assert np.isfinite(mc_from_bag(90.0, 20.0, 2.0, "dried").high_mc_pct)


@pytest.mark.parametrize(
    ("asked", "said"),
    [
        ((101.0, 20.0, 1.0, "dried"), "rh_pct"),
        ((np.nan, 20.0, 1.0, "dried"), "rh_pct"),
        ((50.0, 200.0, 1.0, "dried"), "temperature_c"),
        ((50.0, 20.0, -1.0, "dried"), "rh_error_pct"),
        ((50.0, 20.0, 1.0, "steamed"), "dried, gained, unknown"),
    ],
)
def test_what_no_bag_can_show_is_refused(asked, said):
    with pytest.raises(BadInput, match=said):
        mc_from_bag(*asked)


@given(end=st.floats(0.0, 100.0), start=st.floats(0.0, 100.0), t=rooms)
def test_the_water_that_the_air_gains_the_wood_loses(end, start, t):
    one = Bag(0.35, 0.004, 0.22, 0.003, t, start)
    back = Bag(0.35, 0.004, 0.22, 0.003, t, end)
    assert bags.water_drawn_kg(one, end) == pytest.approx(-bags.water_drawn_kg(back, start), abs=1e-15)
    before = bags.water_drawn_kg(one, start)
    assert before == 0.0
    assert bags.drawn_mc_pct(one, end) == pytest.approx(100.0 * bags.water_drawn_kg(one, end) / one.dry_mass_kg)


def test_a_litre_of_air_holds_little_water_against_wood():
    # Saturated air at 20 °C holds 17.3 g/m³ (ASHRAE Handbook Fundamentals, 2017, chapter 1, Table 3: 1/57.76 m³/kg).
    held = bags.water_drawn_kg(Bag(1.0, 0.02, 0.2, 1.0, 20.0, 0.0), 100.0)
    assert held == pytest.approx(0.0173, rel=0.01)
    assert abs(bags.drawn_mc_pct(PLATE, 60.0)) < 0.01


def test_too_little_wood_for_its_bag_is_named():
    chip = Bag(0.002, 0.004, 0.003, 0.02, 20.0, 40.0)
    assert any("Too little wood" in said for said in bags.flags(chip, 70.0))
    assert bags.flags(PLATE, 55.0) == ()


def test_a_bag_that_swings_or_condenses_is_named():
    assert any("swung by 8" in said for said in bags.flags(PLATE, 50.0, [16.0, 24.0]))
    dew = float(psychrometrics.dew_point_c(20.0, 80.0))
    assert any("dew point" in said for said in bags.flags(PLATE, 80.0, [dew - 0.5, 20.0]))
    assert not any("dew point" in said for said in bags.flags(PLATE, 80.0, [dew + 0.5, 20.0]))


def test_shut_in_with_wood_the_air_gets_moister_when_warmed_about_a_third_of_a_percent_per_degree():
    # Common practice, no source: about 0.3 %RH a degree. Clausius and Clapeyron with a differential heat of sorption of
    # 1170 exp(−14 M) kJ/kg (Skaar 1988, Siau 1984, from memory): M 0.095 at 50 %RH, 309 kJ/kg, 0.39 %RH a degree.
    assert bags.rh_shift_rh_pct_per_k(20.0, 50.0) == pytest.approx(0.3, abs=0.1)
    assert all(bags.rh_shift_rh_pct_per_k(20.0, rh) > 0.15 for rh in (30.0, 50.0, 70.0))


def test_the_time_to_even_out_is_that_of_the_slowest_even_mode_of_a_closed_slab():
    # The eigenvalues of the closed slab, found numerically: mode 1 is odd, mode 2 the slowest even one.
    nodes, length = 400, PLATE.thickness_m
    step = length / nodes
    laplace = np.diag(np.full(nodes, 2.0)) - np.diag(np.ones(nodes - 1), 1) - np.diag(np.ones(nodes - 1), -1)
    laplace[0, 0] = laplace[-1, -1] = 1.0
    modes = np.sort(np.linalg.eigvalsh(laplace)) / step**2
    sycamore = 0.6158e-10  # by density (test_prior.py); the slope of drying.csv
    diffusion = sycamore * np.exp(1.15 * (9.0 - 30.0) / 100.0)
    expected = 3.0 / (diffusion * modes[2]) / S_PER_HOUR
    assert bags.wait_hours(PLATE, SYCAMORE, 9.0).even_hours[1] == pytest.approx(expected, rel=1e-3)
    assert modes[2] / modes[1] == pytest.approx(4.0, rel=1e-3)


def test_thicker_drier_cooler_and_denser_wood_takes_longer_to_even_out():
    thin = bags.wait_hours(PLATE, SYCAMORE, 9.0).even_hours
    board = Bag(2.0, 0.008, 0.22, 0.003, 20.0, 45.0)
    cold = Bag(0.35, 0.004, 0.22, 0.003, 5.0, 45.0)
    assert bags.wait_hours(board, SYCAMORE, 9.0).even_hours[1] == pytest.approx(4.0 * thin[1])
    assert bags.wait_hours(cold, SYCAMORE, 9.0).even_hours[1] > thin[1]
    assert bags.wait_hours(PLATE, OAK, 9.0).even_hours[1] > thin[1]
    assert bags.wait_hours(PLATE, SPRUCE, 6.0).even_hours[1] > bags.wait_hours(PLATE, SPRUCE, 12.0).even_hours[1]
    assert thin[0] < thin[1] < thin[2]


def test_the_faces_are_told_long_before_the_whole_of_a_board():
    wait = bags.wait_hours(Bag(4.0, 0.025, 0.3, 0.02, 20.0, 45.0), SYCAMORE, 12.0)
    assert 1.0 <= wait.faces_hours < 2.0
    assert wait.faces_hours < wait.even_hours[0]
    assert "faces" in wait.sentence
    assert "whole piece" in wait.sentence


@pytest.mark.parametrize("name", ["dry_mass_kg", "thickness_m", "face_area_m2", "air_volume_m3", "start_rh_pct"])
def test_an_impossible_bag_is_refused(name):
    numbers = {
        "dry_mass_kg": 0.35,
        "thickness_m": 0.004,
        "face_area_m2": 0.22,
        "air_volume_m3": 0.003,
        "temperature_c": 20.0,
        "start_rh_pct": 45.0,
    }
    with pytest.raises(OutOfRange, match=name):
        Bag(**(numbers | {name: -1.0}))


def test_a_wait_for_impossible_wood_is_refused():
    with pytest.raises(OutOfRange, match="mc_pct"):
        bags.wait_hours(PLATE, SYCAMORE, 0.0)
