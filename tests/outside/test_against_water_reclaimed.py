"""Wood out of the water, against what advisers of the trade have printed and against the Wood Handbook.

Kiln schedules: temperatures and wet-bulb depressions of the USDA's codes (Dry Kiln Operator's Manual, Agriculture
Handbook 188, chapter 7) are from memory.
"""

import numpy as np
import pytest

from kiln import psychrometrics, sorption
from kiln.reclaimed import Grade
from kiln.sawing import full_of_water_kg, mass, reserve_share, saw_plan
from shared.tables import constants, species
from shared.units import c_from_f

FIRST_F = dict(zip(range(1, 13), (100, 100, 110, 110, 120, 120, 130, 130, 140, 140, 150, 160), strict=True))
DEPRESSION_F = dict(zip(range(1, 9), (3, 4, 5, 7, 10, 15, 20, 25), strict=True))
INCH_M = 0.0254
SEA_LEVEL_PA = 101_325.0


def pace_of_first_step(temperature_code, humidity_code):
    """Diffusion times the distance that moisture has to fall, up to a factor: the drying of a schedule's first step."""
    dry_c = c_from_f(FIRST_F[temperature_code])
    wet_c = c_from_f(FIRST_F[temperature_code] - DEPRESSION_F[humidity_code])
    rh_pct = float(psychrometrics.rh_pct_from_wet_bulb(dry_c, wet_c, SEA_LEVEL_PA))
    fall = 28.8 - float(sorption.emc_pct(dry_c, rh_pct))
    return fall * np.exp(-constants("drying")["activation_temperature"].value / (dry_c + 273.15))


# E. M. Wengert, Drying sinker wood, 2000: "one letter milder, two numbers milder for relative humidity, and three steps
# milder for temperature. For example, T6-D6 would become T3-C4." Schedules of the trade, 4/4 and 8/4, from memory.
@pytest.mark.parametrize("code", [(6, 6), (6, 4), (8, 4), (8, 3), (6, 3), (10, 4), (4, 2)])
def test_the_milder_limit_is_what_milder_schedules_leave_of_the_pace(code):
    temperature, humidity = code
    milder = pace_of_first_step(max(temperature - 3, 1), max(humidity - 2, 1)) / pace_of_first_step(*code)
    assert constants("reclaimed")["milder_factor"].value == pytest.approx(milder, abs=0.05)


# A recipe for submerged logs, unsigned, copied in a public discussion (weak): sawn at 1 1/2 in for a finished 3/4 in,
# by way of 1 in dry. Read as given to the nearest quarter inch.
@pytest.mark.parametrize("name", ["Quercus rubra", "Acer saccharum", "Taxodium distichum", "Betula alleghaniensis"])
def test_the_recipe_saws_no_thinner_than_a_plan_without_trouble_and_about_as_thick_as_one_with(name):
    wood = species()[name]
    shrinks, planing = (
        (wood.shrinkage_radial_pct, wood.shrinkage_tangential_pct),
        constants("reclaimed")["planing"].value,
    )
    assert 0.75 * INCH_M + planing == pytest.approx(1.0 * INCH_M)
    plans = {
        grade: saw_plan(0.75 * INCH_M, shrinks, 0.0, 8.0, reserve_share(grade), planing, wood.fsp_pct).saw_m
        for grade in Grade
    }
    assert plans[Grade.CLEAR] < 1.25 * INCH_M
    assert plans[Grade.BACTERIAL] == pytest.approx(1.5 * INCH_M, abs=INCH_M / 8)
    assert plans[Grade.BACTERIAL] <= 1.5 * INCH_M


# Wood Handbook FPL-GTR-282, 2021, Equation 4-3 with a cell wall of 1.54: full of water a cubic metre weighs
# 1000 + 1000 G (1 - 1/1.54) kg; E. M. Wengert, Sinker log issues, 2005: such logs hold more water than others and sink.
@pytest.mark.parametrize(("name", "basic"), [("Quercus rubra", 0.56), ("Taxodium distichum", 0.42)])
def test_a_cubic_metre_full_of_water(name, basic):
    assert species()[name].basic_specific_gravity == pytest.approx(basic)
    assert full_of_water_kg(1.0, species()[name]) == pytest.approx(1000 + 1000 * basic * (1 - 1 / 1.54), rel=1e-6)


# A worked cylinder: 12 in across the middle, 8 ft long, is 6.28 ft³ (π/4 × 1 ft² × 8 ft); at 62.4 lb/ft³ of water it
# displaces 392 lb. Waterlogged oak is between nine tenths of that and a fifth more.
def test_a_waterlogged_oak_log_weighs_about_what_it_displaces():
    displaced_kg = 6.283 * 62.4 * 0.45359237
    low, _, high = mass(6.283 * 0.3048**3, species()["Quercus rubra"]).kg
    assert displaced_kg * 0.9 < low < high < displaced_kg * 1.2 + 1
