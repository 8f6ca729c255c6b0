"""Retention and compaction: single readings go, their summaries stay, and room is given back."""

from __future__ import annotations

import math
import sqlite3
import threading
from contextlib import closing
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from sqlalchemy import text

from shared.errors import Refused
from shared.store import Store, compaction, facts, keeping, readings, retention
from shared.store.records import NewReading, Quality, Quantity, SubjectKind, TimeSource
from shared.units import MS_PER_DAY, MS_PER_HOUR, MS_PER_MINUTE

NOW_MS = 20_780 * MS_PER_DAY + 14 * MS_PER_HOUR + 7
KEPT_DAYS = 3
HORIZON_MS = (20_780 - KEPT_DAYS) * MS_PER_DAY
ALL_TIME = (-(2**62), 2**62)


def one(at_ms: int, value: float, quality: Quality = Quality.GOOD, series_id: int = 1) -> NewReading:
    return NewReading(series_id, at_ms, value, quality, TimeSource.PAYLOAD)


def fill(store: Store, rows: list[NewReading]) -> None:
    with store.writing() as connection:
        readings.append(connection, rows, NOW_MS)


def times(store: Store, series_id: int = 1) -> list[int]:
    with store.reading() as connection:
        return [row.at_ms for row in readings.raw(connection, series_id, *ALL_TIME, limit=10**6)]


def summaries(store: Store) -> dict[tuple[object, ...], tuple[float, ...]]:
    with store.reading() as connection:
        return {
            (tier.name, row.series_id, row.bucket_ms): (row.n, row.low, row.high, row.total, row.bad)
            for tier in readings.TIERS.values()
            for row in connection.execute(text(f"SELECT * FROM {tier.name}"))
        }


def trim(store: Store, **others: int) -> retention.Trimmed:
    return retention.trim(store, NOW_MS, KEPT_DAYS, pause_s=0.0, **others)


