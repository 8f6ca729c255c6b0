"""The store as it was known at a moment, against a copy of it that was made at that moment."""

from __future__ import annotations

import math
import random
import shutil
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from sqlalchemy import Connection, exc, text

from shared.errors import Refused
from shared.store import Store, facts, keeping, readings, retention, verdicts
from shared.store import records as r
from shared.store.as_known import EMPTY, AsKnown
from shared.store.schema import metadata
from shared.units import MS_PER_DAY, MS_PER_HOUR, MS_PER_MINUTE

T0_MS = 1_775_023_200_000  # 1 April 2026, 06:00 UTC
NOT_KEPT = {table.name for table in EMPTY}
SAID: dict[str, Any] = {
    "word": "WAIT",
    "number": "",
    "reason": "",
    "next_step": "",
    "probability": None,
    "known_entry": 0,
    "known_until_ms": None,
    "body": "{}",
}


def everything(connection: Connection) -> dict[str, list[tuple[Any, ...]]]:
    """All rows of all tables that are not only of the present, in an order of their own."""
    found = {}
    for name, table in metadata.tables.items():
        if name not in NOT_KEPT:
            rows = connection.execute(text(f"SELECT {', '.join(table.c.keys())} FROM {name}"))
            found[name] = sorted((tuple(row) for row in rows), key=repr)
    return found


def assert_same(found: dict[str, list[tuple[Any, ...]]], wanted: dict[str, list[tuple[Any, ...]]]) -> None:
    """The very same rows; sums to the last digits, which hang on the order in which they were added up."""
    assert found.keys() == wanted.keys()
    for name, rows in wanted.items():
        assert len(found[name]) == len(rows), name
        for one, other in zip(found[name], rows, strict=True):
            for a, b in zip(one, other, strict=True):
                same = math.isclose(a, b, rel_tol=1e-12) if isinstance(a, float) and isinstance(b, float) else a == b
                assert same, (name, one, other)


def read(store: Store) -> dict[str, list[tuple[Any, ...]]]:
    with store.reading() as connection:
        return everything(connection)


class Yard:
    """A store that things happen in, by a clock that the test moves on."""

    def __init__(self, folder: Path, empty: Path, seed: int = 0) -> None:
        self.folder, self.now_ms, self.random = folder, T0_MS, random.Random(seed)
        self.store = Store(Path(shutil.copy(empty, folder / "store.sqlite3")))
        self.copies: list[tuple[int, Path]] = []

    def remember(self) -> None:
        """Copy the store as it is, a moment after what happened last and a moment before what comes next."""
        copy = keeping.backup(self.store, self.folder / f"copy-{len(self.copies)}.sqlite3", self.now_ms)
        self.copies.append((self.now_ms, copy.path))
        self.now_ms += 1

    def probe(self, code: str) -> None:
        with self.store.writing() as connection:
            probe = facts.add_subject(connection, r.SubjectKind.PROBE, code)
            said: dict[str, Any] = {"true_at_ms": self.now_ms, "entered_at_ms": self.now_ms, "by": "Ida"}
            facts.add(connection, r.ProbeFact, probe.id, name=code, topic=f"t/{code}", **said)

    def hear(
        self,
        *rows: tuple[int, float],
        quantity: r.Quantity = r.Quantity.TEMPERATURE_C,
        quality: r.Quality = r.Quality.GOOD,
    ) -> None:
        """A batch of the first probe arrives now; its series is made with its first reading, as the recorder does."""
        with self.store.writing() as connection:
            (probe, *_) = facts.subjects(connection, r.SubjectKind.PROBE)
            one = readings.series_of(connection, probe.id, quantity)
            told = [r.NewReading(one, at, value, quality, r.TimeSource.PAYLOAD) for at, value in rows]
            readings.append(connection, told, self.now_ms)

    def hear_anything(self) -> None:
        """A batch of readings as they may come: now, late, early, twice, contradicted, bad."""
        both = [r.Quantity.TEMPERATURE_C, r.Quantity.RH_PCT]
        for quantity in self.random.choice((both[:1], both[1:], both)):
            back_ms = self.random.choice((0, 0, 0, MS_PER_HOUR, 2 * MS_PER_DAY))
            start = self.now_ms - back_ms - self.random.randrange(20 * MS_PER_MINUTE)
            if self.random.random() < 0.1:
                start += 3 * MS_PER_HOUR  # a probe whose clock runs ahead
            step = self.random.choice((MS_PER_MINUTE, 7 * MS_PER_MINUTE))
            rows = [(start + i * step, self.random.choice((20.5, 21.1, 22.3))) for i in range(6)]
            quality = self.random.choice((r.Quality.GOOD, r.Quality.GOOD, r.Quality.SPIKE))
            self.hear(*rows, quantity=quantity, quality=quality)

    def enter(self, record: type[r.Fact], subject_id: int, true_at_ms: int, **values: Any) -> int:
        with self.store.writing() as connection:
            said: dict[str, Any] = {"true_at_ms": true_at_ms, "entered_at_ms": self.now_ms, "by": "Ida"}
            return facts.add(connection, record, subject_id, **said, **values)

    def undo(self, record: type[r.Fact], fact_id: int) -> None:
        with self.store.writing() as connection:
            facts.undo(connection, record, fact_id, entered_at_ms=self.now_ms, by="Ole")

    def subject(self, kind: r.SubjectKind, code: str) -> int:
        with self.store.writing() as connection:
            return facts.add_subject(connection, kind, code).id


