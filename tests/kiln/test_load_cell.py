"""A continuous weight from a load cell, against truths of our own: drying, noise, warmth, handling, rain, drift.

All readings are made up here. A truth that the cell is given is known to the gram, so every error is seen.
"""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from stack_on_a_cell import NO_DISTURBANCE, STACK, T0, day, dried, read, times

from kiln.load_cell import Anchor, Cell, Kind, Tare, continuous_weight
from shared.units import MS_PER_DAY, MS_PER_HOUR, MS_PER_MINUTE


def shower(at_ms, mm, area_m2=3.0, start=12.3, hours=1.0, drying_h=20.0):
    """Water on a stack: it comes within ``hours`` and evaporates."""
    since = (day(at_ms) - start) * 24.0
    return mm * area_m2 * np.clip(since / hours, 0.0, 1.0) * np.exp(-np.maximum(since - hours, 0.0) / drying_h)


def disturbances(weight):
    return [event for event in weight.events if event.kind not in NO_DISTURBANCE]


def only(weight, kind):
    found = disturbances(weight)
    assert [event.kind for event in found] == [kind]
    return found[0]


@pytest.mark.parametrize("minutes", [2, 10, 60])
def test_nothing_is_found_where_nothing_happened(minutes):
    found = 0
    for seed in range(4):
        at = times(92, minutes)
        found += len(disturbances(continuous_weight(at, read(at, seed, diurnal_kg=0.3), STACK)))
    assert found < 1  # in a year


def test_a_year_of_minutes_with_gaps_has_no_false_alarm():
    at = times(365, 1)
    chance = np.random.default_rng(5)
    kept = np.ones(at.size, dtype=bool)
    for start in chance.integers(0, at.size, 30):
        kept[start : start + chance.integers(60, 3000)] = False
    weight = continuous_weight(at[kept], read(at)[kept], STACK)
    assert not disturbances(weight)
    assert weight.usable.all()
    silences = np.count_nonzero(np.diff(at[kept]) > 6 * MS_PER_HOUR)
    assert sum(event.kind == Kind.GAP for event in weight.events) == silences > 10


def test_wood_that_dries_fast_or_turns_to_gaining_is_not_handled():
    at = times(20, 10)
    chance = np.random.default_rng(1)
    fresh = 3.0 + 3.0 * np.exp(-day(at) / 3.0)  # a thin fresh board: 0.7 % of its weight in the first hour
    rate = np.where(day(at) < 10.0, 1.0, 4.0)  # kg a day: from still air into wind
    windy = 800.0 - np.cumsum(rate) / 144.0
    gaining = 600.0 - 0.5 * day(at) + np.where(day(at) > 10.0, 1.5 * (day(at) - 10.0), 0.0)
    for truth, error, noise in ((fresh, 0.003, 0.003), (windy, 0.3, 0.1), (gaining, 0.3, 0.1)):
        raw = truth + noise * chance.normal(size=at.size)
        weight = continuous_weight(at, raw, Cell(error, tares=(Tare(T0, 0.0),)))
        assert not disturbances(weight)
        off = weight.mass_kg - np.interp(weight.at_ms, at, truth)
        assert np.mean(np.abs(off) < 2.0 * np.hypot(weight.sd_kg, error)) > 0.95


@pytest.mark.parametrize("minutes", [1, 10, 60])
@pytest.mark.parametrize("step_kg", [-40.0, -5.0, 5.0, 40.0])
def test_a_load_put_on_or_taken_off_for_good_begins_an_epoch_that_is_not_absolute(minutes, step_kg):
    at = times(20, minutes)
    weight = continuous_weight(at, read(at, 2) + step_kg * (day(at) > 12.3), STACK)
    event = only(weight, Kind.LOAD_CHANGED)
    assert abs(event.step_kg - step_kg) < 3.0 * event.error_kg < 3.0
    assert 0.0 <= day(event.start_ms) - 12.3 <= minutes / 1440.0 + 0.002
    assert event.end_ms - event.start_ms <= MS_PER_HOUR
    assert ("put on" in event.sentence) == (step_kg > 0)
    before = (day(weight.at_ms) < 12.3) & weight.usable
    after = (day(weight.at_ms) > 12.34) & weight.usable
    assert weight.absolute[before].all() and not weight.absolute[after].any()
    assert set(weight.epoch[before]) == {0} and set(weight.epoch[after]) == {1} and weight.usable.mean() > 0.99
    assert any("neither a tare nor a weigh-in" in note for note in weight.notes)


