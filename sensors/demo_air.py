"""The air of Oxlip Weir: an invented workshop on an invented mill stream, for the demo and the sample logs.

Nothing here was measured. The weather is a function of the seed and the absolute hour alone, so that a
reading has the same time and value however often, whenever and over whatever span it is asked for. It
is that of a temperate, mild, maritime place; each year has a wet spring (5 March to 10 May) and one hot
dry week (9 to 16 June). Indoors, the outdoor water vapour follows with a lag and meets the room's own
temperature.

``python -m sensors.demo_air FOLDER`` writes the sample logs.
"""

from __future__ import annotations

import sys
import zlib
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from shared.store.records import PlaceKind
from shared.units import MS_PER_DAY, MS_PER_HOUR, MS_PER_MINUTE, Array, datetime_from_ms, ms_from_datetime

Times = NDArray[np.int64]

SEED = 1709
ALTITUDE_M = 40.0
WARMUP_H = 240  # how far back a room remembers the weather
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


# Chance that can be asked again: hashes instead of a generator with a state.


def _hash_unit(seed: int, channel: int, keys: Times) -> Array:
    """Return one number in −1 to 1 for each integer key: the splitmix64 mixer over seed, channel and key."""
    start = np.uint64((seed * 0x9E3779B97F4A7C15 + channel * 0xD1B54A32D192ED03) % 2**64)
    mixed = keys.astype(np.uint64) * np.uint64(0x9E3779B97F4A7C15) + start
    mixed = (mixed ^ (mixed >> np.uint64(30))) * np.uint64(0xBF58476D1CE4E5B9)
    mixed = (mixed ^ (mixed >> np.uint64(27))) * np.uint64(0x94D049BB133111EB)
    mixed = mixed ^ (mixed >> np.uint64(31))
    return (mixed >> np.uint64(11)).astype(np.float64) / 2.0**52 - 1.0


def _noise(seed: int, channel: int, hours: Times, period_h: int) -> Array:
    """Return smooth noise in −1 to 1 that wanders over ``period_h``: hashed values, blended between."""
    before = hours // period_h
    share = _smoothstep((hours - before * period_h) / period_h)
    return _hash_unit(seed, channel, before) * (1 - share) + _hash_unit(seed, channel, before + 1) * share


def _smoothstep(x: Array) -> Array:
    x = np.clip(x, 0.0, 1.0)
    return x * x * (3 - 2 * x)


# Outdoors.


def _saturation_pa(temperature_c: Array) -> Array:
    """Return saturation vapour pressure in Pa over water; Magnus form, constants from memory.

    The generator's own: only invented numbers rest on it.
    """
    return 611.2 * np.exp(17.62 * temperature_c / (243.12 + temperature_c))


def _days_after_march(hours: Times) -> Array:
    """Return days since 1 March 00:00 UTC of the same year, so that leap years shift nothing that follows."""
    moments = hours.astype("M8[h]")
    march = (moments.astype("M8[Y]").astype("M8[M]") + 2).astype("M8[h]")
    return (moments - march).astype(np.float64) / 24


def _spell(days: Array, start: float, end: float, ramp: float) -> Array:
    """Return 0 outside start to end, 1 inside, with ramps of ``ramp`` days at its ends."""
    return _smoothstep((days - start) / ramp) * _smoothstep((end - days) / ramp)


def _outdoors(seed: int, hours: Times) -> tuple[Array, Array]:
    """Return temperature in °C and vapour pressure in Pa for each absolute hour."""
    summer = np.cos(2 * np.pi * (hours / 24 / 365.2425 - 200 / 365.2425))  # 1 about 20 July, −1 in January
    days = _days_after_march(hours)
    wet, hot = _spell(days, 3.0, 72.0, 4.0), _spell(days, 99.5, 108.5, 1.0)
    damp, front, gust = (_noise(seed, channel, hours, period) for channel, period in ((1, 96), (2, 36), (3, 6)))
    mean_c = 10.5 + 6.5 * summer + 3.0 * _noise(seed, 4, hours, 96) - 0.9 * front + 0.4 * gust
    mean_c += hot * (24.2 + 0.5 * damp - mean_c)
    half_swing_c = (2.6 + 0.95 * summer) * (1 - 0.22 * damp)
    half_swing_c += wet * (1.7 - half_swing_c)
    half_swing_c += hot * (7.6 - half_swing_c)
    share = 0.79 - 0.065 * summer + 0.07 * damp + 0.04 * front
    share += wet * (0.955 + 0.03 * damp + 0.02 * front - share)
    share += hot * (0.41 + 0.01 * damp - share)
    temperature_c = mean_c + half_swing_c * np.cos(2 * np.pi * (hours % 24 - 15) / 24)
    saturated_pa = _saturation_pa(temperature_c)
    rh_pct = _eased(100 * share * _saturation_pa(mean_c) / saturated_pa, 90.0, 9.5)
    return temperature_c, saturated_pa * rh_pct / 100


def _eased(rh_pct: Array, above_pct: float, room_pct: float) -> Array:
    """Return humidity that above a level nears level + room without reaching it: dew takes the rest."""
    over = np.maximum(rh_pct - above_pct, 0.0)
    return np.minimum(rh_pct, above_pct) + room_pct * (1 - np.exp(-over / room_pct))


# Indoors: each function is given the weather with WARMUP_H hours before the first that is wanted.


