"""How thick to saw wood out of the water, and what it weighs before it is lifted."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from kiln import sawing, wood
from kiln.errors import OutOfRange
from kiln.reclaimed import Grade
from kiln.sawing import full_of_water_kg, log_volume_m3, mass, reserve_share, saw_plan
from shared.tables import species

OAK, CYPRESS = species()["Quercus rubra"], species()["Taxodium distichum"]
SHRINKS = (OAK.shrinkage_radial_pct, OAK.shrinkage_tangential_pct)
SIZES = st.floats(0.002, 0.1)


@given(SIZES, st.floats(0, 90), st.floats(0, 40), st.floats(0, 0.5), st.floats(0, 0.02))
def test_what_is_sawn_is_what_is_finished_and_all_that_goes_on_the_way(finished, angle, mc, reserve, planing):
    plan = saw_plan(finished, SHRINKS, angle, mc, reserve, planing)
    parts = plan.finished_m + plan.planing_m + plan.shrinkage_m + plan.collapse_m
    assert plan.saw_m == pytest.approx(parts)
    assert min(plan.shrinkage_m, plan.collapse_m) >= 0.0
    collapsed = plan.saw_m * (1.0 - reserve)
    assert collapsed - plan.shrinkage_m == pytest.approx(plan.rough_m)


@given(SIZES, st.floats(6, 29), st.floats(0.1, 10))
def test_drier_wood_and_worse_marks_want_more(finished, mc, drier):
    plans = [saw_plan(finished, SHRINKS, 0.0, mc, reserve_share(grade), 0.006) for grade in sawing.RESERVES]
    assert plans[0].saw_m < plans[1].saw_m == plans[2].saw_m < plans[3].saw_m
    dry = saw_plan(finished, SHRINKS, 0.0, max(mc - drier, 0.0), 0.05, 0.006)
    assert dry.saw_m > saw_plan(finished, SHRINKS, 0.0, mc, 0.05, 0.006).saw_m


def test_nothing_shrinks_above_fibre_saturation_and_quartered_boards_shrink_more_in_thickness():
    assert saw_plan(0.02, SHRINKS, 0.0, 35.0, 0.0, 0.0).saw_m == pytest.approx(0.02)
    flat, quartered = (saw_plan(0.02, SHRINKS, angle, 8.0, 0.0, 0.0) for angle in (0.0, 90.0))
    assert quartered.shrinkage_m > flat.shrinkage_m


def test_the_allowance_for_shrinkage_holds_nine_boards_in_ten():
    rng = np.random.default_rng(1)
    own = SHRINKS[0] * (1.0 + 0.15 * rng.standard_normal(200_000))
    plan = saw_plan(0.02, SHRINKS, 0.0, 8.0, 0.0, 0.0)
    left = plan.saw_m * (1.0 - wood.shrinkage_pct(own, 8.0) / 100.0)
    assert np.mean(left >= 0.02) == pytest.approx(0.9, abs=0.01)


@pytest.mark.parametrize(
    ("name", "asked"),
    [
        ("finished_m", (0.0, SHRINKS, 0.0, 8.0, 0.1, 0.006)),
        ("planing_m", (0.02, SHRINKS, 0.0, 8.0, 0.1, -0.001)),
        ("reserve", (0.02, SHRINKS, 0.0, 8.0, 0.6, 0.006)),
        ("final_mc_pct", (0.02, SHRINKS, 0.0, -1.0, 0.1, 0.006)),
        ("ring_angle_deg", (0.02, SHRINKS, 91.0, 8.0, 0.1, 0.006)),
    ],
)
def test_a_plan_of_nonsense_is_refused_by_name(name, asked):
    with pytest.raises(OutOfRange, match=name):
        saw_plan(*asked)


@pytest.mark.parametrize("timber", [OAK, CYPRESS], ids=lambda one: one.common_name)
def test_waterlogged_wood_weighs_between_green_and_full_and_may_sink(timber):
    found = mass(0.1, timber)
    low, middle, high = found.kg
    assert low < middle < high <= full_of_water_kg(0.1, timber) * 1.06
    assert middle > 0.1 * timber.basic_specific_gravity * 1000 * (1 + timber.green_mc_heart_pct / 100)
    assert high > 0.1 * 1000  # heavier than water
    assert found.mc_pct[2] <= float(wood.maximum_mc_pct(0.85 * timber.basic_specific_gravity))


def test_a_known_moisture_is_taken_as_it_is_and_its_error_widens_the_band():
    sure, unsure = mass(0.01, OAK, 12.0), mass(0.01, OAK, 12.0, 4.0)
    density = float(
        wood.density_at_mc_kg_m3(OAK.basic_specific_gravity, 12.0, OAK.shrinkage_volumetric_pct, OAK.fsp_pct)
    )
    assert sure.kg[1] == pytest.approx(0.01 * density, rel=0.01)
    assert sure.mc_pct == pytest.approx((12.0, 12.0, 12.0))
    assert unsure.kg[2] - unsure.kg[0] > sure.kg[2] - sure.kg[0]


def test_nothing_holds_more_water_than_its_cavities():
    over = mass(0.1, OAK, 400.0)
    assert over.mc_pct[1] == pytest.approx(float(wood.maximum_mc_pct(OAK.basic_specific_gravity)), rel=0.02)


def test_ten_boards_weigh_ten_times_one():
    assert mass(0.1, OAK).kg == pytest.approx(tuple(10 * kg for kg in mass(0.01, OAK).kg))


def test_a_log_is_measured_across_its_middle():
    assert log_volume_m3(0.4, 3.0) == pytest.approx(np.pi * 0.2**2 * 3.0)  # a cylinder
    with pytest.raises(OutOfRange, match="diameter_m"):
        log_volume_m3(0.0, 3.0)


@pytest.mark.parametrize(
    ("name", "asked"),
    [("volume_m3", (0.0,)), ("mc_pct", (0.1, -1.0)), ("mc_error_pct", (0.1, 12.0, -1.0))],
)
def test_a_mass_of_nonsense_is_refused_by_name(name, asked):
    with pytest.raises(OutOfRange, match=name):
        mass(asked[0], OAK, *asked[1:])


def test_every_class_has_a_reserve():
    assert set(sawing.RESERVES) == set(Grade)
