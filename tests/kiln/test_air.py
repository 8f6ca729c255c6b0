"""The air of a place: gaps, stuck probes and probes that disagree."""

import numpy as np
import pytest

from kiln import air
from shared.units import MS_PER_HOUR

START = 1_790_000_000_000 // MS_PER_HOUR * MS_PER_HOUR


def probe(hours, t=15.0, rh=60.0, flat=False, moving=True):
    hours = np.asarray(hours)
    swing = np.sin(hours / 3.0) if moving else np.zeros(len(hours))
    return air.ProbeHours(START + hours * MS_PER_HOUR, t + swing, rh - 4 * swing, *[np.full(len(hours), flat)] * 2)


def merged(*probes, hours=200):
    return air.merge(list(probes), START, START + hours * MS_PER_HOUR)


def test_hours_follow_one_another_and_a_short_gap_is_bridged_without_spread():
    found = merged(probe([*range(100), *range(102, 200)]))
    assert np.all(np.diff(found.at_ms) == MS_PER_HOUR)
    assert list(np.flatnonzero(~found.known)) == [100, 101]
    assert found.spread_rh_pct[100] == 0.0


def test_a_long_gap_leaves_each_member_other_air_and_known_hours_the_same():
    found = merged(probe([*range(50), *range(150, 200)]))
    t = air.members_c(found, 30, seed=1)
    assert np.ptp(t[:, 20]) == 0.0
    assert np.std(t[:, 100]) > 1.0
    assert found.spread_rh_pct[20] == 0.0
    assert found.spread_rh_pct[100] > 4.0


def test_two_probes_are_averaged_and_one_carries_on_alone():
    both = merged(probe(range(200), t=10.0, moving=False), probe(range(100), t=14.0, moving=False))
    assert both.temperature_c[50] == pytest.approx(12.0)
    assert both.temperature_c[150] == pytest.approx(10.0)


def test_a_probe_that_shows_the_same_for_a_day_is_not_believed_and_is_again_once_it_moves():
    hours = np.arange(200)
    stuck = air.ProbeHours(
        START + hours * MS_PER_HOUR,
        np.where((hours >= 60) & (hours < 120), 9.9, 10 + np.sin(hours / 3)),
        np.where((hours >= 60) & (hours < 120), 77.7, 70 + np.sin(hours / 2)),
        *[(hours >= 60) & (hours < 120)] * 2,
    )
    flagged = air.stuck_hours(stuck)
    assert flagged[61:120].all()
    assert not flagged[:60].any()
    assert not flagged[120:].any()
    assert not merged(stuck).known[62:119].any()


def test_a_humidity_that_stays_while_the_temperature_moves_is_not_believed():
    hours = np.arange(120)
    half_dead = air.ProbeHours(
        START + hours * MS_PER_HOUR,
        15 + 3 * np.sin(hours / 4),
        np.full(120, 45.0),
        np.zeros(120, bool),
        np.ones(120, bool),
    )
    assert air.stuck_hours(half_dead)[1:].all()
    cellar = air.ProbeHours(
        half_dead.at_ms, 12 + 0.2 * np.sin(hours), half_dead.rh_pct, half_dead.flat_c, half_dead.flat_rh
    )
    assert not air.stuck_hours(cellar).any()


def test_a_still_night_is_not_taken_for_a_stuck_probe():
    assert not air.stuck_hours(probe(range(20), flat=True, moving=False)).any()


def test_probes_that_disagree_are_told_apart_from_probes_that_scatter():
    right, high = probe(range(180), rh=50.0), probe(range(180), rh=56.0)
    assert air.disagreement_rh_pct(high, right, START) == pytest.approx(6.0)
    assert air.disagreement_rh_pct(high, probe(range(10)), START) is None


def test_no_air_at_all_is_unknown_air():
    found = merged()
    assert not found.known.any()
    assert np.isnan(found.temperature_c).all()


def test_a_span_without_a_whole_hour_is_refused():
    with pytest.raises(ValueError, match="whole hour"):
        air.merge([], START, START + 1000)


def test_a_probe_is_silent_by_its_own_rhythm():
    minute = MS_PER_HOUR // 60
    usual = 180 * minute
    steps = {1: 30, 10: 100, 60: 240, 360: 24 * 60}  # minutes of a step: minutes until it is silent
    for step, silent in steps.items():
        times = np.arange(20, dtype=np.int64) * step * minute
        assert air.rhythm_ms(times) == step * minute
        assert air.silent_after_ms(times, usual) == silent * minute
    assert air.rhythm_ms(times[:3]) is None
    assert air.silent_after_ms(times[:3], usual) == usual


def test_a_probe_that_reports_changes_only_is_not_silent_in_a_calm_night():
    minute = MS_PER_HOUR // 60
    steps = ([1] * 8 + [50, 50]) * 6
    times = np.cumsum(steps).astype(np.int64) * minute
    assert air.silent_after_ms(times, 180 * minute) == 100 * minute


def test_one_outage_does_not_make_a_probe_slow_to_be_called_silent():
    times = np.concatenate([np.arange(30), 500 + np.arange(30)]).astype(np.int64) * MS_PER_HOUR // 6
    assert air.silent_after_ms(times, 3 * MS_PER_HOUR) == 100 * MS_PER_HOUR // 60


def test_one_long_gap_does_not_change_a_probes_rhythm():
    times = np.concatenate([np.arange(20), 500 + np.arange(20)]).astype(np.int64) * MS_PER_HOUR
    assert air.rhythm_ms(times) == MS_PER_HOUR
