"""One invented probe: readings to make up, to store with their second look, and to read back."""

from __future__ import annotations

import math
import random
from collections.abc import Iterable, Sequence

from sensors import second_look
from shared.store import Store, facts, readings
from shared.store.records import AIR, NewReading, Quality, Reading, SubjectKind, TimeSource
from shared.units import MS_PER_HOUR, MS_PER_MINUTE

T0 = 1_795_000_000_000 // MS_PER_HOUR * MS_PER_HOUR
C, RH = 1, 2  # the series of the probe
DAY = 144  # readings of ten minutes
ALL_TIME = (0, 10**14)
GOOD, SPIKE, TOO_FAST, STUCK = Quality.GOOD, Quality.SPIKE, Quality.TOO_FAST, Quality.STUCK


def row(series_id: int, at_ms: int, value: float, quality: Quality = GOOD) -> NewReading:
    return NewReading(series_id, at_ms, value, quality, TimeSource.PAYLOAD)


def every(minutes: float, values: Iterable[float], series_id: int = C, start_ms: int = T0) -> list[NewReading]:
    step_ms = round(minutes * MS_PER_MINUTE)
    return [row(series_id, start_ms + i * step_ms, value) for i, value in enumerate(values)]


def wandering(count: int, middle: float, swing: float, seed: int = 1) -> list[float]:
    """Air over some days, to one decimal: it moves all the time, by less than a door does."""
    chance = random.Random(seed)
    slow = [middle + swing * math.sin(i / 23) for i in range(count)]
    return [round(value + chance.uniform(-0.3, 0.3), 1) for value in slow]


def a_probe(store: Store) -> None:
    with store.writing() as connection:
        probe = facts.add_subject(connection, SubjectKind.PROBE, "north")
        assert [readings.series_of(connection, probe.id, one) for one in AIR] == [C, RH]


def take(store: Store, rows: Sequence[NewReading]) -> int:
    with store.writing() as connection:
        readings.append(connection, rows, T0)
        return second_look.after(connection, rows)


def held(store: Store, series_id: int = C) -> list[Reading]:
    with store.reading() as connection:
        return readings.raw(connection, series_id, *ALL_TIME)


def flags(store: Store, series_id: int = C) -> list[Quality]:
    return [one.quality for one in held(store, series_id)]


def flagged(store: Store, series_id: int = C) -> dict[int, Quality]:
    return {i: flag for i, flag in enumerate(flags(store, series_id)) if flag is not GOOD}


def both(store: Store, temperature_c: Sequence[float], rh_pct: Sequence[float]) -> int:
    rows = every(10, temperature_c, C) + every(10, rh_pct, RH)
    return take(store, sorted(rows, key=lambda one: one.at_ms))
