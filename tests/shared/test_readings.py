"""Readings in: nothing twice, nothing lost; and the summaries always say what the raw rows say."""

from __future__ import annotations

import math
from collections.abc import Sequence
from pathlib import Path
from tempfile import TemporaryDirectory

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from sqlalchemy import Connection, text

from shared.store import Store, facts, nearby, readings
from shared.store.records import (
    Appended,
    NewReading,
    Quality,
    Quantity,
    RecorderState,
    SubjectKind,
    TimeSource,
)
from shared.units import MS_PER_DAY, MS_PER_HOUR, MS_PER_MINUTE

T0 = 1_775_023_200_000  # 1 April 2026, 06:00 UTC
ALL_TIME = (0, 10**14)


def one(at_ms: int, value: float, quality: Quality = Quality.GOOD, series_id: int = 1) -> NewReading:
    return NewReading(series_id, at_ms, value, quality, TimeSource.PAYLOAD)


def make_series(connection: Connection) -> None:
    """Series 1 and 2: temperature and humidity of one probe."""
    probe = facts.add_subject(connection, SubjectKind.PROBE, "north")
    assert readings.series_of(connection, probe.id, Quantity.TEMPERATURE_C) == 1
    assert readings.series_of(connection, probe.id, Quantity.RH_PCT) == 2


@pytest.fixture
def ready(store: Store) -> Store:
    with store.writing() as connection:
        make_series(connection)
    return store


def append(store: Store, batch: Sequence[NewReading]) -> Appended:
    with store.writing() as connection:
        return readings.append(connection, batch, T0)


def stored(store: Store, series_id: int = 1) -> list[tuple[int, float]]:
    with store.reading() as connection:
        return [(row.at_ms, row.value) for row in readings.raw(connection, series_id, *ALL_TIME)]


def conflicts(store: Store) -> list[tuple[int, float]]:
    with store.reading() as connection:
        return [tuple(row) for row in connection.execute(text("SELECT at_ms, value FROM conflict ORDER BY 1, 2"))]


def test_a_series_is_made_once(ready: Store) -> None:
    with ready.writing() as connection:
        assert readings.series_of(connection, 1, Quantity.RH_PCT) == 2
        found = readings.all_series(connection)
    assert [(row.id, row.quantity) for row in found] == [(1, Quantity.TEMPERATURE_C), (2, Quantity.RH_PCT)]


def test_an_empty_batch_writes_nothing(ready: Store) -> None:
    assert append(ready, []) == Appended(0, 0, 0)
    with ready.reading() as connection:
        assert readings.newest_batch(connection) == 0


def test_a_repeat_adds_nothing(ready: Store) -> None:
    assert append(ready, [one(T0, 18.4), one(T0 + 1, 18.5)]) == Appended(2, 0, 0)
    assert append(ready, [one(T0, 18.4), one(T0 + 1, 18.5), one(T0 + 2, 18.6)]) == Appended(1, 2, 0)
    assert stored(ready) == [(T0, 18.4), (T0 + 1, 18.5), (T0 + 2, 18.6)]
    with ready.reading() as connection:
        assert readings.count(connection) == 3


def test_another_value_for_the_same_moment_is_kept_beside_the_first(ready: Store) -> None:
    append(ready, [one(T0, 18.4)])
    assert append(ready, [one(T0, 19.0)]) == Appended(0, 0, 1)
    assert append(ready, [one(T0, 19.0)]) == Appended(0, 0, 1)
    assert stored(ready) == [(T0, 18.4)]
    assert conflicts(ready) == [(T0, 19.0)]
    with ready.reading() as connection:
        assert readings.count_conflicts(connection) == 1


def test_a_repeat_within_a_batch_counts_once_and_a_contradiction_is_kept(ready: Store) -> None:
    assert append(ready, [one(T0, 18.4), one(T0, 18.4), one(T0, 19.0), one(T0, 20.0)]) == Appended(1, 1, 2)
    assert stored(ready) == [(T0, 18.4)]
    assert conflicts(ready) == [(T0, 19.0), (T0, 20.0)]


