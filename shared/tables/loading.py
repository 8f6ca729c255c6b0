"""Reading a table: rows of a CSV file, each with its source and status, each number within what is believable."""

from __future__ import annotations

import csv
from importlib import resources

from shared.errors import BadInput

STATUSES = ("published", "from memory", "common practice, no source", "none")

PLAUSIBLE = {  # lowest and highest believable value of each numeric column; a slip of the pen falls outside
    "basic_specific_gravity": (0.1, 1.3),
    "shrinkage_radial_pct": (1.0, 12.0),
    "shrinkage_tangential_pct": (2.0, 16.0),
    "shrinkage_volumetric_pct": (4.0, 25.0),
    "green_mc_heart_pct": (25.0, 280.0),
    "green_mc_sap_pct": (25.0, 280.0),
    "fsp_pct": (15.0, 40.0),
    "moe_12_pa": (2e9, 35e9),
    "moe_green_pa": (2e9, 35e9),
    "side_hardness_12_n": (300.0, 25_000.0),
    "coefficient_radial_per_pct": (0.0003, 0.005),
    "coefficient_tangential_per_pct": (0.0006, 0.007),
    "loss_pct_per_day": (0.2, 20.0),
    "thickness_m": (0.001, 0.3),
    "k1_below_1": (0.01, 2.0),
    "k1_from_1": (0.01, 3.0),
    "mould_a": (0.0, 2.0),
    "mould_b": (1.0, 10.0),
    "mould_c": (0.5, 3.0),
    "mould_least_rh_pct": (70.0, 100.0),
    "value_mg_m3": (0.05, 20.0),  # of limits for wood dust
    "molar_mass_g_mol": (15.0, 400.0),
    "molar_mass_most_g_mol": (15.0, 400.0),
    "density_kg_m3": (500.0, 2000.0),
    "flash_point_c": (-90.0, 250.0),
    "lel_vol_pct": (0.3, 20.0),
    "uel_vol_pct": (1.0, 75.0),  # carbon monoxide, 74
    "ppm": (0.001, 3000.0),
    "mg_m3": (0.001, 5000.0),
}

