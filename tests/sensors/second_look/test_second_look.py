"""The second look at single readings: what neighbours give away is flagged, and what real air does is not.

All readings here are invented. How far real air goes (a door, a probe carried about) is common practice, no source.
"""

from __future__ import annotations

import csv
from collections.abc import Iterator, Sequence
from datetime import datetime
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from one_probe import ALL_TIME, GOOD, RH, SPIKE, STUCK, T0, TOO_FAST, C, every, flagged, held, row, take

from sensors import second_look
from sensors.demo_air import SAMPLE_STUCK_MS
from sensors.jumps import jumps
from sensors.quality import limits
from shared.store import Store, facts, readings
from shared.store.records import AIR, NewReading, Quality, Quantity, SubjectKind
from shared.units import MS_PER_DAY, MS_PER_MINUTE, ms_from_datetime

SAMPLES = Path(__file__).resolve().parents[3] / "sample_logs"

# --- spikes -------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("series_id", "usual", "mad"), [(C, 18.4, 85.0), (C, 18.4, -20.0), (RH, 55.0, 99.0), (RH, 70.0, 2.0)]
)
def test_one_reading_far_from_its_neighbours_is_a_spike(ready: Store, series_id: int, usual: float, mad: float) -> None:
    assert take(ready, every(10, [usual, usual + 0.2, usual, mad, usual, usual - 0.1, usual], series_id)) == 1
    assert flagged(ready, series_id) == {3: SPIKE}
    assert held(ready, series_id)[3].value == mad  # flagged, and kept as it came


def test_two_readings_in_a_row_are_a_spike_and_three_are_not(ready: Store) -> None:
    take(ready, every(10, [18, 18, 18, 60, 62, 18, 18, 18, 18, 18, 18, 18, 60, 62, 61, 18, 18, 18]))
    assert flagged(ready) == {3: SPIKE, 4: SPIKE}


def test_two_spikes_close_together_do_not_hide_each_other(ready: Store) -> None:
    take(ready, every(10, [18, 18, 18, 60, 18, 60, 18, 18, 18]))
    assert {3: SPIKE, 5: SPIKE}.items() <= flagged(ready).items()


def test_a_spike_is_found_when_the_readings_after_it_come(ready: Store) -> None:
    rows = every(10, [18.0, 18.1, 18.0, 60.0, 18.0, 18.1])
    assert take(ready, rows[:4]) == 0
    assert take(ready, rows[4:5]) == 0
    assert take(ready, rows[5:]) == 1
    assert flagged(ready) == {3: SPIKE}


def test_late_readings_show_that_a_spike_was_none(ready: Store) -> None:
    rows = every(10, [18, 18, 18, 30, 18, 18, 18])
    take(ready, rows)
    assert flagged(ready) == {3: SPIKE}
    between = [row(C, T0 + minute * MS_PER_MINUTE, 30.0) for minute in (27, 28, 29, 31, 32, 33)]
    assert take(ready, between) == 1  # it was 30 degrees there for a while
    assert flagged(ready) == {}


def test_the_third_reading_after_a_spike_can_show_that_the_air_is_uneasy(ready: Store) -> None:
    rows = every(10, [18, 18, 18, 60, 25, 18, 25])
    take(ready, rows[:6])
    assert flagged(ready) == {3: SPIKE}
    assert take(ready, rows[6:]) == 1
    assert flagged(ready) == {}


def test_a_repeat_of_the_same_rows_changes_nothing_again(ready: Store) -> None:
    rows = every(10, [18, 18, 18, 60, 18, 18, 18])
    assert take(ready, rows) == 1
    assert take(ready, rows) == 0
    assert take(ready, []) == 0


def test_a_reading_after_a_pause_does_not_lift_a_spike_before_it(ready: Store) -> None:
    assert take(ready, every(10, [18, 18, 60, 18, 18])) == 1
    assert take(ready, [row(C, T0 + 100 * MS_PER_MINUTE, 18.0)]) == 0  # 80 minutes: the spike's neighbours are further
    assert flagged(ready) == {2: SPIKE}


def test_a_spike_leaves_the_means(ready: Store) -> None:
    take(ready, every(1, [18, 18, 18, 60, 18, 18, 18]))
    with ready.reading() as connection:
        for span_ms in readings.TIERS:
            found = readings.buckets(connection, C, span_ms, *ALL_TIME)
            assert (list(found.n), list(found.mean), list(found.high), list(found.bad)) == ([6], [18], [18], [1])


def test_readings_bad_on_arrival_stay_so_and_are_nobodys_neighbours(ready: Store) -> None:
    rows = every(10, [18, 18, 18, -127, 19, -127, 18, 18])
    bad = [row(C, one.at_ms, one.value, Quality.OUT_OF_RANGE) if one.value < -100 else one for one in rows]
    assert take(ready, bad) == 0
    assert flagged(ready) == {3: Quality.OUT_OF_RANGE, 5: Quality.OUT_OF_RANGE}


