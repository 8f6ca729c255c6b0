"""Opening the store: schema and migrations agree, commits are durable, readers cannot write."""

from __future__ import annotations

import re
import sqlite3
import threading
from pathlib import Path
from typing import Any

import pytest
from alembic import command
from alembic.autogenerate import compare_metadata
from alembic.migration import MigrationContext
from sqlalchemy import Connection, create_engine, exc, inspect, text

from shared.errors import Refused
from shared.store import Store, engine, facts, readings
from shared.store.records import (
    Acknowledged,
    Fact,
    FinishFact,
    FinishRoom,
    PinReading,
    PlaceFact,
    PlaceKind,
    ProbePosition,
    Quantity,
    Sprayed,
    StackFact,
    SubjectKind,
    SurfaceReading,
)
from shared.store.schema import metadata


def tables_of(connection: Connection) -> dict[str, str]:
    """Return each table as its own CREATE statement says it, columns and constraints in any order."""
    found = connection.execute(text("SELECT name, sql FROM sqlite_master WHERE sql NOT NULL"))
    normal = {}
    for name, sql in found:
        if name != "alembic_version":
            head, _, body = re.sub(r"\s+", " ", sql.replace('"', "")).partition("(")
            parts = re.split(r",(?![^()]*\))|\s*\)\s*(?=WITHOUT|$)", body)
            normal[name] = f"{head} {sorted(part.strip() for part in parts)}"
    return normal


def test_the_migrations_make_the_tables_that_the_queries_expect(store: Store) -> None:
    with store.reading() as connection:
        assert compare_metadata(MigrationContext.configure(connection), metadata) == []


def test_the_migrated_tables_are_word_for_word_those_of_the_schema(store: Store) -> None:
    # Autogeneration compares no check constraints and no WITHOUT ROWID: the statements themselves do.
    fresh = create_engine("sqlite://")
    metadata.create_all(fresh)
    with fresh.connect() as wanted, store.reading() as migrated:
        assert tables_of(migrated) == tables_of(wanted)


def test_readings_and_summaries_have_no_row_id(store: Store) -> None:
    with store.reading() as connection:
        for name in ("reading", "conflict", "tier_10min", "tier_hour", "tier_day"):
            with pytest.raises(exc.OperationalError, match="no such column"):
                connection.execute(text(f"SELECT rowid FROM {name}"))


def test_a_store_opened_again_is_left_as_it_was(store: Store) -> None:
    with store.writing() as connection:
        facts.add_subject(connection, SubjectKind.PLACE, "loft")
    again = Store(store.path)
    again.create_or_upgrade()
    with again.reading() as connection:
        assert [one.code for one in facts.subjects(connection, SubjectKind.PLACE)] == ["loft"]
    again.close()


def test_a_store_of_a_newer_program_is_refused_and_not_touched(store: Store) -> None:
    with store.writing() as connection:
        connection.execute(text("UPDATE alembic_version SET version_num = '9999'"))
    with pytest.raises(Refused, match=r"newer Benchdry \(schema 9999\); update the program"):
        Store(store.path).create_or_upgrade()
    with store.reading() as connection:
        assert connection.execute(text("SELECT version_num FROM alembic_version")).scalar() == "9999"


def test_a_file_that_is_no_store_is_refused_in_a_sentence_and_kept(tmp_path: Path) -> None:
    path = tmp_path / "notes.txt"
    path.write_text("Measure twice, cut once. " * 100, encoding="utf-8")
    with pytest.raises(Refused, match="cannot be opened for writing: file is not a database"):
        Store(path).create_or_upgrade()
    assert path.read_text(encoding="utf-8").startswith("Measure twice")


def test_a_store_below_a_file_is_refused_in_a_sentence(tmp_path: Path) -> None:
    (tmp_path / "plain").write_text("", encoding="utf-8")
    with pytest.raises(Refused, match="cannot be opened for writing"):
        Store(tmp_path / "plain" / "store.sqlite3").create_or_upgrade()


