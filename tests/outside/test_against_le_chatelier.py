"""Against published reckonings by Le Chatelier's rule, and against the rule for mixtures in breathed air.

H. F. Coward and G. W. Jones, Limits of Flammability of Gases and Vapors, U.S. Bureau of Mines Bulletin 503, 1952, pages
5-6, a natural gas (from memory); D. A. Crowl and J. F. Louvar, Chemical Process Safety, second edition, example 6-2
(from memory); 29 CFR 1910.1000(d)(2)(i), its own example, read in copies of the rule. Two or three digits are printed.
"""

import pytest

from kiln import finish_limits
from kiln.finish_limits import breathed, lel_share_per_kg_m3, per_m3
from kiln.mixtures import Basis, Ingredient, Mixture
from kiln.room_air import Room, Spraying
from kiln.vapour import mg_m3_from_ppm, vapour_volume_m3
from shared.tables import Average, ExposureLimit, Region, Substance

ROOM = Room(100.0, None, 3.0, 25.0, 101_325.0)
DENSITY_KG_M3 = 800.0  # of a liquid that would give these vapours; it cancels out

# Each as printed: share of the combustible part [%], lower explosive limit [%], molar mass [g/mol].
NATURAL_GAS = [(80.0, 5.3, 16.04), (15.0, 3.22, 30.07), (4.0, 2.37, 44.10), (1.0, 1.86, 58.12)]
HEXANE_METHANE_ETHYLENE = [(24.0, 1.2, 86.18), (61.0, 5.3, 16.04), (15.0, 3.1, 28.05)]


def vapour(name, g_mol, lel_pct=None):
    lel = None if lel_pct is None else lel_pct / 100.0
    return Substance(name, name, (), g_mol / 1000.0, 800.0, None, lel, None, True, "test", "none", "test", "none")


def sprayed(parts):
    """A liquid of these vapours: shares by vapour volume become shares by mass."""
    mass = sum(share * substance.molar_mass_kg_mol for share, substance in parts)
    found = []
    for share, substance in parts:
        part = share * substance.molar_mass_kg_mol / mass
        found.append(Ingredient(substance.name, part, part, substance))
    return [Spraying(0.0, 600.0, 1e-3, Mixture(tuple(found), Basis.MASS, DENSITY_KG_M3, False, False), 600.0)]


@pytest.mark.parametrize(("printed", "lel_pct"), [(NATURAL_GAS, 4.55), (HEXANE_METHANE_ETHYLENE, 2.75)])
def test_the_explosive_limit_of_a_mixture(printed, lel_pct):
    parts = [(share / 100.0, vapour(f"part {n}", g_mol, lel)) for n, (share, lel, g_mol) in enumerate(printed)]
    sprayings = sprayed(parts)
    volume = per_m3(sprayings, lambda one: vapour_volume_m3(1.0, one.molar_mass_kg_mol, ROOM.temperature_c))[0]
    share = per_m3(sprayings, lel_share_per_kg_m3(ROOM))[0]
    assert 100.0 * volume / share == pytest.approx(lel_pct, abs=0.005)


# 29 CFR 1910.1000(d)(2)(i): B 500 ppm of 1000, C 45 of 200, D 40 of 200; "Em = 0.500 + 0.225 + 0.200 = 0.925".
def test_the_shares_of_limits_of_breathed_air_add_up(monkeypatch):
    seen = {"B": (500.0, 1000.0, 50.0), "C": (45.0, 200.0, 90.0), "D": (40.0, 200.0, 130.0)}

    def limit(cas, average, region):
        ppm = seen[cas][1]
        printed = ExposureLimit(cas, "US", "example", average, ppm, None, "2020", "law", "29 CFR 1910.1000(d)", "none")
        return printed if average is Average.TWA else None

    monkeypatch.setattr(finish_limits, "lowest_limit", limit)
    total_ppm = sum(ppm for ppm, _, _ in seen.values())
    sprayings = sprayed([(ppm / total_ppm, vapour(name, g_mol)) for name, (ppm, _, g_mol) in seen.items()])
    by_kg = sum(mg_m3_from_ppm(ppm, g_mol / 1000.0) for ppm, _, g_mol in seen.values()) / 1e6
    held = breathed(ROOM, sprayings, Region.LOWEST)
    assert held[0].per_m3[0] * by_kg / DENSITY_KG_M3 == pytest.approx(0.925, rel=1e-9)
    assert held[1].per_m3[0] * by_kg / DENSITY_KG_M3 == pytest.approx(0.925 / 3.0, rel=1e-9)  # three times the limit
