"""Against the Wood Handbook (FPL-GTR-282, 2021, and FPL-GTR-190, 2010).

The EMC equation in °F is an independent print of the same curve, so it checks every coefficient of the
°C form that the program uses. The table's cells were written down from memory and are a regression of
the equation, not outside checks of their own.
"""

import numpy as np
import pytest

from dashboards import air_drawings
from kiln import movement, sorption, stiffness, wood
from shared import tables

FORMS_AGREE_MC_PCT = 0.015  # the two printed forms are fits to one curve; measured over the whole table
TABLE_MC_PCT = 0.07  # printed to 0.1, and the table was computed from a slightly different fit


def emc_fahrenheit_form(temperature_f, rh_pct):
    """Hailwood-Horrobin with T in °F; Simpson's coefficients as commonly printed (FPL-RP-190 line of papers)."""
    t, h = temperature_f, rh_pct / 100.0
    w = 330.0 + 0.452 * t + 0.00415 * t**2
    k = 0.791 + 0.000463 * t - 0.000000844 * t**2
    k1 = 6.34 + 0.000775 * t - 0.0000935 * t**2
    k2 = 1.09 + 0.0284 * t - 0.0000904 * t**2
    a, b = k1 * k * h, k1 * k2 * (k * h) ** 2
    return 1800.0 / w * (k * h / (1 - k * h) + (a + 2 * b) / (1 + a + b))


def test_celsius_form_agrees_with_the_fahrenheit_form_over_the_whole_table():
    temperature_f, rh_pct = np.meshgrid(np.arange(30.0, 161.0, 5.0), np.arange(5.0, 96.0, 5.0))
    celsius = sorption.emc_pct((temperature_f - 32.0) / 1.8, rh_pct)
    assert np.max(np.abs(celsius - emc_fahrenheit_form(temperature_f, rh_pct))) < FORMS_AGREE_MC_PCT


# Table 4-2, from memory; 70 °F / 50 % is the cell every practitioner knows.
@pytest.mark.parametrize(
    ("temperature_f", "rh_pct", "emc_pct"),
    [(30, 50, 9.5), (70, 50, 9.2), (70, 65, 12.0), (90, 80, 15.4), (110, 20, 4.0), (130, 30, 5.2), (160, 90, 16.7)],
)
def test_emc_table_cells(temperature_f, rh_pct, emc_pct):
    assert sorption.emc_pct((temperature_f - 32.0) / 1.8, rh_pct) == pytest.approx(emc_pct, abs=TABLE_MC_PCT)


# What is drawn on the pages of air, against the independent print in °F and the cells of Table 4-2.
@pytest.mark.parametrize("level_pct", [*air_drawings.EMC_LEVELS_PCT, 9.2])
def test_every_point_of_a_drawn_curve_of_equal_moisture_is_air_of_that_emc(level_pct):
    temperature_c, rh_pct = air_drawings.contour(level_pct, -10.0, 40.0)
    assert temperature_c[0] == -2.0 and temperature_c[-1] == 40.0
    emc_pct = emc_fahrenheit_form(32.0 + 1.8 * np.array(temperature_c), np.array(rh_pct))
    assert np.max(np.abs(emc_pct - level_pct)) < FORMS_AGREE_MC_PCT


@pytest.mark.parametrize(("temperature_f", "rh_pct", "emc_pct"), [(30, 50, 9.5), (70, 50, 9.2), (70, 65, 12.0)])
def test_a_drawn_curve_goes_through_the_cell_of_the_table(temperature_f, rh_pct, emc_pct):
    curve = air_drawings.contour(emc_pct, -5.0, 40.0)
    drawn_rh_pct = np.interp((temperature_f - 32.0) / 1.8, *curve)
    slope = 0.2  # %MC for each %RH in the middle of the table, so that a printed digit leaves about half a percent
    assert drawn_rh_pct == pytest.approx(rh_pct, abs=TABLE_MC_PCT / slope)


# Equation 4-3 with basic specific gravities of the species table (FIA REF_SPECIES, 2023).
@pytest.mark.parametrize(("basic", "maximum_pct"), [(0.46, 152.5), (0.51, 131.1), (0.60, 101.7), (0.31, 257.6)])
def test_maximum_moisture_content_equation_4_3(basic, maximum_pct):
    assert wood.maximum_mc_pct(basic) == pytest.approx(maximum_pct, abs=0.05)


