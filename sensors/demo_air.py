"""The air of Oxlip Weir: an invented workshop on an invented mill stream, for the demo and the sample logs.

Nothing here was measured: ``sensors.demo_weather`` makes the air, and the probes here report it, each with
its own scatter and its own faults.

``python -m sensors.demo_air FOLDER`` writes the sample logs.
"""

from __future__ import annotations

import sys
import zlib
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import UTC, datetime
from pathlib import Path

import numpy as np

from sensors.demo_weather import SEED, Times, air_at, hash_unit, saturation_pa
from shared.store.records import PlaceKind
from shared.units import MS_PER_DAY, MS_PER_MINUTE, Array, datetime_from_ms, ms_from_datetime

ALTITUDE_M = 40.0
NOISE_C, NOISE_PCT = 0.12, 0.6  # largest scatter of one reading


@dataclass(frozen=True)
class Place:
    """Somewhere at Oxlip Weir with its own air; ``closed``: walls and a door keep the wind out."""

    code: str
    name: str
    kind: PlaceKind
    closed: bool


@dataclass(frozen=True)
class Probe:
    """A sensor of temperature and relative humidity; ``offset_c``: how much warmer its corner is than the place."""

    code: str
    place: str
    topic: str
    offset_c: float = 0.0


@dataclass(frozen=True)
class Faults:
    """What is wrong with which probe (by code); an end of None: still so.

    ``silent_from_ms``: it says nothing from this moment on. ``stuck_ms``: spells (start, end) in which it
    repeats what it said at the start. ``high_pct``: added to every relative humidity.
    """

    silent_from_ms: Mapping[str, int] = field(default_factory=dict)
    stuck_ms: Mapping[str, tuple[tuple[int, int | None], ...]] = field(default_factory=dict)
    high_pct: Mapping[str, float] = field(default_factory=dict)


@dataclass(frozen=True)
class Readings:
    """A probe's readings in time order: UTC ms, °C, %RH."""

    at_ms: Times
    temperature_c: Array
    rh_pct: Array


PLACES = (
    Place("yard", "Yard, open stack under a roof", PlaceKind.YARD, False),
    Place("log-shed", "Log shed beside the stream", PlaceKind.SHED, True),
    Place("loft", "Seasoning loft above the workshop", PlaceKind.ROOM, True),
    Place("bench-room", "Bench room, heated and humidified", PlaceKind.ROOM, True),
    Place("finish-room", "Finish room", PlaceKind.FINISH_ROOM, True),
)
PROBES = (
    Probe("yard-north", "yard", "workshop/yard/yard-north", -0.2),
    Probe("yard-south", "yard", "workshop/yard/yard-south", 0.2),
    Probe("shed-low", "log-shed", "workshop/log-shed/shed-low", -0.3),
    Probe("shed-high", "log-shed", "workshop/log-shed/shed-high", 0.3),
    Probe("loft-beam", "loft", "workshop/loft/loft-beam"),
    Probe("bench-wall", "bench-room", "workshop/bench-room/bench-wall"),
    Probe("bench-rack", "bench-room", "workshop/bench-room/bench-rack"),
    Probe("finish-door", "finish-room", "workshop/finish-room/finish-door"),
)


def _at(text: str) -> int:
    return ms_from_datetime(datetime.fromisoformat(text).replace(tzinfo=UTC))


SAMPLE_START_MS, SAMPLE_END_MS, SAMPLE_STEP_MS = _at("2026-04-20"), _at("2026-06-20"), 10 * MS_PER_MINUTE
SAMPLE_STUCK_MS = (_at("2026-05-12T06:00"), _at("2026-05-16T06:00"))
BENCH_RACK_HIGH_PCT = 6.0
NO_FAULTS = Faults()
SAMPLE_FAULTS = Faults(
    {"yard-south": _at("2026-06-04T10:20")}, {"shed-high": (SAMPLE_STUCK_MS,)}, {"bench-rack": BENCH_RACK_HIGH_PCT}
)


def demo_faults(first_run_ms: int, silent_days: float = 9.0, stuck_days: float = 4.0) -> Faults:
    """Return the faults as a demo first started at ``first_run_ms`` (UTC ms) shows them.

    yard-south has been silent for ``silent_days``, shed-high stuck for ``stuck_days`` and still is, and
    bench-rack reads high. Later runs give the same moment again, so that their story goes on. The spell
    of the sample logs is in it too: both can be replayed into one store without a conflict.
    """

    def before(days: float) -> int:
        return (first_run_ms - round(days * MS_PER_DAY)) // SAMPLE_STEP_MS * SAMPLE_STEP_MS

    stuck = (SAMPLE_STUCK_MS, (before(stuck_days), None))
    return Faults({"yard-south": before(silent_days)}, {"shed-high": stuck}, SAMPLE_FAULTS.high_pct)


