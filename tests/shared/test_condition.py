"""How the store stands: rate, clocks, log, and whether it takes a commit."""

from __future__ import annotations

import sqlite3
from contextlib import closing

import pytest

from shared.errors import Refused
from shared.store import Store, condition, engine, facts, readings
from shared.store.records import NewReading, Quality, Quantity, SubjectKind, TimeSource
from shared.units import MS_PER_DAY, MS_PER_HOUR, MS_PER_MINUTE

NOW_MS = 20_780 * MS_PER_DAY + 14 * MS_PER_HOUR + 7


def fill(store: Store, series_id: int, times: range, arrived_ms: int = NOW_MS, bad: bool = False) -> None:
    flag = Quality.OUT_OF_RANGE if bad else Quality.GOOD
    rows = [NewReading(series_id, at, 20.0, flag, TimeSource.PAYLOAD) for at in times]
    with store.writing() as connection:
        readings.append(connection, rows, arrived_ms)


@pytest.fixture
def yard(store: Store) -> Store:
    with store.writing() as connection:
        probe = facts.add_subject(connection, SubjectKind.PROBE, "north")
        for quantity in (Quantity.TEMPERATURE_C, Quantity.RH_PCT):
            readings.series_of(connection, probe.id, quantity)
    return store


def rate(store: Store) -> float | None:
    with store.reading() as connection:
        return condition.readings_per_day(connection, NOW_MS)


def test_without_readings_no_rate_is_known(yard: Store) -> None:
    assert rate(yard) is None


def test_the_rate_is_that_of_the_last_day_good_or_bad(yard: Store) -> None:
    fill(yard, 1, range(NOW_MS - 9 * MS_PER_DAY, NOW_MS, MS_PER_HOUR))
    fill(yard, 1, range(NOW_MS - 2 * MS_PER_DAY + 1, NOW_MS, MS_PER_MINUTE))
    fill(yard, 2, range(NOW_MS - 2 * MS_PER_DAY, NOW_MS, MS_PER_MINUTE), bad=True)
    assert rate(yard) == pytest.approx(2 * 1440 + 24, rel=0.01)


def test_the_rate_of_a_yard_that_fell_silent_is_that_of_its_own_last_day(yard: Store) -> None:
    fill(yard, 1, range(NOW_MS - 90 * MS_PER_DAY, NOW_MS - 80 * MS_PER_DAY, MS_PER_MINUTE))
    assert rate(yard) == pytest.approx(1440, rel=0.01)


def test_a_young_yard_is_judged_by_what_there_is(yard: Store) -> None:
    fill(yard, 1, range(NOW_MS - 6 * MS_PER_HOUR, NOW_MS, MS_PER_MINUTE))
    assert rate(yard) == pytest.approx(1440, rel=0.05)
    fill(yard, 2, range(NOW_MS - 3, NOW_MS))
    assert rate(yard) == pytest.approx(1440 + 12, rel=0.05)


def test_one_reading_is_taken_for_one_an_hour(yard: Store) -> None:
    fill(yard, 1, range(NOW_MS, NOW_MS + 1))
    assert rate(yard) == 24.0


def test_readings_stamped_ahead_count_as_ahead_and_not_as_the_last_day(yard: Store) -> None:
    fill(yard, 1, range(NOW_MS - MS_PER_DAY, NOW_MS, MS_PER_MINUTE))
    fill(yard, 2, range(NOW_MS + 400 * MS_PER_DAY, NOW_MS + 400 * MS_PER_DAY + 5))
    assert rate(yard) == pytest.approx(1440, rel=0.01)
    with yard.reading() as connection:
        assert condition.series_ahead(connection, NOW_MS) == (1, 2)


def test_the_newest_arrival_is_by_this_machine_s_clock(yard: Store) -> None:
    with yard.reading() as connection:
        assert condition.newest_arrival_ms(connection) is None
    fill(yard, 1, range(5, 6), arrived_ms=NOW_MS + 9)
    fill(yard, 1, range(6, 7), arrived_ms=NOW_MS + 3)
    with yard.reading() as connection:
        assert condition.newest_arrival_ms(connection) == NOW_MS + 3


def test_a_store_that_can_be_written_is_left_as_it_was(yard: Store) -> None:
    fill(yard, 1, range(5))
    condition.require_writable(yard)
    assert condition.log_bytes(yard) > 0
    with yard.reading() as connection:
        assert len(readings.raw(connection, 1, 0, 10)) == 5


def test_a_locked_store_cannot_be_written_and_says_so(yard: Store, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(engine, "BUSY_TIMEOUT_MS", 50)
    impatient = Store(yard.path)
    with closing(sqlite3.connect(yard.path, isolation_level=None)) as other:
        other.execute("BEGIN IMMEDIATE")
        with pytest.raises(Refused, match="cannot be written: database is locked"):
            condition.require_writable(impatient)
    impatient.close()
