"""`benchdry import`: shown before it is stored, asked where the file does not tell, refused where nobody can answer."""

import contextlib
import hashlib
import io
import sqlite3
from pathlib import Path

import pytest
import typer
from rich.console import Console
from typer.testing import CliRunner

from dashboards import entries
from dashboards.terminal import home, importing
from shared.errors import BenchdryError
from shared.store import Store, readings
from shared.store.records import Quantity

SAMPLES = Path(__file__).parent.parent / "sensors" / "log_file_samples"
BERLIN = ("--zone", "Europe/Berlin")


class Bench:
    """A yard's folder with a probe, and the command on it."""

    def __init__(self, folder):
        self.folder = folder
        self.app = typer.Typer()
        self.app.command("import")(importing.import_log)
        self.store_path = home.make(folder).store_path
        store = Store(self.store_path)
        with store.writing() as connection:
            for code in ("north", "warm"):
                entries.add_probe(connection, code, topic=f"workshop/{code}", by="Ida", now_ms=home.now_ms())
        store.close()

    def __call__(self, file, *words, answers="", probe="north"):
        """Run the command; return what it said, a refusal's sentence at the end."""
        command = [str(file), "--probe", probe, "--folder", str(self.folder), *words]
        result = CliRunner().invoke(self.app, command, input=answers)
        if result.exception is not None and not isinstance(result.exception, BenchdryError | SystemExit):
            raise result.exception
        refusal = f"REFUSED: {result.exception}" if isinstance(result.exception, BenchdryError) else ""
        return " ".join(result.output.split()) + refusal

    def readings(self):
        store = Store(self.store_path)
        with store.reading() as connection:
            found = [
                row for one in readings.all_series(connection) for row in readings.raw(connection, one.id, 0, 10**14)
            ]
        store.close()
        return found

    def digest(self):
        """Return a digest of everything in the store, what is in its journal too."""
        with contextlib.closing(sqlite3.connect(self.store_path)) as connection:
            return hashlib.sha256("\n".join(connection.iterdump()).encode()).hexdigest()


@pytest.fixture
def bench(tmp_path):
    return Bench(tmp_path / "yard")


@pytest.fixture
def somebody(monkeypatch):
    """Somebody sits at the terminal."""
    monkeypatch.setattr(importing, "has_terminal", lambda: True)


def test_what_was_understood_is_shown_and_a_dry_run_writes_nothing(bench):
    before = bench.digest()
    said = bench(SAMPLES / "preamble-semicolons.csv", "--dry-run", *BERLIN)
    for part in (
        "separated by semicolons",
        "row 6; 9 rows below it",
        "local times taken as Europe/Berlin (--zone)",
        "day first; row 7 can be nothing else",
        "comma; as in row 7",
        "Temperatur [°C], in °C",
        "Taupunkt [°C]: a dew point",
        "2026-10-24 23:30:00 (2026-10-24T21:30:00Z)",
        "temperature_c: 8 readings from 10.6 to 11.5",
        "9 rows: 17 readings, 0 bad cells or rows.",
        "Nothing was stored (--dry-run).",
    ):
        assert part in said, part
    assert bench.digest() == before
    assert bench.readings() == []


def test_a_second_import_adds_nothing_and_says_so(bench):
    assert "17 readings stored for probe north." in bench(SAMPLES / "preamble-semicolons.csv", "--yes", *BERLIN)
    kept = bench.readings()
    assert len(kept) == 17
    again = bench(SAMPLES / "preamble-semicolons.csv", "--yes", *BERLIN)
    assert "Nothing new for probe north; 17 already there." in again
    assert bench.readings() == kept


def test_a_file_that_overlaps_what_is_stored_adds_the_rest_and_tells_of_conflicts(bench, tmp_path):
    path = tmp_path / "log.csv"
    path.write_text("Time,Temp (°C)\n2026-05-01 06:00,1.5\n2026-05-01 07:00,2.5\n", encoding="utf-8")
    bench(path, "--yes", *BERLIN)
    path.write_text("Time,Temp (°C)\n2026-05-01 06:00,1.5\n2026-05-01 07:00,9\n2026-05-01 08:00,3\n", encoding="utf-8")
    said = bench(path, "--yes", *BERLIN)
    assert "1 reading stored for probe north; 1 already there; 1 with another value" in said
    assert [one.value for one in bench.readings()] == [1.5, 2.5, 3.0]


