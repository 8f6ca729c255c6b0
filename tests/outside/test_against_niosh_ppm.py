"""Against NIOSH: ppm and mg/m³ side by side as it prints them, and a tenth of the lower explosive limit in ppm.

The pairs of its documentation of immediately dangerous concentrations (May 1994, on cdc.gov) are figures of ACGIH, the
TLVs of 1993-1994, and are rounded to three digits. The factors of its Pocket Guide (DHHS 2005-149) have two decimals,
for 25 °C and 760 mm of mercury: half of the last is their tolerance, and half of the last digit of a molar mass.
"""

from dataclasses import replace

import pytest

from kiln.finish_limits import explosive, lel_share_per_kg_m3
from kiln.mixtures import Basis, Ingredient, Mixture
from kiln.room_air import Room, Spraying
from kiln.vapour import mg_m3_from_ppm, ppm_from_mg_m3
from shared.tables import find_substance

STANDARD = Room(100.0, None, 3.0, 25.0, 101_325.0)

# NIOSH, Documentation for Immediately Dangerous To Life or Health Concentrations, May 1994, the page of each substance:
# "1993-1994 ACGIH TLV". Molar masses in g/mol by the formula.
PAIRS = [  # CAS, g/mol, ppm, mg/m³
    ("67-63-0", 60.10, 400, 983),
    ("67-63-0", 60.10, 500, 1230),
    ("108-88-3", 92.14, 50, 188),
    ("123-86-4", 116.16, 150, 713),
    ("123-86-4", 116.16, 200, 950),
    ("64-17-5", 46.07, 1000, 1880),
    ("141-78-6", 88.11, 400, 1440),
    ("540-88-5", 116.16, 200, 950),
    ("108-87-2", 98.19, 400, 1610),
]

# The same pages: "LEL: 2.0% (10% LEL, 2,000 ppm)" and so on.
TENTHS = [  # CAS, lower explosive limit [%], a tenth of it [ppm]
    ("67-63-0", 2.0, 2000),
    ("108-88-3", 1.1, 1100),
    ("123-86-4", 1.7, 1700),
    ("64-17-5", 3.3, 3300),
    ("141-78-6", 2.0, 2000),
]

# NIOSH Pocket Guide, DHHS 2005-149: "Conversion: 1 ppm = 3.77 mg/m3" and so on; from memory (those of toluene and of
# ethanol were seen in copies of it).
FACTORS = [  # CAS, mg/m³ for 1 ppm
    ("64-17-5", 1.89),
    ("67-63-0", 2.46),
    ("108-88-3", 3.77),
    ("67-64-1", 2.38),
    ("123-86-4", 4.75),
    ("141-78-6", 3.60),
    ("78-93-3", 2.95),
    ("71-36-3", 3.03),
    ("67-56-1", 1.31),
    ("1330-20-7", 4.34),
    ("111-76-2", 4.83),
]


@pytest.mark.parametrize(("cas", "g_mol", "ppm", "mg_m3"), PAIRS)
def test_printed_pairs(cas, g_mol, ppm, mg_m3):
    mine = mg_m3_from_ppm(float(ppm), g_mol / 1000.0)
    digit = 10.0 ** (len(str(mg_m3)) - 3)  # of three; they reckon with 24.45 L/mol where it is 24.465
    assert mine == pytest.approx(mg_m3, abs=0.5 * digit + 0.0007 * mg_m3)
    assert ppm_from_mg_m3(mine, g_mol / 1000.0) == pytest.approx(ppm)
    listed = find_substance(cas)
    if listed is not None:
        assert listed.molar_mass_kg_mol * 1000.0 == pytest.approx(g_mol, abs=0.01)


@pytest.mark.parametrize(("cas", "lel_pct", "ppm"), TENTHS)
def test_a_tenth_of_the_explosive_limit_is_as_many_ppm(cas, lel_pct, ppm):
    substance = find_substance(cas)
    assert substance.lel_vol_fraction <= lel_pct / 100.0 * (1.0 + 1e-9)  # the table holds the lowest printed
    printed_share = 0.1 * (lel_pct / 100.0) / substance.lel_vol_fraction
    kg_m3 = mg_m3_from_ppm(float(ppm), substance.molar_mass_kg_mol) / 1e6
    assert lel_share_per_kg_m3(STANDARD)(substance) * kg_m3 == pytest.approx(printed_share)


# OSHA, interpretation of 29 CFR 1910.94(c) and 1910.107, 14 July 2009: above a quarter of the limit it is a spray area;
# of VM&P naphtha, 1.2 % (NIOSH Pocket Guide), that is 3000 ppm, and a tenth is 1200 ppm.
@pytest.mark.parametrize(("row", "ppm"), [(0, 1200.0), (1, 3000.0)])
def test_where_people_leave_and_where_a_spray_area_begins(row, ppm):
    naphtha = replace(find_substance("8032-32-4"), lel_vol_fraction=0.012)
    finish = Mixture((Ingredient("naphtha", 1.0, 1.0, naphtha),), Basis.MASS, 800.0, False, False)
    held = explosive(STANDARD, [Spraying(0.0, 60.0, 1e-3, finish, 60.0)])[row]
    kg_m3 = mg_m3_from_ppm(ppm, naphtha.molar_mass_kg_mol) / 1e6
    assert held.per_m3[0] * kg_m3 / 800.0 == pytest.approx(1.0)


@pytest.mark.parametrize(("cas", "factor"), FACTORS)
def test_factors_of_the_pocket_guide(cas, factor):
    molar_mass = find_substance(cas).molar_mass_kg_mol
    assert mg_m3_from_ppm(1.0, molar_mass) == pytest.approx(factor, abs=0.005 + 0.05 / 24.45)
