"""`backup`, `restore`, `check-store`, `compact` and `doctor`, as a user types them."""

from __future__ import annotations

import contextlib
import io
import json
import sqlite3
import subprocess
import sys
from contextlib import closing
from pathlib import Path

import pytest
import typer

from dashboards.terminal import home, keeping
from shared.errors import BenchdryError
from shared.store import Store, facts, readings
from shared.store.records import NewReading, Quality, Quantity, SubjectKind, TimeSource
from shared.units import MS_PER_DAY, MS_PER_MINUTE

PROJECT = Path(__file__).resolve().parent.parent.parent
DAYS = 12

app = typer.Typer(pretty_exceptions_enable=False)
for name in ("backup", "restore", "check_store", "compact", "doctor"):
    app.command(name.replace("_", "-"))(getattr(keeping, name))


def benchdry(*words: str | Path, folder: Path, code: int = 0) -> str:
    """Run one command and return what it said; ``code`` is the exit it must have."""
    said, left = io.StringIO(), 0
    with contextlib.redirect_stdout(said), contextlib.redirect_stderr(said):
        try:
            app([*map(str, words), "--folder", str(folder)])
        except SystemExit as ended:
            left = int(ended.code or 0)
        except BenchdryError as error:  # as dashboards.terminal.main tells it
            said.write(f"{error}\n")
            left = 2
    assert left == code, said.getvalue()
    return said.getvalue()


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """A yard with a probe that has logged each ten minutes for twelve days, and its settings."""
    made = home.make(tmp_path / "yard")
    store, now_ms = Store(made.store_path), home.now_ms()
    with store.writing() as connection:
        probe = facts.add_subject(connection, SubjectKind.PROBE, "north")
        series = readings.series_of(connection, probe.id, Quantity.TEMPERATURE_C)
        times = range(now_ms - DAYS * MS_PER_DAY, now_ms, 10 * MS_PER_MINUTE)
        rows = [NewReading(series, at, 18.5, Quality.GOOD, TimeSource.PAYLOAD) for at in times]
        readings.append(connection, rows, now_ms)
    store.close()
    return made.folder


def count(path: Path) -> int:
    with closing(sqlite3.connect(path)) as raw:
        return int(raw.execute("SELECT count(*) FROM reading").fetchone()[0])


def test_a_backup_and_what_is_restored_from_it_say_what_they_hold(folder: Path, tmp_path: Path) -> None:
    said = benchdry("backup", tmp_path / "saved.sqlite3", folder=folder)
    assert "1,728 readings and 0 entries; opened, examined and found whole." in said
    said = benchdry("restore", tmp_path / "saved.sqlite3", "--to", tmp_path / "again.sqlite3", folder=folder)
    assert "1,728 readings" in said and count(tmp_path / "again.sqlite3") == 1728


def test_a_restore_into_a_yard_whose_store_was_moved_away_goes_on_there(folder: Path, tmp_path: Path) -> None:
    benchdry("backup", tmp_path / "saved.sqlite3", folder=folder)
    for path in folder.glob("benchdry.sqlite3*"):
        path.rename(tmp_path / f"old-{path.name}")
    assert "`benchdry run`" in benchdry("restore", tmp_path / "saved.sqlite3", folder=folder)
    assert count(folder / "benchdry.sqlite3") == 1728
    assert "is whole: 1,728 readings" in benchdry("check-store", folder=folder)


def test_a_restore_over_the_yard_s_store_is_refused_politely(folder: Path, tmp_path: Path) -> None:
    benchdry("backup", tmp_path / "saved.sqlite3", folder=folder)
    said = benchdry("restore", tmp_path / "saved.sqlite3", folder=folder, code=2)
    assert "already there and nothing is written over it; end what uses it and move it away" in said
    assert count(folder / "benchdry.sqlite3") == 1728


@contextlib.contextmanager
def recorder_at_work(folder: Path):
    """Another process holds the recorder's lock, as `benchdry record` does."""
    program = (
        "import sys; from pathlib import Path; from dashboards.terminal.services import _only_one\n"
        "with _only_one(Path(sys.argv[1])): print('held', flush=True); sys.stdin.read()"
    )
    command = [sys.executable, "-c", program, str(folder / "benchdry.recorder-lock")]
    with subprocess.Popen(command, cwd=PROJECT, stdin=subprocess.PIPE, stdout=subprocess.PIPE) as process:
        assert process.stdout is not None and process.stdin is not None
        assert process.stdout.readline() == b"held\n"
        yield
        process.stdin.close()


