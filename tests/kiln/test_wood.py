"""Mass, density and heat: inverses invert, nothing shrinks above fibre saturation, ranges are refused."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from kiln import wood
from kiln.errors import OutOfRange

BASICS = st.floats(0.1, 1.3)
MOISTURES = st.floats(0.0, 300.0)
SHRINKAGES = st.one_of(st.none(), st.floats(0.0, 30.0))
FSPS = st.floats(15.0, 40.0)


@given(BASICS, MOISTURES, SHRINKAGES, FSPS)
def test_basic_gravity_and_density_are_inverses(basic, mc_pct, shrinkage, fsp_pct):
    rho = wood.density_at_mc_kg_m3(basic, mc_pct, shrinkage, fsp_pct)
    assert wood.basic_specific_gravity_from_density(rho, mc_pct, shrinkage, fsp_pct) == pytest.approx(basic, rel=1e-12)


@given(BASICS, MOISTURES, SHRINKAGES, FSPS)
def test_the_way_over_the_oven_dry_density_arrives_at_the_same(basic, mc_pct, shrinkage, fsp_pct):
    oven_dry = wood.density_at_mc_kg_m3(basic, 0.0, shrinkage, fsp_pct)
    by_oven_dry = wood.density_from_oven_dry_kg_m3(oven_dry, mc_pct, shrinkage, fsp_pct)
    assert by_oven_dry == pytest.approx(wood.density_at_mc_kg_m3(basic, mc_pct, shrinkage, fsp_pct), rel=1e-12)


@given(BASICS, st.floats(30.0, 300.0), SHRINKAGES)
def test_above_fibre_saturation_density_is_basic_gravity_and_water_alone(basic, mc_pct, shrinkage):
    assert wood.density_at_mc_kg_m3(basic, mc_pct, shrinkage) == pytest.approx(1000 * basic * (1 + mc_pct / 100))


@given(st.floats(0.1, 20.0), st.floats(0.0, 100.0), FSPS)
def test_no_shrinkage_at_or_above_fibre_saturation_and_all_of_it_at_zero(total, above, fsp_pct):
    assert wood.shrinkage_pct(total, fsp_pct + above, fsp_pct) == 0.0
    assert wood.shrinkage_pct(total, 0.0, fsp_pct) == pytest.approx(total)


@given(BASICS)
def test_a_given_shrinkage_equal_to_the_estimate_changes_nothing(basic):
    estimate = wood.volumetric_shrinkage_from_basic_pct(basic)
    assert wood.density_at_mc_kg_m3(basic, 9.0, estimate) == pytest.approx(wood.density_at_mc_kg_m3(basic, 9.0))


@given(st.floats(0.1, 1.0))  # heavier wood is full before its wall is saturated
def test_full_of_water_the_piece_weighs_as_much_as_wall_substance_and_water_fill_its_volume(basic):
    full = wood.density_at_mc_kg_m3(basic, wood.maximum_mc_pct(basic))
    assert full == pytest.approx(1000 * (basic + 1 - basic / 1.54))


def test_arrays_equal_scalars_and_nan_stays_nan():
    basic, mc = np.array([[0.35, 0.5], [0.7, np.nan]]), np.array([8.0, 60.0])
    rho = wood.density_at_mc_kg_m3(basic, mc)
    assert rho.shape == (2, 2)
    assert rho[1, 0] == wood.density_at_mc_kg_m3(0.7, 8.0)
    assert np.isnan(rho[1, 1])
    assert np.isnan(wood.maximum_mc_pct(np.nan))
    assert np.isnan(wood.conductivity_w_mk(0.5, np.nan))
    assert np.isnan(wood.heat_capacity_j_kgk(np.nan, 300.0))


@given(st.floats(0.3, 1.2), st.floats(0.0, 24.0))
def test_conductivity_rises_with_gravity_and_with_water(gravity, mc_pct):
    here = wood.conductivity_w_mk(gravity, mc_pct)
    assert wood.conductivity_w_mk(gravity + 0.1, mc_pct) > here
    assert wood.conductivity_w_mk(gravity, mc_pct + 1.0) > here


@given(st.floats(0.0, 29.0), st.floats(290.0, 370.0))
def test_moist_wood_holds_more_heat_than_dry_and_warm_more_than_cold(mc_pct, temperature_k):
    here = wood.heat_capacity_j_kgk(mc_pct, temperature_k)
    assert wood.heat_capacity_j_kgk(mc_pct + 1.0, temperature_k) > here
    assert wood.heat_capacity_j_kgk(mc_pct, temperature_k + 10.0) > here


@pytest.mark.parametrize(
    ("call", "named"),
    [
        (lambda: wood.maximum_mc_pct(np.array([0.5, 1.6])), "basic_specific_gravity is 1.6"),
        (lambda: wood.sink_mc_pct(0.0), "basic_specific_gravity is 0"),
        (lambda: wood.density_at_mc_kg_m3(0.5, -1.0), "mc_pct is -1"),
        (lambda: wood.density_at_mc_kg_m3(0.5, 12.0, 100.0), "volumetric_shrinkage_pct is 100"),
        (lambda: wood.basic_specific_gravity_from_density(0.0, 12.0), "density_kg_m3 is 0"),
        (lambda: wood.density_from_oven_dry_kg_m3(-5.0, 12.0), "oven_dry_density_kg_m3 is -5"),
        (lambda: wood.conductivity_w_mk(0.29, 12.0), "specific_gravity_at_mc is 0.29"),
        (lambda: wood.conductivity_w_mk(0.5, 25.1), "mc_pct is 25.1"),
        (lambda: wood.heat_capacity_j_kgk(30.5, 300.0), "mc_pct is 30.5"),
        (lambda: wood.heat_capacity_j_kgk(10.0, 20.0), "temperature_k is 20"),
        (lambda: wood.mc_pct_from_mass(1.0, 0.0), "oven_dry_mass_kg is 0"),
    ],
)
def test_outside_its_range_a_formula_refuses_and_names_the_value(call, named):
    with pytest.raises(OutOfRange, match=named):
        call()
