"""The committed sample logs: made by the committed program, labelled, decodable, and showing what they say."""

from __future__ import annotations

import subprocess
import sys
from collections import defaultdict
from pathlib import Path

import numpy as np
import pytest

from sensors import payloads, quality
from sensors.demo_air import PROBES, SAMPLE_END_MS, SAMPLE_FAULTS, SAMPLE_START_MS, SAMPLE_STEP_MS, SAMPLE_STUCK_MS
from sensors.replay import read_log
from shared.store import Store, facts, readings
from shared.store.records import NewReading, Quality, Quantity, SubjectKind, TimeSource
from shared.units import MS_PER_DAY, datetime_from_ms

ROOT = Path(__file__).parents[2]
FOLDER = ROOT / "sample_logs"
CODES = [probe.code for probe in PROBES]


def columns(code: str) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Return a log's times (UTC ms), °C and %RH, through the decoder that the recorder uses."""
    found = defaultdict(dict)
    for one in read_log(FOLDER / f"{code}.csv"):
        for value in payloads.decode(one.topic, one.payload.encode(), SAMPLE_END_MS).values:
            found[value.at_ms][value.quantity] = value.value
    times = np.array(sorted(found))
    return (times, *(np.array([found[t][q] for t in times]) for q in (Quantity.TEMPERATURE_C, Quantity.RH_PCT)))


def test_the_logs_are_made_again_byte_for_byte(tmp_path):
    subprocess.run([sys.executable, "-m", "sensors.demo_air", str(tmp_path)], cwd=ROOT, check=True, capture_output=True)
    made = {path.name: path.read_bytes() for path in tmp_path.iterdir()}
    assert set(made) == {f"{code}.csv" for code in CODES}
    for name, content in made.items():
        assert content == (FOLDER / name).read_bytes(), f"{name} is not what the program writes"


def test_the_generator_asks_for_a_folder():
    ran = subprocess.run([sys.executable, "-m", "sensors.demo_air"], cwd=ROOT, capture_output=True, text=True)
    assert ran.returncode != 0
    assert "folder" in ran.stderr and "Traceback" not in ran.stderr


@pytest.mark.parametrize("code", CODES)
def test_every_log_says_that_it_is_invented_and_what_it_shows(code):
    lines = (FOLDER / f"{code}.csv").read_text(encoding="utf-8").splitlines()
    head = [line for line in lines[:10] if line.startswith("#")]
    assert "INVENTED" in head[0] and "Oxlip Weir" in head[0]
    assert any("Shows:" in line for line in head)
    assert any("°C" in line and "%" in line and "UTC" in line for line in head)


def test_the_page_beside_them_says_so_too_and_lists_every_file():
    page = (FOLDER / "README.md").read_text(encoding="utf-8")
    assert "invented" in page.splitlines()[2]
    for path in FOLDER.glob("*.csv"):
        if path.stem in CODES:
            assert f"`{path.name}`" in page


def test_the_logs_are_small_enough_to_carry_along():
    assert sum((FOLDER / f"{code}.csv").stat().st_size for code in CODES) < 5_000_000


@pytest.mark.parametrize("probe", PROBES, ids=lambda probe: probe.code)
def test_every_log_decodes_and_is_stored_whole(probe, tmp_path):
    store = Store(tmp_path / "store.sqlite3")
    store.create_or_upgrade()
    rows, count = [], 0
    with store.writing() as connection:
        owner = facts.add_subject(connection, SubjectKind.PROBE, probe.code)
        series = {quantity: readings.series_of(connection, owner.id, quantity) for quantity in Quantity}
        for one in read_log(FOLDER / f"{probe.code}.csv"):
            said = payloads.decode(one.topic, one.payload.encode(), SAMPLE_END_MS)
            assert said.probe_topic == probe.topic
            assert len(said.values) == one.readings
            count += one.readings
            for value in said.values:
                flag = quality.judge(value.quantity, value.value, value.at_ms, SAMPLE_END_MS)
                assert flag == Quality.GOOD
                rows.append(NewReading(series[value.quantity], value.at_ms, value.value, flag, TimeSource.PAYLOAD))
        stored = readings.append(connection, rows, SAMPLE_END_MS)
    assert (stored.new, stored.repeated, stored.conflicting) == (count, 0, 0)
    assert count > 10_000
    with store.reading() as connection:
        assert readings.count(connection) == count
    store.close()


def test_the_yard_shows_the_wet_spring_the_hot_week_and_the_silence():
    times, temperature_c, rh_pct = columns("yard-north")
    assert list(times) == list(range(SAMPLE_START_MS, SAMPLE_END_MS, SAMPLE_STEP_MS))
    day = np.array([datetime_from_ms(int(t)).strftime("%m-%d") for t in times])
    wet, hot = day <= "05-06", (day >= "06-09") & (day <= "06-16")
    assert np.mean(rh_pct[wet] > 92) > 0.4 > 2 * np.mean(rh_pct[~wet] > 92)
    assert 31 < temperature_c[hot].max() < 33.5 and 24 < rh_pct[hot].min() < 30
    assert temperature_c[~hot].max() < 30
    silent = columns("yard-south")[0]
    assert list(silent) == [t for t in times if t < SAMPLE_FAULTS.silent_from_ms["yard-south"]]


def test_shed_high_sticks_for_four_days_and_shed_low_does_not():
    assert SAMPLE_STUCK_MS[1] - SAMPLE_STUCK_MS[0] == 4 * MS_PER_DAY
    for code, stuck in (("shed-high", True), ("shed-low", False)):
        times, temperature_c, rh_pct = columns(code)
        spell = (times >= SAMPLE_STUCK_MS[0]) & (times < SAMPLE_STUCK_MS[1])
        assert (len(set(temperature_c[spell])) == 1) is stuck
        assert (len(set(rh_pct[spell])) == 1) is stuck
        assert len(set(rh_pct[times >= SAMPLE_STUCK_MS[1]][:144])) > 5


def test_bench_rack_reads_six_percent_above_bench_wall():
    above = columns("bench-rack")[2] - columns("bench-wall")[2]
    assert np.mean(above) == pytest.approx(6, abs=0.1)
