"""Single values of published equations and tables, one case a row with its kind and source: ``check_cases.csv``.

``kind`` says how the expected value came about: printed in its source, worked out from a printed equation,
or from memory. Cells of the EMC table are one regression of the equation, not outside checks of their own.
"""

from __future__ import annotations

import csv
from collections.abc import Callable
from pathlib import Path

import pytest

from kiln import meters, movement, psychrometrics, sorption, stiffness, wood

SEA_LEVEL_PA = 101_325.0
CASES = list(csv.DictReader((Path(__file__).parent / "check_cases.csv").read_text(encoding="utf-8").splitlines()))


def c(temperature_f: float) -> float:
    return (temperature_f - 32.0) / 1.8


def emc(rh_pct: float, temperature_c: float | None = None, temperature_f: float | None = None) -> float:
    return float(sorption.emc_pct(c(temperature_f) if temperature_c is None else temperature_c, rh_pct))


def there_and_back(temperature_c: float, rh_pct: float) -> float:
    held = sorption.emc_glass_pct(temperature_c, rh_pct)
    return float(sorption.rh_pct_from_emc_glass(temperature_c, held))


def emc_of_wet_bulb(dry_f: float, wet_f: float) -> float:
    rh = psychrometrics.rh_pct_from_wet_bulb(c(dry_f), c(wet_f), SEA_LEVEL_PA)
    return float(sorption.emc_pct(c(dry_f), rh))


def pin_pct(reading_pct: float, wood_c: float, scale_c: float) -> float:
    return float(meters.temperature_corrected_pct(reading_pct, wood_c, scale_c))


QUANTITIES: dict[str, Callable[..., float]] = {
    "emc_pct": emc,
    "emc_glass_pct": sorption.emc_glass_pct,
    "glass_there_and_back_pct": there_and_back,
    "emc_fall_pct": lambda from_c, to_c, rh_pct: emc(rh_pct, from_c) - emc(rh_pct, to_c),
    "maximum_mc_pct": lambda basic: wood.maximum_mc_pct(basic),
    "sink_mc_pct": lambda basic: wood.sink_mc_pct(basic),
    "mc_pct": lambda wet_kg, dry_kg: wood.mc_pct_from_mass(wet_kg, dry_kg),
    "green_mc_pct": lambda density, basic: wood.mc_pct_from_mass(density, 1000.0 * basic),
    "shrinkage_pct": wood.shrinkage_pct,
    "handbook_change_mm": lambda size_mm, coefficient, from_pct, to_pct: (
        1000.0 * movement.handbook_change_m(size_mm / 1000.0, coefficient, from_pct, to_pct)
    ),
    "handbook_coefficient": lambda total_pct: movement.handbook_coefficient(total_pct),
    "specific_gravity": lambda basic, volumetric_pct, mc_pct: wood.specific_gravity_at(basic, volumetric_pct, mc_pct),
    "specific_gravity_unknown_shrinkage": lambda basic, mc_pct: (
        wood.density_at_mc_kg_m3(basic, mc_pct) / 1000.0 / (1.0 + mc_pct / 100.0)
    ),
    "density_kg_m3": lambda gravity, mc_pct: wood.density_kg_m3(gravity, mc_pct),
    "volumetric_shrinkage_pct": lambda basic: wood.volumetric_shrinkage_from_basic_pct(basic),
    "property_at_mc": lambda at_12, green, meet_pct, mc_pct: stiffness.property_at_mc(at_12, green, mc_pct, meet_pct),
    "intersection_mc_pct": lambda species: stiffness.intersection_mc_pct(species.replace("_", " ")),
    "conductivity_w_mk": lambda gravity, mc_pct: wood.conductivity_w_mk(gravity, mc_pct),
    "heat_capacity_kj_kgk": lambda mc_pct, temperature_k: wood.heat_capacity_j_kgk(mc_pct, temperature_k) / 1000.0,
    "pin_pct": pin_pct,
    "pin_says_at_least": lambda reading_pct: meters.read(meters.Pin(reading_pct)).censored == meters.AT_LEAST,
    "emc_of_wet_bulb_pct": emc_of_wet_bulb,
    "saturation_pressure_pa": psychrometrics.saturation_pressure_pa,
    "pressure_pa": psychrometrics.pressure_at_altitude_pa,
    "humidity_ratio": lambda temperature_c, rh_pct: psychrometrics.humidity_ratio(temperature_c, rh_pct, SEA_LEVEL_PA),
    "wet_bulb_c": lambda temperature_c, rh_pct: psychrometrics.wet_bulb_c(temperature_c, rh_pct, SEA_LEVEL_PA),
    "dew_point_c": psychrometrics.dew_point_c,
}


def inputs_of(case: dict[str, str]) -> dict[str, float | str]:
    named = (pair.split("=") for pair in case["inputs"].split())
    return {name: value if name == "species" else float(value) for name, value in named}


@pytest.mark.parametrize("case", CASES, ids=[case["case"] for case in CASES])
def test_case(case: dict[str, str]) -> None:
    found = QUANTITIES[case["quantity"]](**inputs_of(case))
    assert float(found) == pytest.approx(float(case["expected"]), abs=float(case["tolerance"])), case["source"]


def test_every_case_names_its_kind_and_source() -> None:
    assert len(CASES) == len({case["case"] for case in CASES})
    for case in CASES:
        assert case["kind"] and case["source"], case["case"]


def test_no_quantity_is_left_without_a_case() -> None:
    assert {case["quantity"] for case in CASES} == set(QUANTITIES)