def test_a_store_that_is_not_there_is_asked_for_by_name(tmp_path: Path) -> None:
    with pytest.raises(Refused, match="benchdry init"):
        Store(tmp_path / "absent.sqlite3").require()


@pytest.mark.parametrize("name", ["a b.sqlite3", "half?full.sqlite3", "50%.sqlite3", "#1.sqlite3", "œuvre.sqlite3"])
def test_any_file_name_will_do(tmp_path: Path, name: str) -> None:
    made = Store(tmp_path / name)
    made.create_or_upgrade()
    with made.writing() as connection:
        facts.add_subject(connection, SubjectKind.PLACE, "loft")
    with made.reading() as connection:
        assert len(facts.subjects(connection, SubjectKind.PLACE)) == 1
    made.close()
    assert (tmp_path / name).exists()


def test_a_commit_that_returned_is_on_the_disk(store: Store) -> None:
    with store.writing() as connection:
        assert connection.execute(text("PRAGMA journal_mode")).scalar() == "wal"
        assert connection.execute(text("PRAGMA synchronous")).scalar() == 2  # FULL
        assert connection.execute(text("PRAGMA foreign_keys")).scalar() == 1


def test_a_reader_cannot_write(store: Store) -> None:
    with pytest.raises(exc.OperationalError, match="readonly"), store.reading() as connection:
        connection.execute(text("INSERT INTO batch (arrived_ms) VALUES (1)"))


def test_a_reader_opens_a_store_that_nobody_else_has_open(store: Store) -> None:
    store.close()
    with Store(store.path).reading() as connection:
        assert inspect(connection).has_table("reading")


def test_a_reader_sees_one_moment_while_a_writer_goes_on(store: Store) -> None:
    with store.reading() as reader:
        before = facts.subjects(reader, SubjectKind.PLACE)
        with store.writing() as writer:
            facts.add_subject(writer, SubjectKind.PLACE, "loft")
        assert facts.subjects(reader, SubjectKind.PLACE) == before
    with store.reading() as reader:
        assert len(facts.subjects(reader, SubjectKind.PLACE)) == 1


def test_a_transaction_that_fails_leaves_nothing(store: Store) -> None:
    class SlippedError(Exception):
        pass

    with pytest.raises(SlippedError), store.writing() as connection:
        facts.add_subject(connection, SubjectKind.PLACE, "loft")
        raise SlippedError
    with store.reading() as connection:
        assert facts.subjects(connection, SubjectKind.PLACE) == []


def test_two_writers_wait_for_each_other_and_both_are_kept(store: Store) -> None:
    inside, order, failures = threading.Event(), [], []

    def second() -> None:
        inside.wait(30)
        try:
            with store.writing() as connection:  # the first still holds the store: this must wait, not fail
                order.append("second begins")
                count = len(facts.subjects(connection, SubjectKind.PLACE))
                facts.add_subject(connection, SubjectKind.PLACE, f"shed {count}")
        except exc.SQLAlchemyError as error:
            failures.append(error)

    thread = threading.Thread(target=second)
    thread.start()
    with store.writing() as connection:
        # Read first, write later: a deferred transaction would be told "locked" here.
        assert facts.subjects(connection, SubjectKind.PLACE) == []
        inside.set()
        thread.join(0.3)
        facts.add_subject(connection, SubjectKind.PLACE, "loft")
        order.append("first ends")
    thread.join(30)
    assert not failures
    assert order == ["first ends", "second begins"]
    with store.reading() as connection:
        assert [one.code for one in facts.subjects(connection, SubjectKind.PLACE)] == ["loft", "shed 1"]