@pytest.mark.parametrize("sign", [-1.0, 1.0])
@pytest.mark.parametrize("minutes", [1, 10, 60])
def test_several_boards_within_the_hour_are_one_event(minutes, sign):
    at = times(20, minutes)
    step = sign * sum(8.0 * (day(at) > 12.3 + k / 144.0) for k in range(5))
    event = only(continuous_weight(at, read(at, 3) + step, STACK), Kind.LOAD_CHANGED)
    assert event.step_kg == pytest.approx(sign * 40.0, abs=3.0 * event.error_kg)


@pytest.mark.parametrize("minutes", [1, 10, 60])
@pytest.mark.parametrize("step_kg", [-12.0, 12.0])
def test_a_board_taken_out_and_put_back_is_an_excursion(minutes, step_kg):
    at = times(20, minutes)
    away = (day(at) > 12.3105) & (day(at) < 12.3105 + 3.0 / 24.0)  # both in the middle of an hour
    weight = continuous_weight(at, read(at, 4) + step_kg * away, STACK)
    event = only(weight, Kind.EXCURSION)
    assert abs(event.step_kg - step_kg) < 3.0 * event.error_kg
    assert day(event.end_ms) == pytest.approx(12.4355, abs=0.045)
    assert weight.epoch.max() == 0 and weight.absolute.all()
    assert np.abs(weight.mass_kg - dried(weight.at_ms))[weight.usable].max() < 1.0
    assert 2 <= np.count_nonzero(~weight.usable) <= 5


def test_a_person_leaning_on_the_stack_is_seen_and_the_hour_still_counts():
    at = times(20, 1)
    leaning = (day(at) > 12.3) & (day(at) < 12.3 + 6.0 / 1440.0)
    weight = continuous_weight(at, read(at, 5) + 35.0 * leaning, STACK)
    event = only(weight, Kind.EXCURSION)
    assert event.step_kg == pytest.approx(35.0, abs=3.0 * event.error_kg)
    assert event.end_ms - event.start_ms < 7 * MS_PER_MINUTE
    assert weight.usable.all()
    assert np.abs(weight.mass_kg - dried(weight.at_ms)).max() < 0.6


