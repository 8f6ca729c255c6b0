"""Against the Wood Handbook (FPL-GTR-282, 2021, and FPL-GTR-190, 2010).

The EMC equation in °F is an independent print of the same curve, so it checks every coefficient of the
°C form that the program uses. The table's cells were written down from memory and are a regression of
the equation, not outside checks of their own.
"""

import numpy as np
import pytest

from kiln import sorption, wood

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


def test_moisture_content_by_weighing():
    # Purdue University FNR-156: a section of 136 g that is 100 g oven-dry.
    assert wood.mc_pct_from_mass(136.0, 100.0) == pytest.approx(36.0)