def test_while_a_recorder_is_at_work_a_backup_is_taken_and_nothing_is_restored_beside_it(
    folder: Path, tmp_path: Path
) -> None:
    with recorder_at_work(folder):
        benchdry("backup", tmp_path / "saved.sqlite3", folder=folder)
        (folder / "benchdry.sqlite3").rename(tmp_path / "moved.sqlite3")  # while it is still written to
        said = benchdry("restore", tmp_path / "saved.sqlite3", folder=folder, code=2)
    assert "A recorder is writing to" in said and "the broker holds what comes meanwhile" in said
    assert not (folder / "benchdry.sqlite3").exists()


def test_a_store_that_is_not_whole_is_told_fault_by_fault(folder: Path) -> None:
    with closing(sqlite3.connect(folder / "benchdry.sqlite3")) as raw, raw:
        raw.execute("UPDATE tier_hour SET n = n + 1")
    said = benchdry("check-store", folder=folder, code=2)
    assert "summaries in tier_hour do not agree" in said and "`benchdry restore`" in said


@pytest.mark.parametrize("words", [("check-store",), ("compact",), ("backup", "saved")])
def test_a_yard_without_a_store_is_told_how_to_get_one(words: tuple[str, ...], tmp_path: Path) -> None:
    assert "`benchdry init` makes one" in benchdry(*words, folder=tmp_path, code=2)


def test_compaction_deletes_nothing_unless_the_settings_say_so(folder: Path) -> None:
    said = benchdry("compact", folder=folder)
    assert "keep_raw_days is 0, which keeps them for ever" in said and "The store had" in said
    assert count(folder / "benchdry.sqlite3") == 1728


def test_compaction_deletes_what_the_settings_say_once_it_is_agreed(
    folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("BENCHDRY_KEEP_RAW_DAYS", "3")
    monkeypatch.setattr(sys, "stdin", io.StringIO())
    assert "give --yes" in benchdry("compact", folder=folder, code=2)
    assert count(folder / "benchdry.sqlite3") == 1728
    said = benchdry("compact", "--yes", folder=folder)
    left = count(folder / "benchdry.sqlite3")
    assert f"{1728 - left:,} single readings older than 3 days were deleted; their summaries stay." in said
    assert 3 * 144 <= left <= 4 * 144
    assert "is whole" in benchdry("check-store", folder=folder)


def test_the_first_compaction_waits_for_no_recorder_and_a_later_one_need_not(folder: Path) -> None:
    with recorder_at_work(folder):
        assert "A recorder is writing to" in benchdry("compact", folder=folder, code=2)
    benchdry("compact", folder=folder)
    with recorder_at_work(folder):
        assert "The store had" in benchdry("compact", folder=folder)


def test_the_doctor_says_what_is_wrong_with_its_remedy_and_ends_with_1(
    folder: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    from sensors.broker import free_port

    monkeypatch.setenv("BENCHDRY_BROKER_PORT", str(free_port()))
    monkeypatch.setenv("COLUMNS", "400")
    said = benchdry("doctor", folder=folder, code=1)
    assert "There is no broker at 127.0.0.1:" in said and "→ start the broker" in said
    assert "→ name the broker's configuration with --broker-config" in said
    config = tmp_path / "mosquitto.conf"
    config.write_text("listener 1883\n", encoding="utf-8")
    told = json.loads(benchdry("doctor", "--json", "--broker-config", config, folder=folder, code=1))
    assert {"level", "sentence", "remedy"} == told[0].keys()
    (queue,) = [one for one in told if "max_queued_messages 1,000, mosquitto's default" in one["sentence"]]
    assert queue["level"] == "care" and "at least 7 days" in queue["sentence"]  # 1,000 of 144 readings a day


def test_the_doctor_looks_at_a_yard_without_a_store_too(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    from sensors.broker import free_port

    monkeypatch.setenv("BENCHDRY_BROKER_PORT", str(free_port()))
    assert "There is no store at" in benchdry("doctor", folder=tmp_path, code=1)
    assert list(tmp_path.iterdir()) == []