# Equation 4-4.
@pytest.mark.parametrize(("basic", "sink_pct"), [(0.46, 117.4), (0.54, 85.2)])
def test_sink_moisture_content_equation_4_4(basic, sink_pct):
    assert wood.sink_mc_pct(basic) == pytest.approx(sink_pct, abs=0.05)


# Equation 4-9 with Table 4-3 (FPL-GTR-190, 2010): total shrinkage, to moisture content, shrinkage.
@pytest.mark.parametrize(
    ("total_pct", "mc_pct", "shrinkage_pct"),
    [(8.4, 8, 6.16), (5.0, 8, 3.67), (12.8, 6, 10.24), (11.9, 12, 7.14), (8.4, 45, 0.0)],
)
def test_shrinkage_equation_4_9(total_pct, mc_pct, shrinkage_pct):
    assert wood.shrinkage_pct(total_pct, mc_pct) == pytest.approx(shrinkage_pct, abs=0.005)


def test_specific_gravity_and_density_equations_4_11_and_4_14():
    assert wood.specific_gravity_at(0.46, 14.1, 12.0) == pytest.approx(0.5025, abs=0.0005)
    assert wood.density_kg_m3(0.46, 81.15) == pytest.approx(833.3, abs=0.5)  # FPL fact sheet, sycamore: 833
    # Equations 4-11 and 4-14 in one step; green, the fact sheet's 833 kg/m³ again, and back to its moisture content.
    assert wood.density_at_mc_kg_m3(0.46, 81.15, 14.1) == pytest.approx(833.0, abs=0.5)
    assert wood.basic_specific_gravity_from_density(833.0, 81.15, 14.1) == pytest.approx(0.46, abs=0.0005)


def test_moisture_content_by_weighing():
    # Purdue University FNR-156: a section of 136 g that is 100 g oven-dry.
    assert wood.mc_pct_from_mass(136.0, 100.0) == pytest.approx(36.0)


# Equations 4-12 and 4-13 alone, against the specific gravities at 12 % that the USDA Forest Service prints beside
# the basic ones (FIA REF_SPECIES, 2023): two measured columns, joined by an equation fitted to many woods.
@pytest.mark.parametrize(
    ("basic", "at_12"),
    [(0.51, 0.55), (0.56, 0.63), (0.60, 0.68), (0.56, 0.64), (0.33, 0.36), (0.31, 0.32), (0.54, 0.59), (0.37, 0.41)],
)
def test_specific_gravity_at_12_from_the_basic_one_alone(basic, at_12):
    from_basic = wood.density_at_mc_kg_m3(basic, 12.0) / (1000.0 * 1.12)
    assert from_basic == pytest.approx(at_12, abs=0.03)  # beech shrinks more than its weight tells
    mass_over_volume = wood.density_at_mc_kg_m3(basic, 12.0) / 1000.0
    assert mass_over_volume > at_12 + 0.02  # the other meaning of "at 12 %", 1.12 times higher, is not ours


def test_volumetric_shrinkage_from_basic_gravity_equations_4_12_and_4_16():
    assert wood.volumetric_shrinkage_from_basic_pct(0.50) == pytest.approx(13.25)  # 26.5 × 0.50
    # Equation 4-16 by hand: S0 = 26.5 × 600 / (1000 + 0.265 × 600) = 13.72 %; at 12 % density is
    # 600 × 1.12 × (100 − 13.72) / (100 − 0.6 × 13.72) = 631.8 kg/m³ (Equation 4-15).
    assert wood.density_from_oven_dry_kg_m3(600.0, 12.0) == pytest.approx(631.8, abs=0.05)


def test_conductivity_equation_4_17():
    # FPL-GTR-282, 2021: 0.48 (0.1941 + 0.004064 × 12) + 0.01864.
    assert wood.conductivity_w_mk(0.48, 12.0) == pytest.approx(0.1352, abs=0.00005)