@pytest.mark.parametrize("mm", [0.2, 0.5, 1.0, 5.0, 20.0])
@pytest.mark.parametrize("minutes", [1, 10, 60])
def test_rain_is_left_out_until_the_weight_is_back(mm, minutes):
    at = times(20, minutes)
    water = shower(at, mm)
    record = (at, np.where((day(at) > 12.3) & (day(at) < 12.35), mm / 10.0, 0.0))
    weight = continuous_weight(at, read(at, 6, noise_kg=0.05, diurnal_kg=0.03) + water, STACK, rain=record)
    event = only(weight, Kind.RAIN)
    assert event.sentence.startswith("Rain:")
    assert event.error_kg < 0.4  # that of the days before, not of the rain
    assert 0.6 * 3.0 * mm < event.step_kg < 3.0 * mm + 4.0 * event.error_kg
    assert abs(day(event.start_ms) - 12.3) < 0.05
    left = np.interp(weight.at_ms - MS_PER_HOUR * (minutes == 60) // 2, at, water)[weight.usable]
    assert left.max() < 1.0  # kg, of 750
    assert weight.usable[day(weight.at_ms) > 18.0].all()
    assert weight.epoch.max() == 0


@pytest.mark.parametrize("minutes", [1, 10])
def test_rain_is_told_from_a_load_without_a_rain_gauge_but_with_a_doubt(minutes):
    at = times(20, minutes)
    event = only(continuous_weight(at, read(at, 7) + shower(at, 5.0), STACK), Kind.RAIN)
    assert event.sentence.startswith("Rain or dew, it seems")
    dry = (at, np.zeros(at.size))
    assert only(continuous_weight(at, read(at, 7) + shower(at, 5.0), STACK, rain=dry), Kind.RAIN) == event


def test_rain_read_once_an_hour_is_known_by_its_falling_back():
    at = times(20, 60)
    assert only(continuous_weight(at, read(at, 8) + shower(at, 10.0, drying_h=60.0), STACK), Kind.RAIN).step_kg > 20.0


def test_a_short_shower_read_once_an_hour_needs_no_whole_day_to_be_known():
    at = times(20, 60)
    known = day(at) < 13.0
    raw = read(at, 8) + shower(at, 5.0, drying_h=4.0)
    assert only(continuous_weight(at[known], raw[known], STACK), Kind.RAIN).settled


def test_a_drizzle_is_left_out_from_where_it_began():
    at = times(20, 2)
    water = shower(at, 2.0, hours=5.0)
    weight = continuous_weight(at, read(at, 6, noise_kg=0.05, diurnal_kg=0.03) + water, STACK)
    event = only(weight, Kind.RAIN)
    assert day(event.start_ms) == pytest.approx(12.3, abs=0.12)
    rising = (day(weight.at_ms) > 12.2) & (day(weight.at_ms) < 12.51) & weight.usable
    assert np.interp(weight.at_ms, at, water)[rising].max() < 0.5


def test_boards_taken_off_a_wet_stack_begin_an_epoch_that_is_as_wet():
    at = times(20, 5)
    raw = read(at, 6) + shower(at, 10.0) - 100.0 * (day(at) > 12.6)
    wet, change = disturbances(continuous_weight(at, raw, STACK))
    assert (wet.kind, change.kind) == (Kind.RAIN, Kind.LOAD_CHANGED)
    assert change.step_kg == pytest.approx(-100.0, abs=2.0)
    weight = continuous_weight(at, raw, STACK)
    assert weight.epoch.max() == 1 and weight.usable[-24:].all() and not weight.absolute[-24:].any()


@pytest.mark.parametrize("seed", range(4))
def test_a_small_step_in_the_middle_of_an_hour_is_a_step(seed):
    at = times(20, 10)
    event = only(continuous_weight(at, read(at, seed) - 3.0 * (day(at) > 12.3105), STACK), Kind.LOAD_CHANGED)
    assert event.step_kg == pytest.approx(-3.0, abs=3.0 * event.error_kg)


def test_a_step_too_small_to_be_seen_is_not_called_over_and_one_wild_reading_is_nothing():
    at = times(20, 1)
    for seed in range(4):
        small = continuous_weight(at, read(at, seed) - 1.0 * (day(at) > 12.3), STACK)
        assert not [event for event in disturbances(small) if event.kind == Kind.EXCURSION]
    wild = read(at, 1)
    wild[12_000] += 60.0
    weight = continuous_weight(at, wild, STACK)
    assert not disturbances(weight)
    assert np.abs(weight.mass_kg - continuous_weight(at, read(at, 1), STACK).mass_kg).max() < 0.05


def test_water_that_does_not_go_is_told_and_not_used_until_somebody_weighs_the_load():
    at = times(30, 5)
    raw = read(at, 9) + 15.0 * np.clip((day(at) - 12.3) * 24.0, 0.0, 1.0)
    wet = continuous_weight(at, raw, STACK)
    event = only(wet, Kind.WET_SINCE)
    assert not event.settled and event.step_kg == pytest.approx(15.0, abs=6.0)
    assert not wet.usable[day(wet.at_ms) > 12.4].any()
    weighed_ms = int(T0 + 20 * MS_PER_DAY)
    anchor = Anchor(weighed_ms, float(dried(weighed_ms)) + 15.0, 0.2)
    vouched = continuous_weight(at, raw, Cell(0.3, STACK.tares, anchors=(anchor,)))
    assert only(vouched, Kind.RAIN)
    assert vouched.usable[day(vouched.at_ms) > 20.1].all()


def test_readings_that_stop_are_told():
    at = times(5, 10)
    weight = continuous_weight(at, read(at), STACK, until_ms=int(at[-1]) + 2 * MS_PER_DAY)
    last = weight.events[-1]
    assert last.kind == Kind.GAP and not last.settled and "2 days" in last.sentence
    assert last.start_ms == at[-1]


def test_a_step_just_now_is_not_used_before_it_is_understood():
    at = times(20, 10)
    weight = continuous_weight(at, read(at) - 12.0 * (day(at) > 19.8), STACK)
    event = only(weight, Kind.EXCURSION)
    assert not event.settled and event.step_kg == pytest.approx(-12.0, abs=0.6)
    assert not weight.usable[-4:].any()


def test_wind_on_a_hanging_board_widens_the_hours_in_which_it_blows():
    at = times(20, 1)
    windy = (day(at) % 4.0 > 3.0) & (day(at) > 8.0)
    chance = np.random.default_rng(3)
    raw = 3.0 + np.exp(-day(at) / 10.0) + np.where(windy, 0.08, 0.002) * chance.normal(size=at.size)
    weight = continuous_weight(at, raw, Cell(0.002, tares=(Tare(T0, 0.0),)))
    assert not disturbances(weight)
    blown = (day(weight.at_ms) % 4.0 > 3.0) & (day(weight.at_ms) > 8.0)
    assert np.median(weight.sd_kg[blown]) > 5.0 * np.median(weight.sd_kg[day(weight.at_ms) < 8.0])


def test_later_readings_change_nothing_said_of_hours_two_days_before():
    at = times(26, 30)
    raw = read(at, 11) + shower(at, 6.0, start=4.2) - 20.0 * (day(at) > 9.3) + shower(at, 2.0, start=14.1)
    raw += 15.0 * ((day(at) > 17.0) & (day(at) < 17.2)) + 30.0 * np.clip((day(at) - 20.0) * 20.0, 0.0, 1.0)
    whole = continuous_weight(at, raw, STACK)
    for cut in np.arange(3.0, 26.0, 0.37):
        known = day(at) < cut
        early = continuous_weight(at[known], raw[known], STACK)
        n = np.count_nonzero(day(early.at_ms) < cut - 2.0)
        for name in ("at_ms", "mass_kg", "sd_kg", "common_sd_kg", "epoch", "usable", "absolute", "shares"):
            np.testing.assert_allclose(getattr(early, name)[:n], getattr(whole, name)[:n], rtol=1e-12, err_msg=name)
    assert {event.kind for event in disturbances(whole)} >= {Kind.RAIN, Kind.LOAD_CHANGED, Kind.EXCURSION}


@settings(max_examples=40, deadline=None)
@given(seed=st.integers(0, 10_000), n=st.integers(1, 400), jumps=st.integers(0, 6))
def test_whatever_is_read_each_hour_gets_one_sane_word(seed, n, jumps):
    chance = np.random.default_rng(seed)
    at = T0 + np.cumsum(chance.choice([1, 10, 60, 3000], size=n, p=[0.3, 0.4, 0.29, 0.01])) * MS_PER_MINUTE
    raw = dried(at) + chance.normal(size=n)
    for place in chance.integers(0, n, jumps):
        raw[place:] += chance.choice([-900.0, -40.0, 15.0, 300.0])
    cell = Cell(0.3, tuple(Tare(int(at[k]), 0.1 * k) for k in chance.integers(0, n, 2)))
    weight = continuous_weight(at, raw, cell, until_ms=int(at[-1]) + MS_PER_DAY)
    assert np.all(np.diff(weight.at_ms) > 0) and np.all(np.diff(weight.epoch) >= 0)
    for numbers in (weight.mass_kg, weight.sd_kg, weight.common_sd_kg):
        assert numbers.shape == weight.at_ms.shape and np.isfinite(numbers).all()
    assert (weight.sd_kg > 0.0).all() and (weight.common_sd_kg >= 0.3).all()
    changes = sum(event.kind == Kind.LOAD_CHANGED for event in weight.events)
    assert changes == (weight.epoch.max() if weight.epoch.size else 0)
    assert all(event.end_ms >= event.start_ms and event.sentence.endswith(".") for event in weight.events)
