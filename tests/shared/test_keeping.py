"""Backup, restore, check, retention, compaction: what is kept is proved equal to what was there."""

from __future__ import annotations

import re
import shutil
import sqlite3
from collections import namedtuple
from contextlib import closing
from pathlib import Path

import pytest
from sqlalchemy import text

from shared.errors import Refused
from shared.store import Store, compaction, facts, keeping, readings, retention
from shared.store.records import NewReading, Quality, Quantity, SubjectKind, TimeSource
from shared.units import MS_PER_DAY, MS_PER_HOUR, MS_PER_MINUTE

NOW_MS = 20_780 * MS_PER_DAY + 14 * MS_PER_HOUR + 7
ALL_TIME = (-(2**62), 2**62)


def one(at_ms: int, value: float, quality: Quality = Quality.GOOD, series_id: int = 1) -> NewReading:
    return NewReading(series_id, at_ms, value, quality, TimeSource.PAYLOAD)


def fill(store: Store, rows: list[NewReading]) -> None:
    with store.writing() as connection:
        readings.append(connection, rows, NOW_MS)


def raw_rows(store: Store, series_id: int = 1) -> list[tuple[int, float]]:
    with store.reading() as connection:
        return [(row.at_ms, row.value) for row in readings.raw(connection, series_id, *ALL_TIME, limit=10**6)]


def summaries(store: Store) -> dict[str, list[tuple[object, ...]]]:
    with store.reading() as connection:
        return {
            tier.name: [tuple(row) for row in connection.execute(text(f"SELECT * FROM {tier.name} ORDER BY 1, 2"))]
            for tier in readings.TIERS.values()
        }


