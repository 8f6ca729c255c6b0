"""The invented air of Oxlip Weir: the same whenever it is asked, within its climate, faults as stated."""

from __future__ import annotations

from datetime import UTC, datetime

import numpy as np
import pytest

from sensors.demo_air import (
    NOISE_C,
    NOISE_PCT,
    PLACES,
    PROBES,
    Faults,
    Probe,
    demo_faults,
    probe_readings,
)
from sensors.demo_weather import ROOMS, air_at
from shared.units import MS_PER_DAY, MS_PER_HOUR, MS_PER_MINUTE, ms_from_datetime

BY_CODE = {probe.code: probe for probe in PROBES}
FINE_MS = 10 * MS_PER_MINUTE


def at(*moment: int) -> int:
    return ms_from_datetime(datetime(*moment, tzinfo=UTC))


def hours(start_ms: int, end_ms: int) -> np.ndarray:
    return np.arange(start_ms, end_ms, MS_PER_HOUR, dtype=np.int64)


YEARS = hours(at(2024, 1, 1), at(2028, 1, 1))


def by_day(values: np.ndarray) -> np.ndarray:
    return values.reshape(-1, 24)


def test_every_probe_stands_in_a_place_that_has_air_and_under_its_topic():
    assert {place.code for place in PLACES} == set(ROOMS)
    assert len(BY_CODE) == len(PROBES) == 8
    for probe in PROBES:
        assert probe.place in ROOMS
        assert probe.topic == f"workshop/{probe.place}/{probe.code}"


@pytest.mark.parametrize("place", list(ROOMS))
def test_an_hour_has_the_same_air_whatever_span_it_is_asked_in(place):
    whole = air_at(place, hours(at(2026, 2, 20), at(2026, 6, 20)))
    for start in (0, 1, 37, 1999):
        for count in (1, 5, 300):
            part = air_at(place, hours(at(2026, 2, 20), at(2026, 6, 20))[start : start + count])
            assert np.array_equal(part[0], whole[0][start : start + count])
            assert np.array_equal(part[1], whole[1][start : start + count])


def test_times_may_come_in_any_order_and_there_may_be_none():
    times = hours(at(2026, 3, 1), at(2026, 3, 4))
    there, back = air_at("loft", times), air_at("loft", times[::-1].copy())
    assert np.array_equal(there[0], back[0][::-1])
    assert np.array_equal(there[1], back[1][::-1])
    assert len(air_at("loft", times[:0])[0]) == 0


@pytest.mark.parametrize("probe", PROBES, ids=lambda probe: probe.code)
def test_a_finer_history_repeats_the_hourly_readings(probe: Probe):
    faults = demo_faults(at(2026, 11, 20))
    coarse_ms = hours(at(2026, 11, 1), at(2026, 11, 20))
    fine_ms = np.arange(at(2026, 11, 1), at(2026, 11, 20), FINE_MS, dtype=np.int64)
    coarse, fine = (probe_readings(probe, times, faults=faults) for times in (coarse_ms, fine_ms))
    same = np.isin(fine.at_ms, coarse.at_ms)
    assert np.array_equal(fine.at_ms[same], coarse.at_ms)
    assert np.array_equal(fine.temperature_c[same], coarse.temperature_c)
    assert np.array_equal(fine.rh_pct[same], coarse.rh_pct)


def test_between_two_hours_the_air_lies_between_them():
    times = np.array([at(2026, 7, 1, 9), at(2026, 7, 1, 9, 15), at(2026, 7, 1, 10)], dtype=np.int64)
    for series in air_at("yard", times):
        assert series[1] == pytest.approx(0.75 * series[0] + 0.25 * series[2])


def test_another_seed_is_another_weather():
    assert not np.allclose(air_at("yard", YEARS[:48], 1)[0], air_at("yard", YEARS[:48], 2)[0], atol=0.5)