def steady(days: int, step_ms: int = 10 * MS_PER_MINUTE) -> list[NewReading]:
    """Invented readings up to now."""
    return [one(at, 10.0 + at // step_ms % 17 / 3) for at in range(NOW_MS - days * MS_PER_DAY, NOW_MS, step_ms)]


def execute(store: Store, statement: str) -> None:
    with store.writing() as connection:
        connection.execute(text(statement))


def series_in(store: Store) -> Store:
    with store.writing() as connection:
        probe = facts.add_subject(connection, SubjectKind.PROBE, "north")
        for quantity in (Quantity.TEMPERATURE_C, Quantity.RH_PCT):
            readings.series_of(connection, probe.id, quantity)
    return store


@pytest.fixture
def yard(store: Store) -> Store:
    """A store with one probe of two series."""
    return series_in(store)


# --- which go, which stay --------------------------------------------------------------------------


def test_older_readings_go_whole_days_at_a_time_and_every_summary_stays(yard: Store) -> None:
    fill(yard, steady(10))
    before, all_times = summaries(yard), times(yard)
    done = trim(yard)
    assert times(yard) == [at for at in all_times if at >= HORIZON_MS]
    assert done.deleted == len(all_times) - len(times(yard)) and (done.mended, done.kept) == (0, 0)
    assert summaries(yard) == before
    assert keeping.check(yard).faults == ()
    assert trim(yard) == retention.Trimmed()


def test_when_a_series_began_is_known_after_its_first_readings_have_gone(yard: Store) -> None:
    fill(yard, [*steady(10), one(NOW_MS, 10.0, series_id=2)])
    with yard.reading() as connection:
        began_ms = readings.first_at_ms(connection, 1)
    assert began_ms is not None and began_ms < HORIZON_MS - MS_PER_DAY
    trim(yard)
    with yard.reading() as connection:
        assert readings.first_at_ms(connection, 1) == began_ms - began_ms % (10 * MS_PER_MINUTE)
        assert readings.first_at_ms(connection, 2) == NOW_MS
        assert readings.first_at_ms(connection, 99) is None


def test_for_ever_means_for_ever(yard: Store) -> None:
    fill(yard, steady(10))
    before = times(yard)
    assert retention.trim(yard, NOW_MS, 0, pause_s=0.0) == retention.Trimmed()
    assert times(yard) == before and retention.horizon_ms(NOW_MS, 0) is None


def test_what_a_silent_probe_last_said_stays_known(yard: Store) -> None:
    old = HORIZON_MS - 400 * MS_PER_DAY
    fill(yard, [one(old + step * MS_PER_HOUR, 12.0) for step in range(40)])
    trim(yard)
    assert times(yard) == [old + step * MS_PER_HOUR for step in range(24, 40)]


def test_chunks_are_small_and_of_whole_ten_minutes(yard: Store) -> None:
    fill(yard, steady(8, step_ms=MS_PER_MINUTE))
    before = summaries(yard)
    done = trim(yard, chunk_rows=100)
    assert done.deleted / 100 <= done.chunks <= done.deleted / 90 + 2
    assert min(times(yard)) >= HORIZON_MS and summaries(yard) == before


def test_ten_minutes_with_more_readings_than_a_chunk_go_as_one(yard: Store) -> None:
    start = HORIZON_MS - MS_PER_DAY
    fill(yard, [one(start + step * 1000, step / 7) for step in range(1200)] + [one(NOW_MS, 1.0)])
    done = trim(yard, chunk_rows=50)
    assert (done.deleted, done.chunks) == (1200, 2)
    assert times(yard) == [NOW_MS]


def test_between_chunks_the_recorder_may_write(yard: Store, monkeypatch: pytest.MonkeyPatch) -> None:
    fill(yard, steady(8))
    recorder, pauses = Store(yard.path), []

    def record(pause_s: float) -> None:
        pauses.append(pause_s)
        fill(recorder, [one(NOW_MS + len(pauses), 20.0, series_id=2)])

    monkeypatch.setattr(retention.time, "sleep", record)
    retention.trim(yard, NOW_MS, KEPT_DAYS, pause_s=0.5, chunk_rows=100)
    assert len(pauses) > 4 and set(pauses) == {0.5}
    assert len(times(yard, 2)) == len(pauses)
    recorder.close()


# --- only what the summaries hold ------------------------------------------------------------------


@pytest.mark.parametrize(
    "statement",
    [
        "DELETE FROM tier_10min WHERE bucket_ms % 1800000 = 0",
        "DELETE FROM tier_hour",
        "DELETE FROM tier_day",
        "UPDATE tier_10min SET high = high + 1",
        "UPDATE tier_10min SET n = n - 1 WHERE bucket_ms % 1800000 = 0",
        "UPDATE tier_hour SET total = total * 1.001",
        "UPDATE tier_day SET low = NULL",
    ],
)
def test_summaries_that_are_missing_or_wrong_are_made_anew_before_readings_go(yard: Store, statement: str) -> None:
    fill(yard, [*steady(9), one(HORIZON_MS - MS_PER_HOUR + 1, 200.0, Quality.OUT_OF_RANGE)])
    before = summaries(yard)
    execute(yard, statement)
    done = trim(yard, chunk_rows=77)
    after = summaries(yard)
    old = [key for key in before if int(str(key[2])) < HORIZON_MS]
    assert done.mended > 0 and done.kept == 0 and min(times(yard)) >= HORIZON_MS
    assert {key: after[key] for key in old} == {key: pytest.approx(before[key], rel=1e-12) for key in old}


def test_a_late_reading_whose_neighbours_have_gone_is_left_with_a_summary_that_counts_it(yard: Store) -> None:
    fill(yard, steady(9))
    trim(yard)
    late = HORIZON_MS - 2 * MS_PER_DAY + 30 * MS_PER_MINUTE + 123
    fill(yard, [one(late, 99.0)])
    before = summaries(yard)
    assert trim(yard) == retention.Trimmed(chunks=1, kept=1)
    assert times(yard)[0] == late and summaries(yard) == before
    assert keeping.check(yard).faults == ()


def test_readings_stay_when_an_hour_or_day_holds_more_than_its_parts(yard: Store) -> None:
    fill(yard, steady(9))
    execute(yard, f"UPDATE tier_day SET n = n + 1 WHERE bucket_ms = {HORIZON_MS - MS_PER_DAY}")
    done = trim(yard)
    assert done.kept == 144 and done.mended == 0
    assert times(yard)[0] // MS_PER_DAY * MS_PER_DAY == HORIZON_MS - MS_PER_DAY


def test_a_run_that_is_cut_short_is_taken_up_again(yard: Store, monkeypatch: pytest.MonkeyPatch) -> None:
    fill(yard, steady(9))
    before, held = summaries(yard), len(times(yard))

    def end(_pause_s: float) -> None:
        raise KeyboardInterrupt

    for _ in range(3):
        with monkeypatch.context() as cut, pytest.raises(KeyboardInterrupt):
            cut.setattr(retention.time, "sleep", end)
            trim(yard, chunk_rows=55)
    assert held - 3 * 55 <= len(times(yard)) < held
    assert trim(yard).kept == 0
    assert min(times(yard)) >= HORIZON_MS and summaries(yard) == before


value = st.floats(-60, 120, allow_nan=False, width=32)
rows = st.lists(
    st.tuples(st.integers(-6 * 24 * 60, 0), value, st.sampled_from([0, 0, 0, 1, 3]), st.sampled_from([1, 2])),
    max_size=120,
)


@settings(max_examples=10, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(batches=st.lists(rows, min_size=1, max_size=3), chunk_rows=st.integers(1, 60))
def test_whatever_came_in_whatever_order_no_summary_changes(
    batches: list[list[tuple[int, float, int, int]]], chunk_rows: int, tmp_path_factory: pytest.TempPathFactory
) -> None:
    yard = Store(tmp_path_factory.mktemp("yard") / "store.sqlite3")
    yard.create_or_upgrade()
    series_in(yard)
    for batch in batches:
        fill(yard, [one(NOW_MS + m * MS_PER_MINUTE, v, Quality(q), s) for m, v, q, s in batch])
    before, held = summaries(yard), {s: times(yard, s) for s in (1, 2)}
    done = trim(yard, chunk_rows=chunk_rows)
    assert summaries(yard) == before and (done.mended, done.kept) == (0, 0)
    for series_id, all_times in held.items():
        last_day = max(all_times, default=0) // MS_PER_DAY * MS_PER_DAY
        assert times(yard, series_id) == [at for at in all_times if at >= min(HORIZON_MS, last_day)]
    assert keeping.check(yard).faults == ()
    yard.close()


def test_two_sums_in_another_order_agree_and_a_missing_reading_does_not() -> None:
    values = [20.0 * (-1) ** i + 1e-7 * i for i in range(4000)]
    forth = retention.Sum(4000, min(values), max(values), sum(values), 0)
    assert forth.agrees(forth._replace(total=math.fsum(reversed(values))))
    assert not forth.agrees(forth._replace(n=3999)) and not forth.agrees(forth._replace(total=forth.total + 0.1))


# --- compaction ------------------------------------------------------------------------------------


def free_pages(store: Store) -> int:
    with closing(sqlite3.connect(store.path)) as raw:
        return int(raw.execute("PRAGMA freelist_count").fetchone()[0])


def test_the_first_compaction_writes_the_store_anew_and_later_ones_give_pages_back(yard: Store) -> None:
    fill(yard, steady(25, step_ms=MS_PER_MINUTE))
    assert compaction.needs_store_alone(yard)
    retention.trim(yard, NOW_MS, 12, pause_s=0.0)
    held = times(yard)
    first = compaction.compact(yard, pause_s=0.0)
    assert first.after_bytes < 0.8 * first.before_bytes and free_pages(yard) == 0
    assert not compaction.needs_store_alone(yard)
    trim(yard)
    assert free_pages(yard) > 40
    second = compaction.compact(yard, pause_s=0.0)
    assert second.after_bytes < first.after_bytes and free_pages(yard) == 0
    assert times(yard) == [at for at in held if at >= HORIZON_MS]
    assert keeping.check(yard).faults == ()


def test_pages_are_given_back_while_the_recorder_writes(yard: Store, monkeypatch: pytest.MonkeyPatch) -> None:
    compaction.compact(yard)
    fill(yard, steady(25, step_ms=MS_PER_MINUTE))
    trim(yard)
    recorder, written = Store(yard.path), []

    def record(_pause_s: float) -> None:
        written.append(NOW_MS + len(written))
        fill(recorder, [one(written[-1], 20.0, series_id=2)])

    monkeypatch.setattr(compaction, "GIVEN_BACK_PAGES", 50)
    monkeypatch.setattr(compaction.time, "sleep", record)
    compaction.compact(yard)
    assert len(written) > 3 and times(yard, 2) == written
    assert keeping.check(yard).faults == ()
    recorder.close()


def test_without_room_the_store_is_not_written_anew(yard: Store, monkeypatch: pytest.MonkeyPatch) -> None:
    fill(yard, steady(10))
    usage = type("usage", (), {"free": 1_000_000})
    monkeypatch.setattr(keeping.shutil, "disk_usage", lambda _path: usage)
    with pytest.raises(Refused, match=r"the store, written anew, needs [\d.]+ MB and 1\.0 MB are free"):
        compaction.compact(yard)
    assert compaction.needs_store_alone(yard) and len(times(yard)) == 1440


def test_room_is_looked_for_on_both_disks_when_they_are_two(tmp_path: Path) -> None:
    other = Path("/dev/shm")
    if not other.is_dir() or other.stat().st_dev == tmp_path.stat().st_dev:
        other = Path("/proc")  # any other file system will do to be told apart
    assert compaction._room_wanted(tmp_path, other, 5) == [(tmp_path, 5), (other, 5)]
    assert compaction._room_wanted(tmp_path, tmp_path, 5) == [(tmp_path, 10)]


def test_a_store_that_another_keeps_locked_is_left_as_it_was(yard: Store, monkeypatch: pytest.MonkeyPatch) -> None:
    fill(yard, steady(2))
    monkeypatch.setattr(compaction.engine, "BUSY_TIMEOUT_MS", 50)
    locked, done = threading.Event(), threading.Event()

    def hold() -> None:
        with closing(sqlite3.connect(yard.path, isolation_level=None)) as other:
            other.execute("BEGIN IMMEDIATE")
            locked.set()
            done.wait(60)

    holder = threading.Thread(target=hold)
    holder.start()
    assert locked.wait(60)
    try:
        with pytest.raises(Refused, match="was left as it was: database is locked"):
            compaction.compact(yard)
    finally:
        done.set()
        holder.join()
    assert len(times(yard)) == 288