def test_a_writer_gives_up_on_a_store_that_stays_locked(store: Store, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(engine, "BUSY_TIMEOUT_MS", 50)
    holder = sqlite3.connect(store.path, isolation_level=None)
    holder.execute("BEGIN IMMEDIATE")
    impatient = Store(store.path)
    with pytest.raises(exc.OperationalError, match="locked"), impatient.writing():
        pass
    holder.execute("ROLLBACK")
    with impatient.writing() as connection:
        readings.add_rejects(connection, [("t", b"x", "why")], 1)
    impatient.close()
    holder.close()


def test_a_series_of_an_unknown_probe_is_refused_by_the_store(store: Store) -> None:
    with pytest.raises(exc.IntegrityError), store.writing() as connection:
        readings.series_of(connection, 99, Quantity.RH_PCT)


def store_of_schema(path: Path, revision: str) -> Store:
    """Return a store as an earlier program left it."""
    store = Store(path)
    with store._writer.connect() as connection:
        config = engine._config()
        config.attributes["connection"] = connection
        command.upgrade(config, revision)
        connection.commit()
    return store


def test_places_of_an_earlier_schema_keep_every_entry_their_air_not_known_and_no_sun_on_them(tmp_path: Path) -> None:
    store = store_of_schema(tmp_path / "old.sqlite3", "0003")
    entry = "INSERT INTO place_fact VALUES ({}, 1, {}, {}, 'Ida', {}, {}, '{}', 'shed', 120.0, 0)"
    with store.writing() as connection:
        connection.execute(text("INSERT INTO subject VALUES (1, 'place', 'shed')"))
        for row in ((1, 100, 110, "NULL", 0, "shed"), (2, 100, 120, 1, 0, "Old shed"), (3, 300, 310, "NULL", 1, "x")):
            connection.execute(text(entry.format(*row)))
    store.create_or_upgrade()
    with store.reading() as connection:
        (kept,) = facts.standing(connection, PlaceFact)
        assert kept == PlaceFact(2, 1, 100, 120, "Ida", 1, False, "Old shed", PlaceKind.SHED, 120.0, False, None, False)
        assert kept.in_sun is False
        assert [facts.get(connection, PlaceFact, one).name for one in (1, 3)] == ["shed", "x"]
        assert connection.execute(text("PRAGMA foreign_key_check")).all() == []
    store.close()


def test_stacks_of_an_earlier_schema_keep_every_entry_nobody_having_said_how_many_boards_they_hold(
    tmp_path: Path,
) -> None:
    store = store_of_schema(tmp_path / "old.sqlite3", "0004")
    with store.writing() as connection:
        connection.execute(text("INSERT INTO subject VALUES (1, 'stack', 'K7')"))
        connection.execute(text("INSERT INTO stack_fact VALUES (1, 1, 100, 110, 'Ida', NULL, 0, 'K7', 'oak')"))
    store.create_or_upgrade()
    with store.reading() as connection:
        assert facts.standing(connection, StackFact) == [
            StackFact(1, 1, 100, 110, "Ida", None, False, "K7", "oak", boards_in_all=None)
        ]
    store.close()


def test_a_store_of_the_first_schema_is_brought_up_with_every_pin_reading_and_its_correction(tmp_path: Path) -> None:
    store = store_of_schema(tmp_path / "old.sqlite3", "0001")
    entry = "INSERT INTO pin_reading VALUES ({}, 1, {}, {}, 'Ida', {}, 0, {}, 0.007)"
    with store.writing() as connection:
        connection.execute(text("INSERT INTO subject VALUES (1, 'board', 'B1')"))
        for row in ((1, 100, 110, "NULL", 14.0), (2, 100, 120, 1, 15.0), (3, 200, 210, "NULL", 12.5)):
            connection.execute(text(entry.format(*row)))
    store.create_or_upgrade()
    with store.reading() as connection:
        kept = facts.standing(connection, PinReading)
        assert [(pin.mc_pct, pin.wood_temperature_c, pin.meter_id) for pin in kept] == [
            (15.0, None, None),
            (12.5, None, None),
        ]
        assert facts.get(connection, PinReading, 1).mc_pct == 14.0
        assert connection.execute(text("PRAGMA foreign_key_check")).all() == []
        assert connection.execute(text("PRAGMA foreign_keys")).scalar() == 1
    with store.writing() as connection:
        assert connection.execute(text("PRAGMA foreign_keys")).scalar() == 1
    store.close()


def test_finish_rooms_of_an_earlier_schema_keep_every_entry_and_nobody_has_acknowledged_them(tmp_path: Path) -> None:
    store = store_of_schema(tmp_path / "old.sqlite3", "0007")
    said = "{}, {}, 100, 110, 'Ida', NULL, 0"
    with store.writing() as connection:
        connection.execute(text("INSERT INTO subject VALUES (1, 'place', 'spray'), (2, 'probe', 'door')"))
        place = f"INSERT INTO place_fact VALUES ({said.format(5, 1)}, 'Spray', 'finish room', 120.0, 0, NULL, 0)"
        probe = f"INSERT INTO probe_fact VALUES ({said.format(6, 2)}, 'door', 'workshop/door')"
        position = f"INSERT INTO probe_position VALUES ({said.format(7, 2)}, 1)"
        for row in (place, probe, position):
            connection.execute(text(row))
    store.create_or_upgrade()
    with store.reading() as connection:
        (room,) = facts.standing(connection, PlaceFact)
        assert (room.id, room.kind, room.name) == (5, PlaceKind.FINISH_ROOM, "Spray")
        assert [one.id for one in facts.standing(connection, ProbePosition)] == [7]
        for record in (Acknowledged, FinishFact, FinishRoom, Sprayed, SurfaceReading):
            assert facts.standing(connection, record) == []
    store.close()


NOT_SAID = (
    *("density_kg_m3", "flash_point_c", "isocyanate", "formaldehyde", "self_heating", "dry_after_s", "dew_gap_c"),
    *("rh_max_pct", "surface_min_c"),
)
TEXTS = {"name": "x", "basis": "by mass", "ingredients": "", "sheet": "", "note": ""}
FINISH = TEXTS | {"closed": False} | dict.fromkeys(NOT_SAID)
ROOM = {"volume_m3": 30.0, "extraction_m3_s": None, "extraction_known": "", "mixing_factor": 10.0}
SPRAYED = {"finish_id": 1, "liquid_m3": 0.001, "duration_s": 60.0, "extraction_on": True}
SURFACE = {"surface_c": -3.0, "air_c": None, "rh_pct": None, "what": "top"}


@pytest.mark.parametrize(
    ("record", "values", "wrong"),
    [
        (FinishFact, FINISH, {"density_kg_m3": 0.0}),
        (FinishFact, FINISH, {"dry_after_s": -1.0}),
        (FinishFact, FINISH, {"dew_gap_c": -1.0}),
        (FinishFact, FINISH, {"closed": None}),
        (FinishRoom, ROOM, {"volume_m3": 0.0}),
        (FinishRoom, ROOM, {"extraction_m3_s": -0.1}),
        (FinishRoom, ROOM, {"mixing_factor": None}),
        (Sprayed, SPRAYED, {"finish_id": 77}),
        (Sprayed, SPRAYED, {"liquid_m3": 0.0}),
        (Sprayed, SPRAYED, {"duration_s": 0.0}),
        (SurfaceReading, SURFACE, {"rh_pct": -1.0}),
        (SurfaceReading, SURFACE, {"surface_c": None}),
    ],
)
def test_what_a_finish_room_holds_comes_back_and_what_cannot_be_is_refused_by_the_store_itself(
    store: Store, record: type[Fact], values: dict[str, Any], wrong: dict[str, Any]
) -> None:
    said = {"true_at_ms": 1, "entered_at_ms": 2, "by": "Ida"}
    with store.writing() as connection:
        about = facts.add_subject(connection, SubjectKind.FINISH, "lacquer")
        made = facts.add(connection, record, about.id, **said, **values)
        assert facts.own_values(facts.get(connection, record, made)) == values
    with pytest.raises(exc.IntegrityError), store.writing() as connection:
        facts.add(connection, record, about.id, **said, **(values | wrong))
