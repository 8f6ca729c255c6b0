"""Flags: what a probe can truthfully say, and whose clock runs ahead."""

from __future__ import annotations

import math

import pytest

from sensors.quality import (
    CLOCK_TOLERANCE_MS,
    MEASURABLE,
    judge,
    limits,
)
from shared.store.records import AIR, QUALITY_WORDS, Quality, Quantity

NOW_MS = 1_795_000_000_000


@pytest.mark.parametrize(
    ("quantity", "value", "flag"),
    [
        (Quantity.RH_PCT, 140.0, Quality.OUT_OF_RANGE),
        (Quantity.RH_PCT, -0.1, Quality.OUT_OF_RANGE),
        (Quantity.RH_PCT, 0.0, Quality.OUT_OF_RANGE),
        (Quantity.RH_PCT, 1.0, Quality.GOOD),
        (Quantity.RH_PCT, 100.0, Quality.GOOD),
        (Quantity.RH_PCT, 102.0, Quality.GOOD),  # a probe's tolerance in condensing air
        (Quantity.TEMPERATURE_C, -80.0, Quality.OUT_OF_RANGE),
        (Quantity.TEMPERATURE_C, -30.0, Quality.GOOD),
        (Quantity.TEMPERATURE_C, 85.0, Quality.GOOD),  # a kiln
        (Quantity.TEMPERATURE_C, 200.0, Quality.OUT_OF_RANGE),
        (Quantity.TEMPERATURE_C, math.nan, Quality.OUT_OF_RANGE),
        (Quantity.MASS_KG, 0.0, Quality.GOOD),
        (Quantity.MASS_KG, -0.02, Quality.GOOD),  # its tare has drifted
        (Quantity.MASS_KG, -200.0, Quality.OUT_OF_RANGE),
        (Quantity.PIN_MC_PCT, 60.0, Quality.GOOD),
        (Quantity.PIN_MC_PCT, 0.0, Quality.OUT_OF_RANGE),
        (Quantity.CAPACITANCE_MC_PCT, 0.0, Quality.OUT_OF_RANGE),  # what it says in free air
        (Quantity.PM2_5_UG_M3, 0.0, Quality.GOOD),
        (Quantity.PM2_5_UG_M3, 65_535.0, Quality.OUT_OF_RANGE),
        (Quantity.PM10_UG_M3, -1.0, Quality.OUT_OF_RANGE),
        (Quantity.RAIN_MM, 0.0, Quality.GOOD),
        (Quantity.RAIN_MM, -0.2, Quality.OUT_OF_RANGE),
        (Quantity.BATTERY_PCT, 100.0, Quality.GOOD),
        (Quantity.BATTERY_PCT, 255.0, Quality.OUT_OF_RANGE),
        (Quantity.BATTERY_V, 3.0, Quality.GOOD),
        (Quantity.BATTERY_V, 0.0, Quality.OUT_OF_RANGE),
    ],
)
def test_a_value_outside_what_a_probe_can_measure_is_flagged(quantity: Quantity, value: float, flag: Quality) -> None:
    assert judge(quantity, value, NOW_MS, NOW_MS) is flag


@pytest.mark.parametrize("quantity", list(Quantity))
def test_the_limits_themselves_are_good(quantity: Quantity) -> None:
    low, high = MEASURABLE[quantity]
    assert judge(quantity, low, NOW_MS, NOW_MS) is judge(quantity, high, NOW_MS, NOW_MS) is Quality.GOOD


def test_a_reading_from_the_future_is_flagged_and_one_within_tolerance_is_not() -> None:
    just = NOW_MS + CLOCK_TOLERANCE_MS
    assert judge(Quantity.RH_PCT, 50.0, just, NOW_MS) is Quality.GOOD
    assert judge(Quantity.RH_PCT, 50.0, just + 1, NOW_MS) is Quality.CLOCK_AHEAD


def test_a_late_reading_is_good() -> None:
    assert judge(Quantity.RH_PCT, 50.0, NOW_MS - 10**9, NOW_MS) is Quality.GOOD


def test_every_flag_has_its_words() -> None:
    assert set(QUALITY_WORDS) == set(Quality)


# --- the limits of each quantity -------------------------------------------------------------------


def test_every_quantity_has_its_limits() -> None:
    assert set(limits()) == set(MEASURABLE) == set(Quantity)
    for one in limits().values():
        assert one.low < one.high
        assert one.jumps is None or one.high - one.low > one.jumps.far > 2 * one.jumps.agree > 0


def test_temperature_and_humidity_are_each_others_siblings() -> None:
    siblings = {quantity: one.stillness.sibling for quantity, one in limits().items() if one.stillness}
    assert siblings == {AIR[0]: AIR[1], AIR[1]: AIR[0]}