def _lagged(series: Array, hours: float) -> Array:
    """Return the exponentially weighted past. Summed in a fixed order, so that no span changes a bit of it."""
    weights = np.exp(-np.arange(WARMUP_H + 1) / hours)
    weights /= weights.sum()
    count = len(series) - WARMUP_H
    total = np.zeros(count)
    for back, weight in enumerate(weights):
        total += weight * series[WARMUP_H - back : WARMUP_H - back + count]
    return total


def _held(rh_pct: Array, comes_from_pct: float, middle_pct: float, half_range_pct: float, gain: float) -> Array:
    """Return humidity held about a middle by wood, wet ground or a humidifier; never beyond the half range."""
    return middle_pct + half_range_pct * np.tanh(gain * (rh_pct - comes_from_pct) / half_range_pct)


def _daily(hours: Times, peak_h: float) -> Array:
    return np.cos(2 * np.pi * (hours % 24 - peak_h) / 24)


Air = tuple[Array, Array]


def _yard(temperature_c: Array, vapour_pa: Array, hours: Times, seed: int) -> Air:
    now_c = temperature_c[WARMUP_H:]
    return now_c, 100 * vapour_pa[WARMUP_H:] / _saturation_pa(now_c)


def _log_shed(temperature_c: Array, vapour_pa: Array, hours: Times, seed: int) -> Air:
    """Half its warmth from the stream and the ground; the stream and the wet boards keep it damp."""
    stream_c = _lagged(temperature_c, 48)
    room_c = 0.5 * stream_c + 0.5 * _lagged(temperature_c, 12) - 0.3
    mixed_pa = 0.6 * _lagged(vapour_pa, 36) + 0.4 * _saturation_pa(stream_c)
    return room_c, _held(100 * mixed_pa / _saturation_pa(room_c), 90.0, 86.5, 6.0, 0.55)


def _loft(temperature_c: Array, vapour_pa: Array, hours: Times, seed: int) -> Air:
    """Warmed from below and, by day, by the roof; the stacked wood evens the humidity out."""
    sun_c = np.maximum(_daily(hours, 15), -0.3) * (1.2 + 0.06 * np.maximum(temperature_c[WARMUP_H:], 0))
    room_c = _lagged(temperature_c, 8) + 4.2 + sun_c
    return room_c, _held(100 * _lagged(vapour_pa, 18) / _saturation_pa(room_c), 60.0, 62.0, 15.0, 0.75)


def _bench_room(temperature_c: Array, vapour_pa: Array, hours: Times, seed: int) -> Air:
    """Thick walls, heated in winter; humidifier and dehumidifier pull towards 45 %RH and let it drift."""
    heated_c = 18.3 + 0.7 * _daily(hours, 14) + 0.3 * _noise(seed, 11, hours, 30)
    free_c = np.maximum(_lagged(temperature_c, 48) + 2.5, heated_c)
    room_c = 19 + 2 * np.tanh((free_c - 19) / 2)
    with_people_pa = _lagged(vapour_pa, 40) + 220
    return room_c, _held(100 * with_people_pa / _saturation_pa(room_c), 58.0, 45.0, 7.0, 0.32)


def _finish_room(temperature_c: Array, vapour_pa: Array, hours: Times, seed: int) -> Air:
    """As the bench room, but its fan draws outdoor air in: it swings."""
    heated_c = 19 + 1.2 * _daily(hours, 14) + 1.2 * _noise(seed, 12, hours, 9)
    free_c = np.maximum(_lagged(temperature_c, 16) + 2, heated_c)
    room_c = 19.5 + 4 * np.tanh((free_c - 19.5) / 4)
    drawn_pa = _lagged(vapour_pa, 10) + 150 + 130 * _noise(seed, 13, hours, 7)
    return room_c, _held(100 * drawn_pa / _saturation_pa(room_c), 53.0, 46.0, 13.0, 0.8)


ROOMS: dict[str, Callable[[Array, Array, Times, int], Air]] = {
    "yard": _yard, "log-shed": _log_shed, "loft": _loft, "bench-room": _bench_room, "finish-room": _finish_room,
}


def air_at(place: str, at_ms: Times, seed: int = SEED) -> tuple[Array, Array]:
    """Return temperature in °C and relative humidity in % of a place at each time (UTC ms).

    Hourly values, with straight lines between the hours.
    """
    if len(at_ms) == 0:
        return np.zeros(0), np.zeros(0)
    first, last = int(np.min(at_ms)) // MS_PER_HOUR, int(np.max(at_ms)) // MS_PER_HOUR + 1
    hours = np.arange(first - WARMUP_H, last + 1, dtype=np.int64)
    wanted = hours[WARMUP_H:]
    temperature_c, rh_pct = ROOMS[place](*_outdoors(seed, hours), wanted, seed)
    before = at_ms // MS_PER_HOUR - first
    share = (at_ms % MS_PER_HOUR) / MS_PER_HOUR
    between = [one[before] * (1 - share) + one[before + 1] * share for one in (temperature_c, rh_pct)]
    return between[0], between[1]


def _measured(probe: Probe, at_ms: Times, seed: int, high_pct: float) -> tuple[Array, Array]:
    """Return what a probe would report, to 0.1: its corner of the place, and its own scatter."""
    place_c, place_pct = air_at(probe.place, at_ms, seed)
    here_c = place_c + probe.offset_c  # the same vapour in a slightly warmer or cooler corner
    here_pct = place_pct * _saturation_pa(place_c) / _saturation_pa(here_c)
    own = zlib.crc32(probe.code.encode())
    here_c = here_c + NOISE_C * _hash_unit(seed, own, at_ms)
    here_pct = here_pct + high_pct + NOISE_PCT * _hash_unit(seed, own + 1, at_ms)
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
