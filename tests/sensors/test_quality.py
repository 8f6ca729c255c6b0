"""Flags: what a probe can truthfully say, whose clock runs ahead, and who has fallen silent."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from sensors.quality import (
    CLOCK_TOLERANCE_MS,
    MEASURABLE,
    MISSED_STEPS,
    SOONEST_SILENT_MS,
    judge,
    limits,
    rhythm_s,
    silent_after_ms,
)
from shared.store.records import AIR, QUALITY_WORDS, Quality, Quantity
from shared.units import MS_PER_HOUR, MS_PER_MINUTE

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


# --- silence, by a probe's own rhythm --------------------------------------------------------------

FIXED_MS = 3 * MS_PER_HOUR


def every(minutes: float, count: int) -> np.ndarray:
    return NOW_MS + np.arange(count, dtype=np.int64) * round(minutes * MS_PER_MINUTE)


def test_the_rhythm_is_the_median_step_in_whatever_order_the_readings_are() -> None:
    at_ms = every(10, 50)
    assert rhythm_s(at_ms) == 600.0
    assert rhythm_s(at_ms[::-1]) == 600.0
    assert rhythm_s(np.delete(at_ms, [7, 20, 21])) == 600.0  # a few that were lost do not change it
    assert rhythm_s(np.repeat(at_ms, 2)) == 600.0


def test_a_rhythm_needs_two_moments() -> None:
    assert math.isnan(rhythm_s(every(10, 0)))
    assert math.isnan(rhythm_s(every(10, 1)))
    assert math.isnan(rhythm_s(np.repeat(every(10, 1), 3)))


@pytest.mark.parametrize(
    ("minutes", "expected_ms"),
    [
        (1 / 6, SOONEST_SILENT_MS),
        (1, SOONEST_SILENT_MS),
        (10, MISSED_STEPS * 10 * MS_PER_MINUTE),
        (60, MISSED_STEPS * MS_PER_HOUR),
        (360, MISSED_STEPS * 6 * MS_PER_HOUR),  # asleep most of the day: the fixed limit would call it silent always
    ],
)
def test_a_probe_is_silent_by_its_own_rhythm(minutes: float, expected_ms: int) -> None:
    assert silent_after_ms(every(minutes, 40), FIXED_MS) == expected_ms


def test_a_probe_whose_rhythm_is_not_known_yet_is_silent_by_the_fixed_limit() -> None:
    for count in range(7):
        assert silent_after_ms(every(10, count), FIXED_MS) == FIXED_MS
    assert silent_after_ms(every(10, 7), FIXED_MS) < FIXED_MS


def test_a_probe_that_reports_changes_only_is_given_its_longest_usual_step() -> None:
    steps = ([1] * 9 + [50]) * 10
    at_ms = NOW_MS + np.cumsum(steps) * MS_PER_MINUTE
    assert silent_after_ms(at_ms, FIXED_MS) == 100 * MS_PER_MINUTE


def test_one_long_outage_makes_no_rhythm() -> None:
    at_ms = np.concatenate([every(10, 100), every(10, 100) + 40 * MS_PER_HOUR])
    assert silent_after_ms(at_ms, FIXED_MS) == MISSED_STEPS * 10 * MS_PER_MINUTE


@given(st.lists(st.integers(0, 10**9), min_size=7, max_size=60, unique=True))
def test_nobody_is_silent_before_a_few_of_its_own_steps(moments: list[int]) -> None:
    at_ms = np.array(moments, dtype=np.int64)
    limit_ms = silent_after_ms(at_ms, FIXED_MS)
    assert limit_ms >= SOONEST_SILENT_MS
    assert limit_ms >= MISSED_STEPS * 1000 * rhythm_s(at_ms) - 1
