"""The whole yard at one moment: probes that fail are seen, and their air is not passed off as fresh."""

import numpy as np
import pytest

from dashboards import air_history, entries, situation
from kiln.records import Word
from shared.store import readings
from shared.store.records import NewReading, Quality, Quantity, RecorderState, TimeSource
from shared.units import MS_PER_DAY, MS_PER_HOUR


def read(yard):
    return situation.read(yard.store, yard.now_ms, yard.settings)


def probe(yard, code):
    return next(one for one in read(yard).probes if one.subject.code == code)


def place(yard, code):
    return next(one for one in read(yard).places if one.subject.code == code)


def test_a_place_has_the_mean_air_of_its_probes_with_its_emc_and_error(yard):
    air = place(yard, "shed").air
    assert air.good
    assert 10 < air.emc_pct < 16
    assert air.emc_error_pct > 1.0  # the curve itself promises no better than 1 %
    assert air.dew_point_c < air.temperature_c


def test_a_silent_probe_is_said_to_be_silent_and_its_last_air_is_not_good(yard):
    yard.now_ms += 5 * MS_PER_HOUR
    assert probe(yard, "north").state == "silent"
    assert "5 h" in probe(yard, "north").sentence
    assert not place(yard, "shed").air.good
    board = read(yard).boards[0]
    assert board.verdict.word is Word.CANT_SAY


def test_a_stuck_probe_is_not_believed_while_its_neighbour_is(yard):
    yard.act(entries.add_probe, "south", topic="workshop/shed/south", place="shed", days_ago=10)
    yard.log("south", 4, t=3.0, rh=99.0, still=True)
    assert probe(yard, "south").state == "stuck"
    air = place(yard, "shed").air
    assert air.good
    assert air.temperature_c > 8


def test_two_probes_that_disagree_all_week_are_named(yard):
    yard.act(entries.add_probe, "south", topic="workshop/shed/south", place="shed", days_ago=10)
    yard.log("south", 9, rh=74.0)
    assert "south has read 6 %RH more than north" in place(yard, "shed").air.note


def test_a_probe_without_a_place_and_one_never_heard(yard):
    yard.act(entries.add_probe, "spare", topic="workshop/spare")
    assert probe(yard, "spare").state == "never heard"
    yard.log("spare", 1)
    assert probe(yard, "spare").state == "unplaced"


def test_a_bad_reading_never_becomes_the_current_air(yard):
    with yard.store.writing() as connection:
        series = next(s for s in readings.all_series(connection) if s.quantity is Quantity.RH_PCT)
        late = NewReading(series.id, yard.now_ms, 140.0, Quality.OUT_OF_RANGE, TimeSource.PAYLOAD)
        readings.append(connection, [late], yard.now_ms)
    assert place(yard, "shed").air.rh_pct < 100


@pytest.mark.parametrize(
    ("state", "says"),
    [
        (None, "No recorder has run yet"),
        ({"beat_ms": -MS_PER_HOUR}, "has not been heard for 60 min"),
        (
            {"connected": False, "note": "no broker at 127.0.0.1:1883 (Connection refused); trying again"},
            "no broker at",
        ),
        ({}, ""),
    ],
)
def test_the_recorders_own_state_is_shown(yard, state, says):
    if state is not None:
        usual = {
            "beat_ms": 0,
            "pid": 1,
            "connected": True,
            "broker": "b",
            "session_kept": True,
            "waiting": 0,
            "stored": 1,
            "rejected": 0,
            "retained_ignored": 0,
            "note": "connected",
        } | state
        usual["beat_ms"] += yard.now_ms
        with yard.store.writing() as connection:
            readings.set_recorder_state(connection, RecorderState(**usual))
    assert says in read(yard).recorder_note
    assert bool(says) == bool(read(yard).recorder_note)


def test_air_history_keeps_extremes_whatever_the_span(yard):
    shed = place(yard, "shed")
    for days, span_ms in ((1, 600_000), (7, MS_PER_HOUR), (30, MS_PER_DAY)):
        found = air_history.air_history(yard.store, shed.subject.id, yard.now_ms - days * MS_PER_DAY, yard.now_ms)
        assert found.span_ms == span_ms
        assert np.nanmax(found.temperature_high_c) >= 14.9
        assert found.probes == ["north"]


def test_a_probe_says_its_rhythm_its_gaps_and_what_was_flagged(yard):
    probe = next(one for one in read(yard).probes if one.subject.code == "north")
    assert probe.habit.rhythm_ms == MS_PER_HOUR
    assert probe.habit.hours_missing <= 1
    assert probe.habit.flags == {}
    with yard.store.writing() as connection:
        series = readings.series_of(connection, probe.subject.id, Quantity.RH_PCT)
        last = readings.latest(connection, series)
        readings.set_quality(connection, series, last.at_ms, Quality.OUT_OF_RANGE)
        battery = readings.series_of(connection, probe.subject.id, Quantity.BATTERY_V)
        row = NewReading(battery, yard.now_ms, 2.91, Quality.GOOD, TimeSource.PAYLOAD)
        readings.append(connection, [row], yard.now_ms)
    habit = next(one for one in read(yard).probes if one.subject.code == "north").habit
    assert habit.flags == {Quality.OUT_OF_RANGE: 1}
    assert habit.battery == "2.91 V"