def test_the_value_stored_first_is_no_conflict_when_it_follows_another_in_a_batch(ready: Store) -> None:
    append(ready, [one(T0, 18.4)])
    assert append(ready, [one(T0, 19.0), one(T0, 18.4)]) == Appended(0, 1, 1)
    assert conflicts(ready) == [(T0, 19.0)]


def test_a_value_flagged_bad_is_stored_as_it_came_and_kept_out_of_the_means(ready: Store) -> None:
    append(ready, [one(T0, 60.0, series_id=2), one(T0 + 1, 140.0, Quality.OUT_OF_RANGE, series_id=2)])
    assert stored(ready, 2) == [(T0, 60.0), (T0 + 1, 140.0)]
    with ready.reading() as connection:
        hour = readings.buckets(connection, 2, MS_PER_HOUR, *ALL_TIME)
        newest = readings.latest(connection, 2)
        newest_good = readings.latest(connection, 2, Quality.GOOD)
    assert (list(hour.mean), list(hour.n), list(hour.bad)) == ([60.0], [1], [1])
    assert newest is not None and newest.quality is Quality.OUT_OF_RANGE
    assert newest_good is not None and newest_good.value == 60.0


def test_a_span_with_only_bad_values_has_no_mean(ready: Store) -> None:
    append(ready, [one(T0, -80.0, Quality.OUT_OF_RANGE)])
    with ready.reading() as connection:
        day = readings.buckets(connection, 1, MS_PER_DAY, *ALL_TIME)
    assert np.isnan(day.mean).all() and np.isnan(day.low).all() and list(day.bad) == [1]


def test_a_good_value_after_bad_ones_sets_lowest_and_highest(ready: Store) -> None:
    append(ready, [one(T0, -80.0, Quality.OUT_OF_RANGE)])
    append(ready, [one(T0 + 1, 18.0)])
    append(ready, [one(T0 + 2, 200.0, Quality.OUT_OF_RANGE)])
    with ready.reading() as connection:
        hour = readings.buckets(connection, 1, MS_PER_HOUR, *ALL_TIME)
    assert (list(hour.low), list(hour.high), list(hour.n), list(hour.bad)) == ([18.0], [18.0], [1], [2])


def test_the_ends_of_a_span_of_time_are_start_included_end_not(ready: Store) -> None:
    append(ready, [one(T0 + step * MS_PER_HOUR, float(step)) for step in range(4)])
    with ready.reading() as connection:
        raw = readings.raw(connection, 1, T0 + MS_PER_HOUR, T0 + 3 * MS_PER_HOUR)
        hours = readings.buckets(connection, 1, MS_PER_HOUR, T0 + MS_PER_HOUR, T0 + 3 * MS_PER_HOUR)
        assert readings.first_at_ms(connection, 1) == T0
        assert readings.first_at_ms(connection, 2) is None
    assert [row.value for row in raw] == [1.0, 2.0]
    assert list(hours.mean) == [1.0, 2.0]


def test_a_question_for_raw_rows_gets_no_more_than_it_asked_for(ready: Store) -> None:
    append(ready, [one(T0 + step, float(step)) for step in range(10)])
    with ready.reading() as connection:
        assert [row.value for row in readings.raw(connection, 1, *ALL_TIME, limit=3)] == [0.0, 1.0, 2.0]


# --- the summaries against the raw rows ------------------------------------------------------------