def test_it_is_stored_only_when_confirmed(bench, somebody):
    assert "Nothing was stored." in bench(SAMPLES / "tabs-utf16.txt", answers="n\n")
    assert bench.readings() == []
    said = bench(SAMPLES / "tabs-utf16.txt", answers="y\n")
    assert "Store 6 readings for probe north?" in said
    assert len(bench.readings()) == 6


def test_without_a_terminal_nothing_is_stored_unless_yes_is_said(bench):
    assert bench(SAMPLES / "tabs-utf16.txt").endswith("nothing was stored; say --yes to store it.")
    assert bench.readings() == []


def test_an_order_that_cannot_be_told_is_asked_for(bench, somebody):
    said = bench(SAMPLES / "undecided-dates.csv", "--zone", "UTC", answers="day\ny\n")
    assert "no day after the 12th tells the order; row 2 can be read both ways" in said
    assert "From 2026-04-03 06:00:00" in said
    assert len(bench.readings()) == 3
    said = bench(SAMPLES / "undecided-dates.csv", "--zone", "UTC", "--dry-run", answers="m\n")
    assert "From 2026-03-04 06:00:00" in said
    wrong = bench(SAMPLES / "undecided-dates.csv", "--zone", "UTC", answers="perhaps\n")
    assert wrong.endswith("REFUSED: order of day and month is perhaps; accepted: day or month.")


@pytest.mark.parametrize("words", [("--yes",), ("--dry-run",), ()])
def test_an_order_that_cannot_be_told_is_refused_without_a_terminal_and_the_option_named(bench, words):
    said = bench(SAMPLES / "undecided-dates.csv", *words, *BERLIN)
    assert said.endswith("say it with --day-first or --month-first.")
    assert bench.readings() == []
    chosen = bench(SAMPLES / "undecided-dates.csv", "--yes", "--month-first", "--zone", "UTC")
    assert "From 2026-03-04 06:00:00" in chosen


def test_a_decimal_sign_that_cannot_be_told_is_asked_for_or_refused(bench, monkeypatch, tmp_path):
    path = tmp_path / "scale.csv"
    path.write_text("Time;Weight (g)\n2026-05-01 06:00;4,512\n2026-05-01 07:00;4,511\n", encoding="utf-8")
    assert bench(path, "--yes", *BERLIN).endswith('say it with --decimal "," or --decimal ".".')
    assert "mass_kg: 2 readings from 0.004511 to 0.004512" in bench(path, "--dry-run", "--decimal", ",", *BERLIN)
    monkeypatch.setattr(importing, "has_terminal", lambda: True)
    assert "mass_kg: 2 readings from 0.004511 to 0.004512" in bench(path, "--dry-run", *BERLIN, answers="comma\n")


def test_bad_rows_are_listed_and_the_rest_is_stored(bench):
    said = bench(SAMPLES / "spring-forward.csv", "--yes", *BERLIN)
    assert "row 7: Temperature (°C) is sensor?; accepted: a number with a comma, as in 21,5." in said
    assert "row 4: Timestamp is 2026-03-29 02:00; accepted: a time that existed" in said
    assert "row 10: Timestamp is =NOW()" in said
    assert "1 of them kept but flagged as not to be believed" in said
    assert "9 rows: 7 readings, 6 bad cells or rows." in said
    assert len(bench.readings()) == 7


def test_a_long_list_of_bad_rows_is_cut_and_can_be_had_whole(bench, tmp_path):
    path = tmp_path / "log.csv"
    rows = "".join(f"2026-05-01 {i // 60:02}:{i % 60:02},x{i}\n" for i in range(50))
    path.write_text(f"Time,Temp (°C)\n2026-04-01 00:00,1.5\n{rows}", encoding="utf-8")
    said = bench(path, "--dry-run", *BERLIN)
    assert "is x19;" in said and "is x20;" not in said
    assert "… and 30 more that cannot be taken (--list-all lists them)." in said
    assert "is x49;" in bench(path, "--dry-run", "--list-all", *BERLIN)


def test_a_file_without_one_reading_is_refused(bench, tmp_path):
    path = tmp_path / "log.csv"
    path.write_text("Time,Temp (°C)\nyesterday,warm\n", encoding="utf-8")
    assert bench(path, "--yes").endswith("No row of log.csv holds a reading; nothing was imported.")