def _measured(probe: Probe, at_ms: Times, seed: int, high_pct: float) -> tuple[Array, Array]:
    """Return what a probe would report, to 0.1: its corner of the place, and its own scatter."""
    place_c, place_pct = air_at(probe.place, at_ms, seed)
    here_c = place_c + probe.offset_c  # the same vapour in a slightly warmer or cooler corner
    here_pct = place_pct * saturation_pa(place_c) / saturation_pa(here_c)
    own = zlib.crc32(probe.code.encode())
    here_c = here_c + NOISE_C * hash_unit(seed, own, at_ms)
    here_pct = here_pct + high_pct + NOISE_PCT * hash_unit(seed, own + 1, at_ms)
    # Adding zero makes −0.0 a plain 0.0.
    return np.round(here_c, 1) + 0.0, np.round(np.clip(here_pct, 0.0, 100.0), 1) + 0.0


def probe_readings(probe: Probe, at_ms: Times, seed: int = SEED, faults: Faults = NO_FAULTS) -> Readings:
    """Return what a probe reported at the times (UTC ms) at which it did: °C and %RH to 0.1, faults and all."""
    silent_from_ms = faults.silent_from_ms.get(probe.code)
    if silent_from_ms is not None:
        at_ms = at_ms[at_ms < silent_from_ms]
    high_pct = faults.high_pct.get(probe.code, 0.0)
    temperature_c, rh_pct = _measured(probe, at_ms, seed, high_pct)
    for start_ms, end_ms in faults.stuck_ms.get(probe.code, ()):
        stuck = at_ms >= start_ms
        if end_ms is not None:
            stuck &= at_ms < end_ms
        kept_c, kept_pct = _measured(probe, np.array([start_ms], dtype=np.int64), seed, high_pct)
        temperature_c[stuck], rh_pct[stuck] = kept_c[0], kept_pct[0]
    return Readings(at_ms, temperature_c, rh_pct)


# The sample logs.

SHOWS = {
    "yard-north": "the end of the wet spring (to about 10 May), and the hot dry week of 9 to 16 June",
    "yard-south": "as yard-north, until it falls silent for good: nothing from 2026-06-04T10:20:00Z on",
    "shed-low": "slow damp air beside the stream, where river-reclaimed boards rest",
    "shed-high": "as shed-low, but stuck at one value from 2026-05-12T06:00:00Z until 2026-05-16T06:00:00Z",
    "loft-beam": "warm days under the roof; the dry week reaches the seasoning loft",
    "bench-wall": "air held near 45 %RH, where matched sets come to rest",
    "bench-rack": "a probe that reads 6 %RH too high throughout; bench-wall in the same room is right",
    "finish-door": "a room whose fan draws outdoor air in: it swings",
}


def iso_time(at_ms: int) -> str:
    """Return a time (UTC ms) as ISO 8601 to the second, ending in Z."""
    return datetime_from_ms(int(at_ms)).strftime("%Y-%m-%dT%H:%M:%SZ")


def sample_log(probe: Probe) -> str:
    """Return a probe's sample log: comment lines, a line of column names, and a reading every ten minutes."""
    times = np.arange(SAMPLE_START_MS, SAMPLE_END_MS, SAMPLE_STEP_MS, dtype=np.int64)
    got = probe_readings(probe, times, faults=SAMPLE_FAULTS)
    head = [
        "# INVENTED DATA: Oxlip Weir is an invented workshop, and a seeded program made these numbers.",
        f"# Probe {probe.code}, place {probe.place}. Shows: {SHOWS[probe.code]}.",
        "# Columns: time (UTC, ISO 8601), temperature_c (air temperature, °C), rh_pct (relative humidity, %).",
        f"# topic: {probe.topic}",
        "time,temperature_c,rh_pct",
    ]
    rows = zip(got.at_ms, got.temperature_c, got.rh_pct, strict=True)
    return "\n".join(head + [f"{iso_time(at)},{t:.1f},{rh:.1f}" for at, t, rh in rows]) + "\n"


def write_sample_logs(folder: Path) -> list[Path]:
    """Write every probe's sample log into ``folder`` and return where they are."""
    folder.mkdir(parents=True, exist_ok=True)
    paths = [folder / f"{probe.code}.csv" for probe in PROBES]
    for probe, path in zip(PROBES, paths, strict=True):
        path.write_bytes(sample_log(probe).encode("utf-8"))
    return paths


if __name__ == "__main__":
    if len(sys.argv) != 2:
        sys.exit("Say into which folder: python -m sensors.demo_air sample_logs")
    for written in write_sample_logs(Path(sys.argv[1])):
        sys.stdout.write(f"{written}\n")