def brute_force(connection: Connection, series_id: int, span_ms: int) -> dict[int, tuple[float, ...]]:
    """Sum up the raw rows one by one: what the summaries must say."""
    made: dict[int, list[tuple[float, int]]] = {}
    for row in connection.execute(text("SELECT * FROM reading WHERE series_id = :id").bindparams(id=series_id)):
        made.setdefault(row.at_ms // span_ms * span_ms, []).append((row.value, row.quality))
    expected = {}
    for start, rows in made.items():
        good = [value for value, quality in rows if quality == Quality.GOOD]
        mean = math.fsum(good) / len(good) if good else math.nan
        low, high = (min(good), max(good)) if good else (math.nan, math.nan)
        expected[start] = (len(good), low, high, mean, len(rows) - len(good))
    return expected


def assert_summaries_match(connection: Connection) -> None:
    for series_id in (1, 2):
        for span_ms in readings.TIERS:
            held = readings.buckets(connection, series_id, span_ms, *ALL_TIME)
            columns = zip(held.n, held.low, held.high, held.mean, held.bad, strict=True)
            found = dict(zip(held.bucket_ms.tolist(), columns, strict=True))
            expected = brute_force(connection, series_id, span_ms)
            assert found.keys() == expected.keys()
            for start, wanted in expected.items():
                assert found[start] == pytest.approx(wanted, rel=1e-12, abs=1e-9, nan_ok=True)


# Few moments and few values, so that repeats, contradictions and shared spans come up all the time.
new_readings = st.builds(
    NewReading,
    series_id=st.sampled_from([1, 2]),
    at_ms=st.integers(0, 40).map(lambda step: T0 + step * 7 * MS_PER_MINUTE) | st.integers(T0, T0 + 3 * MS_PER_DAY),
    value=st.sampled_from([-80.0, 0.0, 18.4, 55.5, 140.0]) | st.floats(-100, 200),
    quality=st.sampled_from(list(Quality)),
    time_source=st.sampled_from(list(TimeSource)),
)


@settings(max_examples=40, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(batches=st.lists(st.lists(new_readings, max_size=30), max_size=8), flag=st.sampled_from(list(Quality)))
def test_summaries_equal_the_raw_rows_whatever_arrives_in_whatever_order(
    batches: list[list[NewReading]], flag: Quality
) -> None:
    with TemporaryDirectory() as folder:
        store = Store(Path(folder) / "s.sqlite3")
        store.create_or_upgrade()
        with store.writing() as connection:
            make_series(connection)
        first: dict[tuple[int, int], float] = {}
        others: set[tuple[int, int, float]] = set()
        for batch in batches:
            counted = append(store, batch)
            assert counted.new + counted.repeated + counted.conflicting == len(batch)
            for row in batch:
                kept = first.setdefault((row.series_id, row.at_ms), row.value)
                if kept != row.value:
                    others.add((row.series_id, row.at_ms, row.value))
        with store.writing() as connection:
            held = connection.execute(text("SELECT series_id, at_ms, value FROM reading")).all()
            assert {(row[0], row[1]): row[2] for row in held} == first
            beside = connection.execute(text("SELECT series_id, at_ms, value FROM conflict")).all()
            assert {tuple(row) for row in beside} == others
            assert_summaries_match(connection)
            assert readings.count(connection) == len(first)
            for series_id, at_ms in list(first)[::3]:
                readings.set_quality(connection, series_id, at_ms, flag)
            assert_summaries_match(connection)
        store.close()


def test_a_flag_changed_later_moves_the_value_out_of_the_means_and_back(ready: Store) -> None:
    append(ready, [one(T0, 18.0), one(T0 + 1, 30.0)])
    for flag, mean in ((Quality.OUT_OF_RANGE, 18.0), (Quality.GOOD, 24.0)):
        with ready.writing() as connection:
            readings.set_quality(connection, 1, T0 + 1, flag)
            assert list(readings.buckets(connection, 1, MS_PER_DAY, *ALL_TIME).mean) == [mean]
    assert stored(ready) == [(T0, 18.0), (T0 + 1, 30.0)]


def test_a_hundred_thousand_readings_take_no_more_than_thirty_bytes_each(ready: Store) -> None:
    def size() -> int:
        with ready.writing() as connection:
            return int(connection.execute(text("SELECT sum(pgsize) FROM dbstat WHERE name = 'reading'")).scalar_one())

    try:
        before = size()
    except Exception:  # this build of SQLite has no dbstat: take the file, summaries and all
        with ready.writing() as connection:
            before = int(connection.execute(text("PRAGMA page_count")).scalar_one()) * 4096
    rows = [one(T0 + step * MS_PER_MINUTE, 18.0 + step % 37 / 10) for step in range(100_000)]
    for start in range(0, len(rows), 5_000):
        append(ready, rows[start : start + 5_000])
    assert (size() - before) / len(rows) <= 30


# --- what is kept beside readings ------------------------------------------------------------------


def test_a_message_without_a_reading_is_kept_with_its_reason(store: Store) -> None:
    with store.writing() as connection:
        readings.add_rejects(connection, [("a", b"\x00\xff", "not text"), ("b", b"x" * 10_000, "too long")], T0)
        readings.add_rejects(connection, [], T0)
        found = readings.recent_rejects(connection, 10)
    assert [(row.topic, row.reason) for row in found] == [("b", "too long"), ("a", "not text")]
    assert found[1].payload == b"\x00\xff" and len(found[0].payload) == readings.REJECT_PAYLOAD_BYTES


def test_the_recorder_state_is_one_row_and_the_newest(store: Store) -> None:
    with store.writing() as connection:
        assert readings.recorder_state(connection) is None
        for beat_ms in (T0, T0 + 5000):
            state = RecorderState(beat_ms, 42, True, "127.0.0.1:1883", True, 3, 1000, 2, 1, "connected")
            readings.set_recorder_state(connection, state)
        assert readings.recorder_state(connection) == state
        assert connection.execute(text("SELECT count(*) FROM recorder_state")).scalar() == 1


# --- what lies around readings ---------------------------------------------------------------------


def test_so_many_readings_on_either_side_of_a_span_are_found(ready: Store) -> None:
    append(ready, [one(T0 + step, float(step)) for step in range(20)] + [one(T0, 55.0, series_id=2)])
    append(ready, [one(T0 + 30, -80.0, Quality.OUT_OF_RANGE)])
    spans = [
        nearby.Span(1, T0 + 8, T0 + 9, T0, T0 + 99),
        nearby.Span(1, T0 + 8, T0 + 9, T0 + 7, T0 + 10),  # no further than this
        nearby.Span(1, T0 + 19, T0 + 30, T0, T0 + 99),  # a bad one is not looked at
        nearby.Span(2, T0 + 5, T0 + 9, T0, T0 + 99),
        nearby.Span(3, T0, T0 + 9, T0, T0 + 99),
    ]
    with ready.reading() as connection:
        found = nearby.around(connection, spans, [Quality.GOOD], 3)
    assert [[value for _, value, _ in rows] for rows in found] == [
        [5, 6, 7, 8, 9, 10, 11, 12],
        [7, 8, 9, 10],
        [16, 17, 18, 19],
        [55],
        [],
    ]


def test_how_long_the_figures_beside_a_span_have_been_there_is_found(ready: Store) -> None:
    values = [1, 2, 2, 2, 9, 5, 5, 5, 5]
    flags = [Quality.STUCK if value == 2 else Quality.GOOD for value in values]
    append(ready, [one(T0 + i, v, q) for i, (v, q) in enumerate(zip(values, flags, strict=True))])
    spans = [
        nearby.Span(1, T0 + 4, T0 + 4, T0, T0 + 99),
        nearby.Span(1, T0 + 4, T0 + 4, T0 + 2, T0 + 6),
        nearby.Span(2, T0 + 4, T0 + 5, T0, T0 + 99),
    ]
    with ready.reading() as connection:
        found = nearby.steady(connection, spans, [Quality.GOOD, Quality.STUCK])
    assert found == [
        nearby.Steady(T0, T0 + 8, Quality.STUCK, Quality.GOOD),
        nearby.Steady(T0 + 2, T0 + 6, Quality.STUCK, Quality.GOOD),
        nearby.Steady(T0 + 4, T0 + 5, None, None),
    ]


def test_the_series_of_the_same_probes_are_found(ready: Store) -> None:
    with ready.writing() as connection:
        other = facts.add_subject(connection, SubjectKind.PROBE, "south")
        alone = readings.series_of(connection, other.id, Quantity.MASS_KG)
        assert {one.id for one in nearby.series_beside(connection, [1])} == {1, 2}
        assert {one.id for one in nearby.series_beside(connection, [2, alone])} == {1, 2, alone}
        assert nearby.series_beside(connection, []) == []