def test_a_probe_that_does_not_exist_is_refused_and_those_there_are_named(bench):
    said = bench(SAMPLES / "tabs-utf16.txt", "--yes", probe="nort")
    assert said == "REFUSED: probe is nort; accepted: north, warm."
    assert bench.readings() == []


def test_a_folder_without_a_store_is_refused_also_on_a_dry_run(bench, tmp_path):
    bench.folder = tmp_path / "elsewhere"
    for word in ("--dry-run", "--yes"):
        assert "There is no store" in bench(SAMPLES / "tabs-utf16.txt", word)
    assert not bench.folder.exists()


def test_a_store_that_is_none_is_refused_in_one_sentence(bench):
    for rest in bench.folder.glob("*.sqlite3-*"):
        rest.unlink()  # the journal would bring the store back
    bench.store_path.write_bytes(b"this is no database, and it is long enough to be looked at " * 20)
    for word in ("--dry-run", "--yes"):
        assert "REFUSED: The store" in bench(SAMPLES / "tabs-utf16.txt", word)


def test_the_zone_comes_from_the_setting_or_else_this_machine_and_is_said(bench, monkeypatch):
    file = SAMPLES / "newest-first.csv"
    assert "local times taken as Etc/GMT-3 (this machine's; neither --zone nor the setting" in bench_in_zone(
        bench, monkeypatch, file
    )
    monkeypatch.setenv("BENCHDRY_LOCAL_ZONE", "Europe/Berlin")
    said = bench(file, "--dry-run")
    assert "local times taken as Europe/Berlin (setting local_zone)" in said
    assert "2026-10-25 01:30:00 (2026-10-24T23:30:00Z)" in said
    monkeypatch.setenv("BENCHDRY_LOCAL_ZONE", "Mars/Base")
    assert "setting local_zone is Mars/Base; accepted: a time zone such as Europe/Berlin" in bench(file, "--dry-run")


def bench_in_zone(bench, monkeypatch, file):
    with monkeypatch.context() as patched:
        patched.setenv("TZ", "Etc/GMT-3")
        return bench(file, "--dry-run")


def test_a_unit_that_nobody_names_is_shown_as_assumed_and_can_be_said(bench, tmp_path):
    path = tmp_path / "log.csv"
    path.write_text("Time,Temperature\n2026-05-01 06:00,68\n", encoding="utf-8")
    assert "in °C ASSUMED" in bench(path, "--dry-run", *BERLIN)
    said = bench(path, "--dry-run", "--temperature-unit", "F", *BERLIN)
    assert "ASSUMED" not in said and "from 20 to 20" in said


def test_what_a_file_says_is_no_markup_and_steers_no_terminal(bench, tmp_path):
    path = tmp_path / "log.csv"
    path.write_text("Time,[red]Temp (°C)[/],\x1b[31mNote\n2026-05-01 06:00,[/bold]\n2026-05-01 07:00,1.5,\n")
    said = bench(path, "--dry-run", *BERLIN)
    assert "[red]Temp (°C)[/] is [/bold]" in said
    assert "\x1b" not in said


def test_a_bar_is_seen_once_it_takes_longer_and_never_before(bench, tmp_path, monkeypatch):
    path = tmp_path / "log.csv"
    rows = "".join(f"2026-05-{1 + i // 1440:02} {i // 60 % 24:02}:{i % 60:02},{i % 50}.5\n" for i in range(2500))
    path.write_text(f"Time,Temp (°C)\n{rows}", encoding="utf-8")
    for after_s, seen in ((1e9, False), (-1.0, True)):
        out = io.StringIO()
        monkeypatch.setattr(importing, "console", Console(file=out, force_terminal=True, width=100))
        monkeypatch.setattr(importing, "BAR_AFTER_S", after_s)
        bench(path, "--yes", *BERLIN)
        assert ("2000/2500" in out.getvalue()) is seen
        assert ("Storing" in out.getvalue()) is seen


def test_the_readings_reach_the_probe_and_its_summaries(bench):
    bench(SAMPLES / "tabs-utf16.txt", "--yes", probe="WARM")
    store = Store(bench.store_path)
    with store.reading() as connection:
        series = {one.quantity: one for one in readings.all_series(connection)}
        hour = readings.buckets(connection, series[Quantity.TEMPERATURE_C].id, 3_600_000, 0, 10**14)
        assert readings.count(connection) == 6
    store.close()
    assert hour.mean == pytest.approx([25.25])
    assert Quantity.MASS_KG in series