# Lowest and highest temperature (°C) and humidity (%) over four years. The loft and the log shed feel
# the hot week; what they are outside it stands in the next test.
RANGES = {
    "yard": (-5, 33.5, 24, 99.5),
    "log-shed": (0, 27, 79.5, 93),
    "loft": (2, 36, 42, 76),
    "bench-room": (17, 21, 38, 52),
    "finish-room": (16, 24, 32, 60),
}


@pytest.mark.parametrize("place", list(ROOMS))
def test_each_place_keeps_to_its_climate(place):
    low_c, high_c, low_pct, high_pct = RANGES[place]
    temperature_c, rh_pct = air_at(place, YEARS)
    assert low_c <= temperature_c.min() and temperature_c.max() <= high_c
    assert low_pct <= rh_pct.min() and rh_pct.max() <= high_pct


def test_outside_the_hot_week_the_loft_keeps_to_50_to_75_percent():
    rh_pct = air_at("loft", YEARS)[1]
    month = YEARS.astype("M8[ms]").astype("M8[M]").astype(int) % 12 + 1
    assert rh_pct[month != 6].min() > 49.5 and rh_pct.max() < 75


def test_the_bench_room_rests_near_45_percent():
    assert np.mean(air_at("bench-room", YEARS)[1]) == pytest.approx(45, abs=1.5)


def test_the_year_is_mild_and_maritime():
    temperature_c, rh_pct = air_at("yard", YEARS)
    month = YEARS.astype("M8[ms]").astype("M8[M]").astype(int) % 12 + 1
    assert np.mean(temperature_c) == pytest.approx(10.5, abs=0.5)
    assert 3 < np.mean(temperature_c[month == 1]) < 5
    assert 16 < np.mean(temperature_c[month == 7]) < 18
    assert 82 < np.mean(rh_pct[np.isin(month, (12, 1, 2))]) < 88
    frosts = np.sum(by_day(temperature_c).min(axis=1) < 0) / 4
    assert 0.5 < frosts < 10
    assert not np.any(temperature_c[(month >= 4) & (month <= 10)] < 0)
    swings = np.ptp(by_day(temperature_c), axis=1)
    assert np.percentile(swings, 5) > 2 and np.percentile(swings, 95) < 9


def test_a_summer_day_is_dry_and_its_night_damp():
    rh_pct = by_day(air_at("yard", hours(at(2026, 7, 1), at(2026, 9, 1)))[1])
    assert 50 < rh_pct.min(axis=1).mean() < 62
    assert 85 < rh_pct.max(axis=1).mean() < 95


def test_within_a_day_it_is_drier_when_it_is_warmer():
    temperature_c, rh_pct = (by_day(one) for one in air_at("yard", YEARS))
    together = [np.corrcoef(t, rh)[0, 1] for t, rh in zip(temperature_c, rh_pct, strict=True)]
    assert np.mean(np.array(together) < -0.5) > 0.9


@pytest.mark.parametrize("year", [2024, 2025, 2026, 2027])
def test_every_spring_is_wet(year):
    spring = air_at("yard", hours(at(year, 3, 9), at(year, 5, 7)))[1]
    summer = air_at("yard", hours(at(year, 7, 1), at(year, 9, 1)))[1]
    assert np.mean(spring > 92) > 0.4
    assert np.mean(summer > 92) < 0.25
    assert np.mean(spring) > 90


@pytest.mark.parametrize("year", [2024, 2025, 2026, 2027])
def test_every_june_has_one_hot_dry_week(year):
    temperature_c, rh_pct = (by_day(one) for one in air_at("yard", hours(at(year, 6, 1), at(year, 7, 1))))
    hot = temperature_c.max(axis=1) > 30
    assert list(np.flatnonzero(hot) + 1) == list(range(9, 17))
    assert np.all(temperature_c[hot].max(axis=1) < 33.5)
    assert np.all((rh_pct[hot].min(axis=1) > 24) & (rh_pct[hot].min(axis=1) < 30))