# FPL-GTR-190, 2010, Equations 4-16a, 4-17 and 4-18, worked in kJ/(kg K) as printed there.
@pytest.mark.parametrize(("mc_pct", "temperature_k", "kj_kgk"), [(0.0, 293.15, 1.2367), (10.0, 300.0, 1.604)])
def test_heat_capacity_equations_4_16a_to_4_18(mc_pct, temperature_k, kj_kgk):
    assert wood.heat_capacity_j_kgk(mc_pct, temperature_k) == pytest.approx(1000.0 * kj_kgk, abs=0.5)


def printed_coefficients():
    """Rows whose shrinkage and coefficient were both read in print, group rows (commercial oaks) left out."""
    read = [one for one in tables.species().values() if one.shrinkage_status == one.coefficient_status == "published"]
    return [one for one in read if "group row" not in one.coefficient_source]


LAST_PRINTED_DIGIT = 0.00001


@pytest.mark.parametrize("one", printed_coefficients(), ids=lambda one: one.botanical_name)
def test_coefficients_of_table_13_5_follow_from_the_shrinkages_of_table_4_3(one):
    # FPL-GTR-190, 2010: two tables printed apart, joined by handbook_coefficient.
    radial = movement.handbook_coefficient(one.shrinkage_radial_pct)
    tangential = movement.handbook_coefficient(one.shrinkage_tangential_pct)
    assert radial == pytest.approx(one.coefficient_radial_per_pct, abs=LAST_PRINTED_DIGIT)
    assert tangential == pytest.approx(one.coefficient_tangential_per_pct, abs=LAST_PRINTED_DIGIT)


def test_enough_rows_stand_in_both_tables():
    assert len(printed_coefficients()) >= 15


# Equation 13-2 with coefficients of Table 13-5 (FPL-GTR-190, 2010): size [mm], coefficient, from, to, change [mm].
@pytest.mark.parametrize(
    ("size_mm", "coefficient", "from_mc", "to_mc", "change_mm"),
    [
        (300, 0.00296, 12, 7, -4.44),
        (200, 0.00353, 6, 10, 2.82),
        (250, 0.00369, 8, 12, 3.69),
        (400, 0.00190, 11, 8, -2.28),
    ],
)
def test_dimensional_change_equation_13_2(size_mm, coefficient, from_mc, to_mc, change_mm):
    change_m = movement.handbook_change_m(size_mm / 1000.0, coefficient, from_mc, to_mc)
    assert 1000.0 * change_m == pytest.approx(change_mm, abs=0.005)


def test_longitudinal_shrinkage_page_4_5():
    # FPL-GTR-190, 2010: 0.1 to 0.2 % green to oven-dry.
    least, most = movement.longitudinal_change_m(1.0, 30.0, 0.0)
    assert (least, most) == (pytest.approx(-0.001), pytest.approx(-0.002))


def test_strength_worked_example_of_page_5_34():
    # FPL-GTR-282, 2021: modulus of rupture of white ash, 103,000 kPa at 12 %, 66,000 green, is 119,500 at 8 %.
    meet = stiffness.intersection_mc_pct("Fraxinus americana")
    assert stiffness.property_at_mc(103_000.0, 66_000.0, 8.0, meet) == pytest.approx(119_500.0, abs=50.0)


def test_modulus_of_sugar_maple_and_rupture_of_black_cherry_equation_5_3():
    # FPL-GTR-282, 2021, Table 5-3a values in Equation 5-3, default intersection.
    maple = tables.species()["Acer saccharum"]
    assert stiffness.species_modulus_pa(maple, 8.0) == pytest.approx(13.25e9, abs=0.005e9)
    assert stiffness.property_at_mc(85.0, 55.0, 16.0) == pytest.approx(74.34, abs=0.02)


# FPL-GTR-282, 2021, Table 5-13, and the default of page 5-34.
@pytest.mark.parametrize(
    ("timber", "meet_pct"),
    [("Picea sitchensis", 27), ("Sequoia sempervirens", 21), ("Tsuga heterophylla", 28), ("Prunus serotina", 25)],
)
def test_intersection_moisture_contents_of_table_5_13(timber, meet_pct):
    assert stiffness.intersection_mc_pct(timber) == meet_pct
