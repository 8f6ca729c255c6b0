"""A small invented yard in a store: one shed with two probes, one room, a stack of two boards."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pytest

from dashboards import entries
from shared.settings import Settings
from shared.store import Store, facts, readings
from shared.store.records import NewReading, ProbeFact, Quality, Quantity, TimeSource
from shared.units import MS_PER_DAY, MS_PER_HOUR

NOW_MS = 1_795_600_800_000 // MS_PER_HOUR * MS_PER_HOUR + 10 * 60_000
DAYS = 40
WEIGHED_G = {35: 6900.0, 20: 5600.0, 2: 4700.0}


@dataclass
class Yard:
    """The store, the moment that tests take for now, and acts on it."""

    store: Store
    folder: Path
    now_ms: int = NOW_MS
    settings: Settings = Settings()  # noqa: RUF009 - frozen

    def act(self, act, *args, days_ago=None, by="Ida", **values):
        """Do one entry, true so many days ago."""
        if days_ago is not None:
            values["true_at_ms"] = self.now_ms - int(days_ago * MS_PER_DAY)
        with self.store.writing() as connection:
            return act(connection, *args, by=by, now_ms=self.now_ms, **values)

    def log(self, probe_code, start_days, end_days=0.0, t=12.0, rh=68.0, still=False):
        """Store hourly readings of a probe from so many days ago to so many."""
        start = (self.now_ms - int(start_days * MS_PER_DAY)) // MS_PER_HOUR * MS_PER_HOUR
        times = np.arange(start, self.now_ms - int(end_days * MS_PER_DAY) + 1, MS_PER_HOUR)
        swing = np.zeros(len(times)) if still else 3 * np.sin(times / MS_PER_HOUR * 2 * np.pi / 24)
        with self.store.writing() as connection:
            probe_id = next(f.subject_id for f in facts.standing(connection, ProbeFact) if f.name == probe_code)
            rows = []
            for quantity, values in ((Quantity.TEMPERATURE_C, t + swing), (Quantity.RH_PCT, rh - 2 * swing)):
                series = readings.series_of(connection, probe_id, quantity)
                rows += [
                    NewReading(series, int(at), round(float(v), 2), Quality.GOOD, TimeSource.PAYLOAD)
                    for at, v in zip(times, values, strict=True)
                ]
            readings.append(connection, rows, self.now_ms)


@pytest.fixture
def empty_yard(tmp_path):
    store = Store(tmp_path / "yard.sqlite3")
    store.create_or_upgrade()
    yield Yard(store, tmp_path)
    store.close()


@pytest.fixture
def yard(empty_yard):
    made = empty_yard
    made.act(entries.add_place, "shed", kind="shed", days_ago=100)
    made.act(entries.add_place, "room", kind="room", days_ago=100)
    made.act(entries.add_probe, "north", topic="workshop/shed/north", place="shed", days_ago=100)
    made.act(entries.add_probe, "warm", topic="workshop/room/warm", place="room", days_ago=100)
    made.act(entries.add_stack, "S1", place="shed", days_ago=100)
    board = {
        "species": "Fraxinus americana",
        "thickness_mm": 27,
        "width_mm": 190,
        "length_mm": 1500,
        "cut": "flat-sawn",
        "origin": "fresh-sawn",
        "stack": "S1",
    }
    made.act(entries.add_board, "A1", days_ago=36, **board)
    made.act(entries.add_board, "A2", days_ago=36, **board)
    for days, grams in WEIGHED_G.items():
        made.act(entries.add_weigh_in, "A1", mass_g=grams, days_ago=days)
    made.log("north", DAYS)
    made.log("warm", DAYS, t=19.0, rh=45.0)
    return made
