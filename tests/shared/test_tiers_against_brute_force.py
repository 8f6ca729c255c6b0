"""The summaries against a sum over the raw rows, whatever is stored, repeated, contradicted, late or flagged anew."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from tempfile import TemporaryDirectory

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from sqlalchemy import Connection, text

from shared.store import Store, facts, readings
from shared.store.records import NewReading, Quality, Quantity, SubjectKind, TimeSource
from shared.units import MS_PER_DAY, MS_PER_HOUR, MS_PER_MINUTE

T0 = 1_775_023_200_000  # 1 April 2026, 06:00 UTC
ALL_TIME = (-(10**14), 10**14)
Change = tuple[int, int, Quality]


@contextmanager
def two_series() -> Iterator[Connection]:
    with TemporaryDirectory() as folder:
        store = Store(Path(folder) / "s.sqlite3")
        store.create_or_upgrade()
        with store.writing() as connection:
            probe = facts.add_subject(connection, SubjectKind.PROBE, "north")
            assert readings.series_of(connection, probe.id, Quantity.TEMPERATURE_C) == 1
            assert readings.series_of(connection, probe.id, Quantity.RH_PCT) == 2
            yield connection
        store.close()


def one(at_ms: int, value: float, series_id: int = 1, quality: Quality = Quality.GOOD) -> NewReading:
    return NewReading(series_id, at_ms, value, quality, TimeSource.PAYLOAD)


def from_raw(connection: Connection, series_id: int, span_ms: int) -> dict[int, tuple[float, ...]]:
    """Sum the raw rows up one by one, in Python alone."""
    spans: dict[int, list[tuple[float, int]]] = {}
    for row in connection.execute(text("SELECT * FROM reading WHERE series_id = :id").bindparams(id=series_id)):
        spans.setdefault(row.at_ms // span_ms * span_ms, []).append((row.value, row.quality))
    expected = {}
    for start, rows in spans.items():
        good = [value for value, quality in rows if quality == Quality.GOOD]
        low, high = (min(good), max(good)) if good else (math.nan, math.nan)
        mean = math.fsum(good) / len(good) if good else math.nan
        expected[start] = (len(good), low, high, mean, len(rows) - len(good))
    return expected


def held(connection: Connection, series_id: int, span_ms: int) -> dict[int, tuple[float, ...]]:
    found = readings.buckets(connection, series_id, span_ms, *ALL_TIME)
    columns = zip(found.n, found.low, found.high, found.mean, found.bad, strict=True)
    return dict(zip(found.bucket_ms.tolist(), columns, strict=True))


def assert_equal(connection: Connection) -> None:
    for series_id in (1, 2):
        for span_ms in readings.TIERS:
            found, expected = held(connection, series_id, span_ms), from_raw(connection, series_id, span_ms)
            assert found.keys() == expected.keys()
            for start, wanted in expected.items():
                assert found[start] == pytest.approx(wanted, rel=1e-12, abs=1e-9, nan_ok=True)


# Few moments, so that repeats, contradictions and shared spans come up all the time; and the edges of spans.
moments = (
    st.integers(0, 40).map(lambda step: T0 + step * 7 * MS_PER_MINUTE)
    | st.integers(-3, 3).map(lambda step: T0 // MS_PER_DAY * MS_PER_DAY + MS_PER_DAY + step)
    | st.integers(T0, T0 + 3 * MS_PER_DAY)
)
rows = st.builds(
    NewReading,
    series_id=st.sampled_from([1, 2]),
    at_ms=moments,
    value=st.sampled_from([-80.0, 0.0, 18.4, 55.5, 140.0]) | st.floats(-100, 200),
    quality=st.sampled_from([Quality.GOOD, Quality.GOOD, *Quality]),
    time_source=st.sampled_from(list(TimeSource)),
)
batches = st.lists(rows, max_size=25)
# Which of the rows stored by then get which flag, told by their place in line.
flags = st.lists(st.tuples(st.integers(0, 200), st.sampled_from(list(Quality))), max_size=12)


@settings(max_examples=40, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(steps=st.lists(batches | flags, max_size=12))
def test_summaries_equal_the_raw_rows_after_any_interleaving(steps: list[list[object]]) -> None:
    with two_series() as connection:
        values: dict[tuple[int, int], float] = {}
        qualities: dict[tuple[int, int], Quality] = {}
        for step in steps:
            batch = [row for row in step if isinstance(row, NewReading)]
            readings.append(connection, batch, T0)
            for row in batch:
                values.setdefault((row.series_id, row.at_ms), row.value)
                qualities.setdefault((row.series_id, row.at_ms), row.quality)
            picked = [pair for pair in step if not isinstance(pair, NewReading)]
            changes = picked_from(sorted(values), picked)  # type: ignore[arg-type]
            readings.set_qualities(connection, changes)
            qualities |= {(series_id, at_ms): flag for series_id, at_ms, flag in changes}
            assert_equal(connection)
        stored = [row for series_id in (1, 2) for row in readings.raw(connection, series_id, *ALL_TIME)]
        assert {(row.series_id, row.at_ms): row.value for row in stored} == values  # no flag ever touched a value
        assert {(row.series_id, row.at_ms): row.quality for row in stored} == qualities


def picked_from(keys: Sequence[tuple[int, int]], picked: Sequence[tuple[int, Quality]]) -> list[Change]:
    by_key = {keys[place % len(keys)]: flag for place, flag in picked} if keys else {}
    return [(*key, flag) for key, flag in by_key.items()]


def test_a_flag_for_a_reading_that_is_not_stored_makes_no_summary() -> None:
    with two_series() as connection:
        readings.append(connection, [one(T0, 18.0)], T0)
        changes = [(1, T0 + 5 * MS_PER_DAY, Quality.SPIKE), (2, T0, Quality.SPIKE), (77, T0, Quality.STUCK)]
        readings.set_qualities(connection, changes)
        readings.set_qualities(connection, [])
        assert_equal(connection)
        assert readings.count(connection) == 1


def test_ten_minutes_of_which_readings_are_no_longer_kept_are_not_summed_up_anew() -> None:
    """And the hour and the day stay the sum of their ten minutes."""
    with two_series() as connection:
        start = T0 // MS_PER_HOUR * MS_PER_HOUR
        kept, gone, whole = one(start, 18.0), one(start + 1, 30.0), one(start + 30 * MS_PER_MINUTE, 21.0)
        readings.append(connection, [kept, gone, whole], T0)
        connection.execute(text("DELETE FROM reading WHERE value = 30.0"))
        readings.set_qualities(connection, [(1, kept.at_ms, Quality.SPIKE), (1, whole.at_ms, Quality.SPIKE)])
        fine = held(connection, 1, 10 * MS_PER_MINUTE)
        assert fine[start] == (2, 18.0, 30.0, 24.0, 0)
        assert fine[whole.at_ms][0] == 0 and fine[whole.at_ms][4] == 1
        for span_ms in (MS_PER_HOUR, MS_PER_DAY):
            assert held(connection, 1, span_ms)[start // span_ms * span_ms] == (2, 18.0, 30.0, 24.0, 1)


def test_thousands_of_flags_are_changed_at_once_and_back() -> None:
    with two_series() as connection:
        batch = [one(T0 + step * MS_PER_MINUTE, 18.0 + step % 7) for step in range(3000)]
        readings.append(connection, batch, T0)
        readings.set_qualities(connection, [(1, row.at_ms, Quality.STUCK) for row in batch[500:2500]])
        assert_equal(connection)
        readings.set_qualities(connection, [(1, row.at_ms, Quality.GOOD) for row in batch])
        assert_equal(connection)