def test_readings_are_rounded_and_scatter_about_the_air():
    times = hours(at(2026, 1, 1), at(2026, 12, 31))
    got = probe_readings(BY_CODE["bench-wall"], times)
    temperature_c, rh_pct = air_at("bench-room", times)
    assert np.array_equal(got.temperature_c, np.round(got.temperature_c, 1))
    off_c, off_pct = got.temperature_c - temperature_c, got.rh_pct - rh_pct
    assert np.max(np.abs(off_c)) <= NOISE_C + 0.051 and np.max(np.abs(off_pct)) <= NOISE_PCT + 0.051
    assert abs(np.mean(off_c)) < 0.01 and abs(np.mean(off_pct)) < 0.03
    assert np.std(off_pct) > 0.2


def test_a_silent_probe_says_nothing_from_its_moment_on():
    times = hours(at(2026, 5, 1), at(2026, 5, 10))
    got = probe_readings(BY_CODE["yard-south"], times, faults=Faults({"yard-south": at(2026, 5, 4)}))
    assert got.at_ms[-1] == at(2026, 5, 3, 23)
    assert len(got.at_ms) == len(got.temperature_c) == len(got.rh_pct) == 72
    assert len(probe_readings(BY_CODE["yard-south"], times[-1:], faults=Faults({"yard-south": 0})).at_ms) == 0


def test_a_stuck_probe_repeats_itself_then_recovers():
    times = np.arange(at(2026, 5, 1), at(2026, 5, 10), FINE_MS, dtype=np.int64)
    spell = (at(2026, 5, 3), at(2026, 5, 7))
    probe = BY_CODE["shed-high"]
    right, got = probe_readings(probe, times), probe_readings(probe, times, faults=Faults({}, {probe.code: (spell,)}))
    stuck = (times >= spell[0]) & (times < spell[1])
    assert len(set(got.temperature_c[stuck])) == len(set(got.rh_pct[stuck])) == 1
    assert got.rh_pct[stuck][0] == right.rh_pct[stuck][0]
    assert len(set(right.rh_pct[stuck])) > 10
    assert np.array_equal(got.temperature_c[~stuck], right.temperature_c[~stuck])
    assert np.array_equal(got.rh_pct[~stuck], right.rh_pct[~stuck])


def test_now_in_the_demo_one_probe_is_silent_one_stuck_and_one_reads_high():
    now_ms = at(2026, 11, 25, 9, 17)
    faults = demo_faults(now_ms, silent_days=9, stuck_days=4)
    times = np.arange(now_ms - 14 * MS_PER_DAY, now_ms, FINE_MS, dtype=np.int64) // FINE_MS * FINE_MS
    got = {probe.code: probe_readings(probe, times, faults=faults) for probe in PROBES}
    assert 9 * MS_PER_DAY <= now_ms - got["yard-south"].at_ms[-1] < 9 * MS_PER_DAY + 2 * FINE_MS
    assert got["yard-north"].at_ms[-1] == times[-1]
    lately = times >= now_ms - 4 * MS_PER_DAY
    assert len(set(got["shed-high"].rh_pct[lately])) == len(set(got["shed-high"].temperature_c[lately])) == 1
    assert len(set(got["shed-high"].rh_pct[~lately])) > 10
    above = got["bench-rack"].rh_pct - got["bench-wall"].rh_pct
    assert np.mean(above) == pytest.approx(6, abs=0.1)
    assert np.min(above) > 4
    assert np.mean(got["bench-wall"].rh_pct - air_at("bench-room", times)[1]) == pytest.approx(0, abs=0.1)


def test_a_later_run_tells_the_same_story_when_given_the_moment_of_the_first():
    first_ms = at(2026, 11, 25, 9)
    times = hours(first_ms - MS_PER_DAY, first_ms + 5 * MS_PER_DAY)
    faults = demo_faults(first_ms)
    together = probe_readings(BY_CODE["shed-high"], times, faults=faults)
    apart = [probe_readings(BY_CODE["shed-high"], part, faults=faults) for part in (times[:24], times[24:])]
    assert np.array_equal(together.rh_pct, np.concatenate([one.rh_pct for one in apart]))
    assert len(probe_readings(BY_CODE["yard-south"], times, faults=faults).at_ms) == 0