def test_hourly_readings_are_too_few_to_tell_a_spike(ready: Store) -> None:
    assert take(ready, every(60, [18, 18, 18, 60, 18, 18, 18])) == 0


# --- too fast -----------------------------------------------------------------------------------------


def test_a_reading_that_leaves_and_comes_back_faster_than_possible_is_flagged_where_neighbours_are_too_few(
    ready: Store,
) -> None:
    take(ready, every(1, [18.0, 40.0, 18.0]))
    assert flagged(ready) == {1: TOO_FAST}


def test_a_flickering_probe_is_flagged_throughout_but_at_its_ends(ready: Store) -> None:
    take(ready, every(1, [18.0, 45.0, 20.0, 51.0, 17.0, 48.0, 16.0, 50.0, 18.0, 44.0]))
    assert set(range(1, 9)) <= set(flagged(ready))


def test_a_way_through_a_figure_between_is_not_too_fast(ready: Store) -> None:
    assert take(ready, every(1, [-5, -5, -5, 9, 23, 23, 23])) == 0


def test_readings_less_than_a_minute_apart_may_differ_by_a_minutes_worth(ready: Store) -> None:
    assert take(ready, every(0.01, [18.0, 18.1, 18.0, 18.1, 18.0])) == 0


# --- what real air does -------------------------------------------------------------------------------


def test_a_door_opened_in_winter_is_no_fault(ready: Store) -> None:
    """5 °C and 20 %RH in ten minutes and back (common practice, no source), by readings of one and of ten minutes."""
    assert take(ready, every(10, [20.1, 20, 20.1, 15, 20, 20.1, 20])) == 0
    assert take(ready, every(10, [45, 45.2, 45, 25, 45, 45.1, 45], RH)) == 0
    assert take(ready, every(1, [20, 20, 20, 17, 15, 15.2, 18, 20, 20, 20], C, T0 + MS_PER_DAY)) == 0
    assert take(ready, every(1, [45, 45, 45, 30, 25, 26, 38, 45, 45, 45], RH, T0 + MS_PER_DAY)) == 0


@pytest.mark.parametrize("minutes", [1 / 6, 1, 10, 20])
@pytest.mark.parametrize("on_the_way", [[], [12.0]])
def test_a_probe_carried_from_shed_to_house_makes_a_step_and_no_fault(
    ready: Store, minutes: float, on_the_way: list[float]
) -> None:
    """10 °C, and 30, in minutes, and it stays (common practice, no source)."""
    assert take(ready, every(minutes, [8.0, 8.1, 8, 8.1, *on_the_way, 18, 18.1, 18.2, 18.1])) == 0
    assert take(ready, every(minutes, [-9, -9, -9, *on_the_way, 21, 21, 21], C, T0 + MS_PER_DAY)) == 0
    assert take(ready, every(minutes, [92, 92, 92, 45, 45, 45], RH)) == 0


@given(
    before=st.lists(st.floats(-0.5, 0.5), max_size=5),
    after=st.lists(st.floats(-0.5, 0.5), min_size=3, max_size=5),
    height=st.floats(-100, 100),
    step_s=st.sampled_from([1, 10, 60, 600, 1200]),
)
def test_no_step_is_ever_flagged(before: list[float], after: list[float], height: float, step_s: int) -> None:
    values = before + [height + one for one in after]
    rule = limits()[Quantity.TEMPERATURE_C].jumps
    assert rule is not None
    assert jumps([i * step_s * 1000 for i in range(len(values))], values, rule) == [GOOD] * len(values)


def test_the_sample_logs_hold_one_spell_that_is_stuck_and_no_other_fault(store: Store) -> None:
    """The invented logs say themselves what is wrong in them: shed-high from 12 to 16 May, and nothing else."""
    for path in sorted(SAMPLES.glob("*.csv")):
        with store.writing() as connection:
            probe = facts.add_subject(connection, SubjectKind.PROBE, path.stem)
            ids = [readings.series_of(connection, probe.id, one) for one in AIR]
            rows = list(_logged(path, ids))
            for start in range(0, len(rows), 4000):
                readings.append(connection, rows[start : start + 4000], T0)
                second_look.after(connection, rows[start : start + 4000])
            for series_id in ids:
                bad = [one for one in readings.raw(connection, series_id, *ALL_TIME) if one.quality is not GOOD]
                if path.stem != "shed-high":
                    assert bad == []
                    continue
                inside = readings.raw(connection, series_id, *SAMPLE_STUCK_MS)
                assert set(inside) <= set(bad) and len(bad) - len(inside) <= 3  # its neighbours may say the same
                assert {(one.value, one.quality) for one in bad} == {(inside[0].value, STUCK)}


def _logged(path: Path, ids: Sequence[int]) -> Iterator[NewReading]:
    lines = [line for line in path.read_text(encoding="utf-8").splitlines() if not line.startswith("#")]
    for one in csv.DictReader(lines):
        at_ms = ms_from_datetime(datetime.fromisoformat(one["time"]))
        yield row(ids[0], at_ms, float(one["temperature_c"]))
        yield row(ids[1], at_ms, float(one["rh_pct"]))