@pytest.fixture(scope="module")
def empty(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """An empty store to begin with: to make one takes longer than most of these tests."""
    made = Store(tmp_path_factory.mktemp("empty") / "store.sqlite3")
    made.create_or_upgrade()
    made.close()
    return made.path


@pytest.fixture
def yard(tmp_path: Path, empty: Path) -> Iterator[Yard]:
    made = Yard(tmp_path, empty)
    yield made
    made.store.close()


def weigh(yard: Yard, board: int, kg: float, **others: Any) -> int:
    at_ms = others.pop("true_at_ms", yard.now_ms)
    return yard.enter(r.WeighIn, board, at_ms, mass_kg=kg, scale_error_kg=0.005, **others)


def standing(store: Store, record: type[r.Fact]) -> list[Any]:
    with store.reading() as connection:
        return facts.standing(connection, record)


# --- against a copy that was made then -------------------------------------------------------------


def test_every_table_of_the_store_is_shadowed(yard: Yard) -> None:
    with AsKnown(yard.store, T0_MS).reading() as connection:
        rows = connection.execute(text("SELECT name FROM sqlite_temp_master WHERE type = 'view'"))
        assert {name for (name,) in rows} == set(metadata.tables)


@pytest.mark.parametrize("seed", range(6))
def test_it_is_row_for_row_what_a_copy_made_at_that_moment_holds(tmp_path: Path, empty: Path, seed: int) -> None:
    yard = Yard(tmp_path, empty, seed)
    yard.remember()  # of nothing at all
    yard.probe("north")
    for _ in range(30):
        yard.hear_anything()
        if yard.random.random() < 0.3:
            yard.remember()
        yard.now_ms += yard.random.choice((1, MS_PER_MINUTE, 50 * MS_PER_MINUTE, MS_PER_DAY))
    for at_ms, path in yard.copies:
        copy = Store(path)
        assert_same(read(AsKnown(yard.store, at_ms)), read(copy))
        copy.close()
    yard.store.close()


def test_what_was_entered_corrected_and_withdrawn_is_what_a_copy_made_at_that_moment_holds(yard: Yard) -> None:
    board = yard.subject(r.SubjectKind.BOARD, "B-1")
    first = weigh(yard, board, 5.0)
    yard.remember()
    second = weigh(yard, board, 4.6, true_at_ms=T0_MS, supersedes=first)
    with yard.store.writing() as connection:
        verdicts.put(connection, board, at_ms=yard.now_ms, **SAID)
    yard.remember()
    yard.undo(r.WeighIn, second)
    other = yard.subject(r.SubjectKind.BOARD, "B-2")
    weigh(yard, other, 3.0, true_at_ms=T0_MS - MS_PER_DAY)  # entered a day late
    yard.remember()
    yard.undo(r.WeighIn, first + 3)
    seen = []
    for at_ms, path in yard.copies:
        then, copy = AsKnown(yard.store, at_ms), Store(path)
        assert_same(read(then), read(copy))
        assert standing(then, r.WeighIn) == standing(copy, r.WeighIn)
        seen.append([one.mass_kg for one in standing(then, r.WeighIn)])
        copy.close()
    assert seen == [[5.0], [4.6], [3.0, 5.0]]


def test_a_thing_is_there_from_its_first_entry_on_and_a_series_from_its_first_reading_on(yard: Yard) -> None:
    before_ms = yard.now_ms - 1
    yard.probe("north")
    yard.now_ms += 10
    yard.hear((yard.now_ms, 20.0))
    for at_ms, probes, series in ((before_ms, 0, 0), (T0_MS, 1, 0), (yard.now_ms, 1, 1)):
        with AsKnown(yard.store, at_ms).reading() as connection:
            assert len(facts.subjects(connection, r.SubjectKind.PROBE)) == probes
            assert len(readings.all_series(connection)) == series


def test_a_summary_with_late_readings_is_summed_up_from_those_that_had_come(yard: Yard) -> None:
    yard.probe("north")
    hour_ms = T0_MS // MS_PER_HOUR * MS_PER_HOUR
    yard.hear((hour_ms, 10.0), (hour_ms + 30 * MS_PER_MINUTE, 20.0))
    yard.now_ms = at_ms = T0_MS + MS_PER_DAY
    yard.now_ms += 1
    yard.hear((hour_ms + 31 * MS_PER_MINUTE, 90.0), (hour_ms + 20 * MS_PER_MINUTE, 60.0))
    with AsKnown(yard.store, at_ms).reading() as connection:
        for span_ms, means in ((10 * MS_PER_MINUTE, [10.0, 20.0]), (MS_PER_HOUR, [15.0]), (MS_PER_DAY, [15.0])):
            found = readings.buckets(connection, 1, span_ms, 0, 2 * T0_MS)
            assert found.mean.tolist() == means and found.high.max() == 20.0
    with yard.store.reading() as connection:
        assert readings.buckets(connection, 1, MS_PER_HOUR, 0, 2 * T0_MS).mean.tolist() == [45.0]


def test_a_clock_that_was_set_back_leaves_a_whole_beginning_of_what_arrived(yard: Yard) -> None:
    yard.probe("north")
    for now_ms, value in ((T0_MS, 1.0), (T0_MS + 900, 2.0), (T0_MS + 300, 3.0), (T0_MS + 1000, 4.0)):
        yard.now_ms = now_ms
        yard.hear((T0_MS + int(value), value))
    with AsKnown(yard.store, T0_MS + 500).reading() as connection:
        found = [one.value for one in readings.raw(connection, 1, 0, 2 * T0_MS)]
    assert found in ([1.0], [1.0, 2.0, 3.0])


# --- single readings that were cleared away since --------------------------------------------------


def test_where_readings_were_cleared_their_summaries_stay_and_stand_in_for_them(yard: Yard) -> None:
    yard.probe("north")
    for day in range(40):
        yard.now_ms = T0_MS + day * MS_PER_DAY
        yard.hear(*((yard.now_ms - i * 7 * MS_PER_MINUTE, 20.0 + i % 5) for i in range(180)))
    at_ms = T0_MS + 20 * MS_PER_DAY + 60_001
    kept = keeping.backup(yard.store, yard.folder / "whole.sqlite3", yard.now_ms).path
    retention.trim(yard.store, yard.now_ms, 3, pause_s=0.0)
    whole, cleared = Store(kept), AsKnown(yard.store, at_ms)
    until_ms = at_ms // (10 * MS_PER_MINUTE) * 10 * MS_PER_MINUTE  # whole ten minutes are all that is left
    with AsKnown(whole, at_ms).reading() as wanted, cleared.reading() as found:
        for span_ms in (10 * MS_PER_MINUTE, MS_PER_HOUR):
            one, other = (readings.buckets(each, 1, span_ms, 0, until_ms - MS_PER_HOUR) for each in (found, wanted))
            assert len(one.n) > 100
            assert (one.n == other.n).all() and one.mean == pytest.approx(other.mean, rel=1e-12)
        last, was = (readings.latest(each, 1, r.Quality.GOOD) for each in (found, wanted))
        assert last is not None and was is not None
        assert 0 <= was.at_ms - last.at_ms <= 15 * MS_PER_MINUTE and 20.0 <= last.value <= 24.0
        assert last.at_ms < at_ms
        fine = readings.buckets(found, 1, 10 * MS_PER_MINUTE, 0, 2 * T0_MS)
        assert fine.bucket_ms.max() < until_ms  # what was known of the ten minutes that were not over is gone
    whole.close()


def test_a_summary_that_holds_more_than_the_readings_that_are_left_is_kept_as_it_is(yard: Yard) -> None:
    yard.probe("north")
    yard.hear((T0_MS, 20.0), (T0_MS + 1, 22.0))
    yard.now_ms = T0_MS + 30 * MS_PER_DAY
    yard.hear((yard.now_ms, 20.0))
    retention.trim(yard.store, yard.now_ms, 3, pause_s=0.0)
    at_ms = yard.now_ms + 1
    yard.now_ms += 10
    yard.hear((T0_MS + 2, 60.0))  # after its neighbours had been cleared away: what they were cannot be told any more
    with AsKnown(yard.store, at_ms).reading() as then:
        assert [one.at_ms for one in readings.raw(then, 1, 0, T0_MS + MS_PER_DAY)] == []
        for span_ms in readings.TIERS:
            found = readings.buckets(then, 1, span_ms, 0, T0_MS + MS_PER_DAY)
            assert found.n.tolist() == [3] and found.mean.tolist() == [34.0]


# --- it is only looked at --------------------------------------------------------------------------


def test_nothing_can_be_written_and_nothing_is(yard: Yard) -> None:
    yard.probe("north")
    yard.hear((yard.now_ms, 20.0))
    before = read(yard.store)
    then = AsKnown(yard.store, yard.now_ms - 1)
    with pytest.raises(Refused, match="nothing can be entered"), then.writing():
        pass
    with pytest.raises(Refused, match="nothing can be entered"):
        then.create_or_upgrade()
    with then.reading() as connection, pytest.raises(exc.OperationalError, match="cannot modify"):
        connection.execute(text("DELETE FROM reading"))
    with then.reading() as connection, pytest.raises(exc.OperationalError, match="readonly"):
        connection.execute(text("DELETE FROM main.reading"))
    assert read(yard.store) == before
    then.close()


def test_no_view_ever_meets_another_reader_of_the_store(yard: Yard) -> None:
    yard.probe("north")
    yard.hear((yard.now_ms, 20.0))
    then = AsKnown(yard.store, yard.now_ms - 1)
    for _ in range(3):
        with then.held() as held, held.reading() as past, yard.store.reading() as present:
            assert readings.all_series(past) == [] and len(readings.all_series(present)) == 1
        with then._reader.connect() as pooled:  # where a connection would come back to
            assert pooled.execute(text("SELECT count(*) FROM sqlite_temp_master")).scalar_one() == 0
    assert len(read(yard.store)["reading"]) == 1


def test_what_is_held_is_one_moment_of_the_store_whatever_is_written_meanwhile(yard: Yard) -> None:
    yard.probe("north")
    later_ms = yard.now_ms + MS_PER_DAY
    with AsKnown(yard.store, later_ms).held() as then:
        before = read(then)
        yard.hear((yard.now_ms, 20.0))
        assert read(then) == before
    assert len(read(AsKnown(yard.store, later_ms))["reading"]) == 1


# --- in hindsight ----------------------------------------------------------------------------------


def test_in_hindsight_it_is_the_time_of_the_reading_and_of_the_entry_that_counts(yard: Yard) -> None:
    board, place = yard.subject(r.SubjectKind.BOARD, "B-1"), yard.subject(r.SubjectKind.PLACE, "shed")
    wrong = weigh(yard, board, 9.9, true_at_ms=T0_MS - 3 * MS_PER_DAY)
    gone = weigh(yard, board, 8.8, true_at_ms=T0_MS - 3 * MS_PER_DAY)
    moved = weigh(yard, board, 7.7, true_at_ms=T0_MS - 3 * MS_PER_DAY)
    weigh(yard, board, 5.0, true_at_ms=T0_MS - 3 * MS_PER_DAY, supersedes=wrong)
    yard.undo(r.WeighIn, gone)
    weigh(yard, board, 7.7, true_at_ms=T0_MS - MS_PER_DAY, supersedes=moved)  # its day was mistyped
    yard.enter(r.PlannedMove, board, T0_MS - 2 * MS_PER_DAY - MS_PER_HOUR, place_id=place)
    yard.probe("north")
    yard.hear(*((T0_MS - i * MS_PER_HOUR, float(i)) for i in range(96)))  # a log that is read in now
    at_ms = T0_MS - 2 * MS_PER_DAY
    known, told = AsKnown(yard.store, at_ms), AsKnown(yard.store, at_ms, hindsight=True)
    assert read(known)["reading"] == [] and standing(known, r.WeighIn) == []
    assert [one.mass_kg for one in standing(told, r.WeighIn)] == [5.0]
    assert standing(told, r.PlannedMove) == []
    with told.reading() as connection:
        last = readings.latest(connection, 1)
        assert last is not None and last.at_ms == at_ms
        hours = readings.buckets(connection, 1, MS_PER_HOUR, 0, 2 * T0_MS)
        assert hours.bucket_ms.max() == at_ms // MS_PER_HOUR * MS_PER_HOUR
        days = readings.buckets(connection, 1, MS_PER_DAY, 0, 2 * T0_MS)
        assert int(days.n.sum()) == int(hours.n.sum()) == 48


def test_in_hindsight_a_place_is_described_before_its_first_entry_and_closed_only_after_it_was(yard: Yard) -> None:
    place = yard.subject(r.SubjectKind.PLACE, "shed")
    described = {"kind": "shed", "altitude_m": 0.0, "air_speed_m_s": None, "in_sun": False}
    named = yard.enter(r.PlaceFact, place, T0_MS, name="shed", closed=False, **described)
    yard.enter(r.PlaceFact, place, T0_MS, name="Long shed", closed=False, supersedes=named, **described)
    yard.enter(r.PlaceFact, place, T0_MS + MS_PER_DAY, name="Long shed", closed=True, **described)
    shown = []
    for at_ms in (T0_MS - MS_PER_DAY, T0_MS, T0_MS + 2 * MS_PER_DAY):
        (*_, last) = standing(AsKnown(yard.store, at_ms, hindsight=True), r.PlaceFact)
        shown.append((last.name, last.closed))
    assert shown == [("Long shed", False), ("Long shed", False), ("Long shed", True)]


# --- whatever arrives, and whenever ----------------------------------------------------------------

arrivals = st.lists(
    st.tuples(
        st.integers(0, 3 * 24 * 60).map(lambda minutes: T0_MS + minutes * MS_PER_MINUTE),
        st.sampled_from([19.5, 20.25, 21.75]),
        st.sampled_from([r.Quality.GOOD, r.Quality.STUCK]),
    ),
    min_size=1,
    max_size=12,
)


@settings(max_examples=25, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(batches=st.lists(arrivals, min_size=2, max_size=5), cut=st.integers(0, 3 * 24 * 60), data=st.data())
def test_summaries_of_any_moment_are_the_sums_over_what_had_arrived(
    tmp_path_factory: pytest.TempPathFactory, empty: Path, batches: list[Any], cut: int, data: st.DataObject
) -> None:
    yard = Yard(tmp_path_factory.mktemp("any"), empty)
    yard.probe("north")
    known = data.draw(st.integers(0, len(batches) - 1))
    at_ms = T0_MS + cut * MS_PER_MINUTE
    for number, batch in enumerate(batches):
        yard.now_ms = at_ms - len(batches) + number if number < known else at_ms + 1 + number
        with yard.store.writing() as connection:
            one = readings.series_of(connection, 1, r.Quantity.RH_PCT)
            told = [r.NewReading(one, at, value, quality, r.TimeSource.PAYLOAD) for at, value, quality in batch]
            readings.append(connection, told, yard.now_ms)
    with AsKnown(yard.store, at_ms).reading() as connection:
        rows = readings.raw(connection, 1, 0, 2 * T0_MS)
        assert {row.at_ms for row in rows} == {at for batch in batches[:known] for at, _, _ in batch}
        for span_ms in readings.TIERS:
            found = readings.buckets(connection, 1, span_ms, 0, 2 * T0_MS)
            good: dict[int, list[float]] = {}
            for row in rows:
                good.setdefault(row.at_ms // span_ms * span_ms, []).extend([row.value] * (row.quality == 0))
            assert found.bucket_ms.tolist() == sorted(good)
            assert found.n.tolist() == [len(good[start]) for start in sorted(good)]
            sums = [math.fsum(good[start]) / len(good[start]) if good[start] else math.nan for start in sorted(good)]
            assert found.mean.tolist() == pytest.approx(sums, nan_ok=True)
    yard.store.close()