PLAUSIBLE_CONSTANTS = {  # the same of single constants, by table and name
    "fire": {
        "share_alarm": (0.05, 0.1),  # never above a tenth of the explosive limit
        "share_spray_area": (0.1, 0.25),
        "mixing_factor_low": (1.0, 5.0),
        "mixing_factor_high": (5.0, 10.0),
        "safety_factor_low": (4.0, 8.0),
        "safety_factor_high": (8.0, 20.0),
        "warm_factor": (0.5, 0.7),
        "warm_from_c": (100.0, 121.2),
        "per_gallon_factor": (4.0, 4.0),
        "excursion_factor": (1.0, 3.0),
        "drying_least": (1800.0, 7200.0),
    },
    "blush": {
        "air_20_f": (10.0, 12.0),
        "air_15_f": (8.0, 9.0),
        "steel_3_c": (2.5, 3.5),
        "paint_5_f": (2.5, 3.0),
        "rh_65": (50.0, 85.0),
    },
    "dew_gap": {
        "thinner_cools": (5.0, 15.0),
        "thermometer_error": (0.1, 2.0),
        "surface_error": (0.2, 3.0),
        "surface_minutes": (10.0, 120.0),
        "warming_hours": (24.0, 168.0),
        "surface_above_air": (5.0, 40.0),
    },
    "warming": {
        "film_least": (4.5, 6.0),
        "film_usual": (6.0, 10.0),
        "film_most": (15.0, 40.0),
        "near_room": (0.2, 2.0),
    },
    "chance": {"held_intercept": (-2.0, 2.0), "held_slope": (0.3, 1.5)},
    "combustible_dust": {
        "layer_any_dust": (0.0005, 0.001),
        "layer_wood": (0.001, 0.0035),
        "area_share": (0.01, 0.05),
        "lowest_cloud_low": (0.02, 0.05),
        "lowest_cloud_high": (0.02, 0.07),
    },
    "reclaimed": {
        "warm_days": (1.0, 14.0),
        "cold_least_days": (3.0, 30.0),
        "cold_most_days": (7.0, 60.0),
        "warm_c": (12.0, 30.0),
        "cold_c": (0.0, 11.0),
        "frost_c": (-5.0, 1.0),
        "milder_factor": (0.2, 1.0),
        "weak_loss": (0.2, 3.0),
        "planing": (0.0, 0.02),
        "collapse_clear": (0.0, 0.3),
        "collapse_doubtful": (0.0, 0.4),
        "collapse_bacterial": (0.0, 0.5),
        "lift_least": (5.0, 30.0),
        "lift_most": (5.0, 50.0),
        "lift_constant": (5.0, 30.0),
    },
    "degrade_limits": {
        "strain_limit": (0.005, 0.05),
        "checking_near": (0.5, 1.5),
        "checking_stop": (1.0, 3.0),
        "set_peak": (1.0, 3.0),
        "levelled_mc_pct": (0.5, 5.0),
        "density_spread": (0.03, 0.25),
        "light_by": (1.0, 4.0),
        "shrinkage_odd": (0.5, 1.0),
        "shrinkage_sure": (0.8, 1.0),
        "caliper_error": (0.00001, 0.002),
        "saturated_share": (0.5, 1.0),
        "collapse_caution": (15.0, 40.0),
        "collapse_stop": (25.0, 60.0),
        "stain_least_mc_pct": (18.0, 35.0),
        "stain_most_mc_pct": (80.0, 200.0),
        "stain_coldest": (-2.0, 12.0),
        "stain_warmest": (25.0, 45.0),
        "stain_days": (1.0, 30.0),
        "sticker_mc_pct": (6.0, 18.0),
        "damp_rh_pct": (95.0, 100.0),
        "damp_hours": (1.0, 24.0),
        "heavier_by": (1.0, 5.0),
    },
    "mould_growth": {
        "critical_cubic": (-0.004, -0.002),
        "critical_square": (0.1, 0.25),
        "critical_linear": (-4.0, -2.0),  # plus, as one program has it, would put the critical humidity over 100 %
        "critical_base": (100.0, 100.0),
        "critical_floor_from_c": (20.0, 20.0),
        "weeks_temperature": (-1.0, -0.4),
        "weeks_base": (60.0, 72.0),
        "weeks_humidity": (-16.0, -10.0),
        "approach": (1.0, 4.0),
        "early_decline": (0.01, 0.1),
        "late_decline": (0.005, 0.05),
        "early_until": (1.0, 12.0),
        "late_from": (12.0, 48.0),
        "coldest": (0.0, 0.0),
        "warmest": (50.0, 50.0),
        "begins": (1.0, 1.0),
        "visible": (3.0, 3.0),
    },
}


def rows(name: str) -> list[dict[str, str]]:
    """Return the rows of ``shared/tables/<name>.csv``; every row must name its source and status.

    Raises BadInput naming file, row and column where one does not, or where a number is not believable.
    """
    text = resources.files("shared.tables").joinpath(f"{name}.csv").read_text(encoding="utf-8")
    found = list(csv.DictReader(text.splitlines()))
    for number, row in enumerate(found, start=2):
        check_row(f"{name}.csv row {number}", row)
        check_constant(name, f"{name}.csv row {number}", row)
    return found


def check_row(where: str, row: dict[str, str], statuses: tuple[str, ...] = STATUSES) -> None:
    """Refuse a row without source and status, or with an unbelievable number; ``where`` names file and row."""
    keys = [key for key in row if key == "status" or key.endswith("_status")]
    if not keys:
        raise BadInput(where, "without a status column", "a status in every row")
    for key in keys:
        source = row[key.replace("status", "source")]
        if row[key] not in statuses or (row[key] != "none" and not source):
            raise BadInput(f"{where} {key}", row[key], f"one of {', '.join(statuses)}, with its source")
    for column, (low, high) in PLAUSIBLE.items():
        if row.get(column) and not low <= _number(row[column]) <= high:
            raise BadInput(f"{where} {column}", row[column], f"{low:g} to {high:g}")


def check_constant(table: str, where: str, row: dict[str, str]) -> None:
    """Refuse a constant that is not believable, or has no range in a table whose constants have; ``where``: its row."""
    ranges = PLAUSIBLE_CONSTANTS.get(table)
    if ranges is None:
        return
    if row["name"] not in ranges:
        raise BadInput(f"{where} name", row["name"], f"one of {', '.join(ranges)}")
    low, high = ranges[row["name"]]
    if not low <= _number(row["value"]) <= high:
        raise BadInput(f"{where} value", row["value"], f"{low:g} to {high:g}")


def _number(text: str) -> float:
    """Return the number, or one that lies in no range."""
    try:
        return float(text)
    except ValueError:
        return float("nan")
