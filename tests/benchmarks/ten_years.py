"""An invented yard after ten years: ten probes every ten minutes, twenty-four boards in the air, and many entries.

Entries are made through the same calls as everybody's; readings are written straight into the store's tables, since
ten million of them would take the recorder a quarter of an hour. All of it is made up.
"""

from __future__ import annotations

import sqlite3
from itertools import repeat
from pathlib import Path

import numpy as np

from dashboards import entries, projection
from dashboards.watch import Watch
from shared.settings import Settings
from shared.store import Store, facts, readings
from shared.store.keeping import driver
from shared.store.records import Quality, Quantity, Subject, SubjectKind, TimeSource
from shared.units import MS_PER_DAY, MS_PER_MINUTE

BATCH, YEARS, STEP_MS = 1, 10, 10 * MS_PER_MINUTE
PLACES = {"yard": ("yard", 12.0, 78.0, 9.0), "shed": ("shed", 12.0, 72.0, 7.0), "loft": ("room", 15.0, 58.0, 5.0),
          "bench": ("room", 20.0, 47.0, 2.0), "finish": ("finish room", 20.0, 45.0, 2.0)}  # fmt: skip
PROBES_A_PLACE, STACKS, BOARDS_A_STACK, PAIRS = 2, 5, 4, 2
WEIGH_INS, SPACING_DAYS = 26, 14
SPECIES = ("Fraxinus americana", "Quercus alba", "Acer saccharum", "Platanus occidentalis", "Picea sitchensis")


def build(folder: Path, now_ms: int, years: float = YEARS) -> Store:
    """Return the store of such a yard, every board projected."""
    store = Store(folder / "benchdry.sqlite3")
    store.create_or_upgrade()
    _enter(store, now_ms, years)
    _log(store, now_ms, years)
    memory = projection.Memory()
    for board_id in Watch(store, Settings(), lambda: now_ms).due():
        projection.refresh(store, board_id, now_ms, Settings(), memory)
    return store


def _enter(store: Store, now_ms: int, years: float) -> None:
    long_ago = now_ms - int(years * 365.25 * MS_PER_DAY)

    def at(days_ago: float) -> dict[str, object]:
        moment = max(long_ago, now_ms - int(days_ago * MS_PER_DAY))
        return {"by": "Ida", "now_ms": now_ms, "true_at_ms": moment}

    with store.writing() as connection:
        for code, (kind, *_) in PLACES.items():
            entries.add_place(connection, code, kind=kind, **at(1e5))
            for number in range(PROBES_A_PLACE):
                probe = f"{code}-{number}"
                entries.add_probe(connection, probe, topic=f"workshop/{code}/{probe}", place=code, **at(1e5))
        for number in range(STACKS):
            stack = f"S{number}"
            entries.add_stack(connection, stack, place=("yard", "shed", "loft")[number % 3], **at(400))
            for one in range(BOARDS_A_STACK):
                _board(connection, f"{stack}-{one}", SPECIES[number], {"stack": stack}, at)
        for number in range(PAIRS):
            code = f"top-{number}"
            entries.add_set(connection, code, **at(400))
            for side in ("L", "R"):
                _board(connection, f"{code}-{side}", SPECIES[-1], {"place": "bench"}, at, thickness_mm=4)
                entries.put_in_set(connection, f"{code}-{side}", set_code=code, role=f"plate {side}", **at(300))


def _board(connection, code, species, where, at, thickness_mm=30):  # type: ignore[no-untyped-def]
    """A board of 380 days with a weight every fortnight, losing water as wood does, and noise of the scale."""
    size = {"thickness_mm": thickness_mm, "width_mm": 200, "length_mm": 600}
    entries.add_board(
        connection, code, species=species, cut="flat-sawn", origin="fresh-sawn", **size, **where, **at(380)
    )
    noise = np.random.default_rng(sum(map(ord, code)))
    dry_g = thickness_mm * 200 * 600 * 1e-3 * 0.55
    for number in range(WEIGH_INS):
        days_ago = 375 - number * SPACING_DAYS
        wet = 0.14 + (0.7 if thickness_mm > 10 else 0.02) * np.exp(-(375 - days_ago) / 80)
        mass = dry_g * (1 + wet) + noise.normal(0, 2e-4 * dry_g)
        entries.add_weigh_in(connection, code, mass_g=f"{mass:.1f}", sure=True, **at(days_ago))


def _log(store: Store, now_ms: int, years: float) -> None:
    """Write readings and summaries a series at a time: what comes out is what the recorder makes, in a minute."""
    times = np.arange(now_ms - int(years * 365.25 * MS_PER_DAY), now_ms, STEP_MS) // STEP_MS * STEP_MS
    with store.writing() as connection:
        raw = driver(connection)
        raw.execute("INSERT INTO batch (id, arrived_ms) VALUES (?, ?)", (BATCH, now_ms))
        for probe in facts.subjects(connection, SubjectKind.PROBE):
            for quantity, values in _air(probe, times).items():
                series = readings.series_of(connection, probe.id, quantity)
                _write(raw, series, times, values)


def _write(raw: sqlite3.Connection, series: int, times: np.ndarray, values: np.ndarray) -> None:
    rows = zip(
        repeat(series),
        times.tolist(),
        values.tolist(),
        repeat(int(Quality.GOOD)),
        repeat(int(TimeSource.PAYLOAD)),
        repeat(1),
    )
    raw.executemany("INSERT INTO reading VALUES (?, ?, ?, ?, ?, ?)", rows)
    for span_ms, tier in readings.TIERS.items():
        starts, first, count = np.unique(times - times % span_ms, return_index=True, return_counts=True)
        parts = (np.minimum.reduceat(values, first), np.maximum.reduceat(values, first), np.add.reduceat(values, first))
        columns = (starts.tolist(), count.tolist(), *(one.tolist() for one in parts))
        raw.executemany(
            f"INSERT INTO {tier.name} VALUES (?, ?, ?, ?, ?, ?, ?)", zip(repeat(series), *columns, repeat(0))
        )


def _air(probe: Subject, times: np.ndarray) -> dict[Quantity, np.ndarray]:
    _, t_c, rh_pct, swing = PLACES[probe.code.split("-")[0]]
    noise = np.random.default_rng(probe.id)
    year = np.cos((times / MS_PER_DAY / 365.25 - 0.55) * 2 * np.pi)
    day = np.cos((times / MS_PER_DAY - 0.6) * 2 * np.pi)
    told = {
        Quantity.TEMPERATURE_C: t_c + swing * year + swing / 2 * day + noise.normal(0, 0.2, len(times)),
        Quantity.RH_PCT: rh_pct - swing * year - swing * day + noise.normal(0, 0.6, len(times)),
    }
    return {quantity: np.round(np.clip(values, -30, 99), 2) for quantity, values in told.items()}