def steady(days: int, step_ms: int = 10 * MS_PER_MINUTE, until_ms: int = NOW_MS) -> list[NewReading]:
    """Invented readings up to now: a temperature that goes up and down."""
    return [one(at, 10.0 + at // step_ms % 17 / 3) for at in range(until_ms - days * MS_PER_DAY, until_ms, step_ms)]


def break_with(store: Store, statement: str) -> None:
    with closing(sqlite3.connect(store.path)) as raw:
        raw.execute(statement)
        raw.commit()


@pytest.fixture
def yard(store: Store) -> Store:
    """A store with one probe of two series."""
    with store.writing() as connection:
        probe = facts.add_subject(connection, SubjectKind.PROBE, "north")
        for quantity in (Quantity.TEMPERATURE_C, Quantity.RH_PCT):
            readings.series_of(connection, probe.id, quantity)
    return store


# --- backup and restore ----------------------------------------------------------------------------


def test_a_backup_is_one_moment_of_the_store_while_the_recorder_writes_on(
    yard: Store, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    fill(yard, steady(20))
    before, recorder = raw_rows(yard), Store(yard.path)
    monkeypatch.setattr(keeping, "PAGES_A_STEP", 4)
    told: list[tuple[int, int]] = []

    def write_on(done: int, total: int) -> None:
        told.append((done, total))
        fill(recorder, [one(NOW_MS + len(told), 20.0)])

    copied = keeping.backup(yard, tmp_path / "saved.sqlite3", NOW_MS, write_on)
    assert len(told) > 3 and told[-1][0] == told[-1][1]
    assert len(raw_rows(yard)) == len(before) + len(told)
    saved = Store(copied.path)
    assert raw_rows(saved) == before
    assert copied.contents.rows["reading"] == len(before)
    assert copied.contents.rows["subject"] == 1 and copied.contents.rows["series"] == 2
    for opened in (recorder, saved):
        opened.close()


def test_a_backup_into_a_folder_is_named_after_the_store_and_the_moment(yard: Store, tmp_path: Path) -> None:
    into = tmp_path / "saved"
    into.mkdir()
    copied = keeping.backup(yard, into, NOW_MS)
    assert copied.path.name == "store-2026-11-23-140000Z.sqlite3"
    assert [path.name for path in into.iterdir()] == [copied.path.name]  # nothing beside it
    assert copied.size_bytes == copied.path.stat().st_size


def test_a_restored_store_holds_what_was_saved_and_goes_on(yard: Store, tmp_path: Path) -> None:
    fill(yard, steady(3))
    saved = keeping.backup(yard, tmp_path / "saved.sqlite3", NOW_MS)
    fill(yard, [one(NOW_MS + 1, 30.0)])
    made = keeping.restore(saved.path, tmp_path / "new" / "store.sqlite3")
    assert made.contents == saved.contents
    again = Store(made.path)
    again.create_or_upgrade()
    fill(again, [one(NOW_MS, 15.0), steady(3)[0]])  # one new, one that a broker sends again
    assert raw_rows(again) == [*raw_rows(yard)[:-1], (NOW_MS, 15.0)]
    assert keeping.check(again).faults == ()
    again.close()


def test_a_restore_over_a_store_is_refused_and_leaves_it(yard: Store, tmp_path: Path) -> None:
    fill(yard, steady(1))
    saved = keeping.backup(yard, tmp_path / "saved.sqlite3", NOW_MS)
    fill(yard, [one(NOW_MS + 1, 30.0)])
    held = raw_rows(yard)
    with pytest.raises(Refused, match=r"store\.sqlite3 is already there and nothing is written over it; end what uses"):
        keeping.restore(saved.path, yard.path)
    assert raw_rows(yard) == held


def test_a_restore_beside_another_store_s_log_is_refused(yard: Store, tmp_path: Path) -> None:
    # SQLite would play the log into the restored store.
    saved = keeping.backup(yard, tmp_path / "saved.sqlite3", NOW_MS)
    (tmp_path / "other.sqlite3-wal").write_bytes(b"pages of a store that was moved away")
    with pytest.raises(Refused, match=r"other\.sqlite3-wal is already there"):
        keeping.restore(saved.path, tmp_path / "other.sqlite3")
    assert not (tmp_path / "other.sqlite3").exists()


def test_a_backup_never_goes_over_a_file(yard: Store, tmp_path: Path) -> None:
    (tmp_path / "letter.txt").write_text("Dear Oxlip Weir", encoding="utf-8")
    with pytest.raises(Refused, match=r"letter\.txt is already there"):
        keeping.backup(yard, tmp_path / "letter.txt", NOW_MS)
    assert (tmp_path / "letter.txt").read_text(encoding="utf-8") == "Dear Oxlip Weir"


def test_a_backup_or_restore_that_is_not_there_is_asked_for(tmp_path: Path) -> None:
    with pytest.raises(Refused, match="There is no store at"):
        keeping.backup(Store(tmp_path / "none.sqlite3"), tmp_path / "saved.sqlite3", NOW_MS)
    with pytest.raises(Refused, match="There is no backup at"):
        keeping.restore(tmp_path / "none.sqlite3", tmp_path / "new.sqlite3")
    assert list(tmp_path.iterdir()) == []


def test_a_store_of_a_newer_program_is_neither_saved_nor_restored_nor_checked(yard: Store, tmp_path: Path) -> None:
    saved = keeping.backup(yard, tmp_path / "saved.sqlite3", NOW_MS)
    for path in (yard.path, saved.path):
        break_with(Store(path), "UPDATE alembic_version SET version_num = '9999'")
    newer = r"newer Benchdry \(schema 9999\); update the program"
    with pytest.raises(Refused, match=newer):
        keeping.backup(yard, tmp_path / "again.sqlite3", NOW_MS)
    with pytest.raises(Refused, match=newer):
        keeping.restore(saved.path, tmp_path / "again.sqlite3")
    with pytest.raises(Refused, match=newer):
        keeping.check(yard)
    with pytest.raises(Refused, match=newer):
        compaction.compact(yard)
    assert not (tmp_path / "again.sqlite3").exists()


@pytest.mark.parametrize("content", [b"Measure twice, cut once. " * 200, b""])
def test_a_file_that_is_no_store_is_refused_in_a_sentence(content: bytes, tmp_path: Path) -> None:
    (tmp_path / "notes").write_bytes(content)
    with pytest.raises(Refused, match="notes cannot be read as a store"):
        keeping.restore(tmp_path / "notes", tmp_path / "new.sqlite3")
    assert [path.name for path in tmp_path.iterdir()] == ["notes"]


def damage(path: Path) -> None:
    """Overwrite a page in the middle, as a failing card does."""
    with closing(sqlite3.connect(path)) as raw:
        raw.execute("PRAGMA wal_checkpoint(TRUNCATE)").fetchall()
        (root,) = raw.execute("SELECT rootpage FROM sqlite_master WHERE name = 'reading'").fetchone()
        (page,) = raw.execute("PRAGMA page_size").fetchone()
    with path.open("r+b") as file:
        file.seek((root - 1) * page + 40)
        file.write(b"\xa5" * (page - 100))


def test_a_damaged_backup_is_not_restored_and_nothing_of_it_is_left(yard: Store, tmp_path: Path) -> None:
    fill(yard, steady(30))
    saved = keeping.backup(yard, tmp_path / "saved.sqlite3", NOW_MS)
    damage(saved.path)
    with pytest.raises(Refused, match=r"new\.sqlite3|damaged"):
        keeping.restore(saved.path, tmp_path / "new.sqlite3")
    assert not [path for path in tmp_path.iterdir() if path.name.startswith("new")]


def test_a_reference_to_nothing_is_found_by_backup_and_check(yard: Store, tmp_path: Path) -> None:
    fill(yard, steady(1))
    break_with(yard, "INSERT INTO conflict VALUES (77, 5, 1.0, 1)")
    assert keeping.check(yard).faults == ("a row of conflict refers to a row of series that is not there",)
    with pytest.raises(Refused, match=r"refers to a row of series .*`benchdry check-store` tells"):
        keeping.backup(yard, tmp_path / "saved.sqlite3", NOW_MS)
    assert not [path for path in tmp_path.iterdir() if path.name.startswith("saved")]


def test_rows_that_went_missing_in_the_copy_are_found(
    yard: Store, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    fill(yard, steady(1))
    copy_pages = keeping._copy_pages

    def losing(source: Store, part: Path, progress: keeping.Progress | None) -> keeping.Contents:
        held = copy_pages(source, part, progress)
        break_with(Store(part), "DELETE FROM reading WHERE at_ms % 7 = 0")
        return held

    monkeypatch.setattr(keeping, "_copy_pages", losing)
    with pytest.raises(Refused, match=r"reading has \d+ rows where 144 were copied"):
        keeping.backup(yard, tmp_path / "saved.sqlite3", NOW_MS)
    assert not [path for path in tmp_path.iterdir() if path.name.startswith("saved")]


def nearly_full(monkeypatch: pytest.MonkeyPatch) -> None:
    usage = namedtuple("usage", "total used free")
    monkeypatch.setattr(shutil, "disk_usage", lambda _path: usage(10**12, 10**12 - 2_000_000, 2_000_000))


def test_without_room_a_backup_is_refused_before_it_begins(
    yard: Store, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    nearly_full(monkeypatch)
    with pytest.raises(Refused, match=r"There is no room in .*: the copy needs [\d.]+ MB and 2\.0 MB are free"):
        keeping.backup(yard, tmp_path / "saved.sqlite3", NOW_MS)
    assert not [path for path in tmp_path.iterdir() if path.name.startswith("saved")]


def test_what_a_backup_cut_short_has_left_does_not_stop_the_next(yard: Store, tmp_path: Path) -> None:
    (tmp_path / "saved.sqlite3.part").write_bytes(b"half")
    assert keeping.backup(yard, tmp_path / "saved.sqlite3", NOW_MS).path.exists()
    assert not (tmp_path / "saved.sqlite3.part").exists()


# --- the check -------------------------------------------------------------------------------------


def test_a_whole_store_has_no_faults(yard: Store) -> None:
    fill(yard, [*steady(5), one(NOW_MS - 5, 90.0, Quality.OUT_OF_RANGE), one(NOW_MS - 40 * MS_PER_DAY, -3.0)])
    checked = keeping.check(yard)
    assert checked.faults == () and checked.contents.rows["reading"] == 722


def test_damaged_pages_are_found(yard: Store) -> None:
    fill(yard, steady(30))
    yard.close()
    damage(yard.path)
    try:
        assert keeping.check(yard).faults
    except Refused as refused:  # SQLite itself could not read on
        assert "malformed" in str(refused)


@pytest.mark.parametrize(
    ("statement", "fault"),
    [
        ("UPDATE tier_10min SET total = total + 0.01 WHERE bucket_ms % 7 = 0", r"\d+ of .* tier_10min .* the readings"),
        ("DELETE FROM tier_10min", "720 of .* tier_10min .* the readings"),
        ("UPDATE tier_hour SET high = 99", "120 of .* tier_hour .* the finer summaries"),
        ("UPDATE tier_day SET n = n - 1", "6 of .* tier_day .* the finer summaries"),
        ("INSERT INTO tier_day VALUES (2, 0, 1, 1, 1, 1, 0)", "1 of .* tier_day .* the finer summaries"),
    ],
)
def test_summaries_that_say_other_than_they_should_are_found(yard: Store, statement: str, fault: str) -> None:
    fill(yard, steady(5))
    break_with(yard, statement)
    with yard.reading() as connection:
        told = retention.disagreements(connection)
    assert told == list(keeping.check(yard).faults)
    assert re.search(fault, "; ".join(told)), told
