"""The invented weather of Oxlip Weir, outdoors and in its rooms.

A function of the seed and the absolute hour alone, so that a reading has the same value however often,
whenever and over whatever span it is asked for. A temperate, mild, maritime place; each year has a wet
spring (5 March to 10 May) and one hot dry week (9 to 16 June). Indoors, the outdoor water vapour follows
with a lag and meets the room's own temperature.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from shared.units import MS_PER_HOUR, Array

Times = NDArray[np.int64]

SEED = 1709
WARMUP_H = 240  # how far back a room remembers the weather


# Chance that can be asked again: hashes instead of a generator with a state.


def hash_unit(seed: int, channel: int, keys: Times) -> Array:
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
    return hash_unit(seed, channel, before) * (1 - share) + hash_unit(seed, channel, before + 1) * share


def _smoothstep(x: Array) -> Array:
    x = np.clip(x, 0.0, 1.0)
    return x * x * (3 - 2 * x)


# Outdoors.


def saturation_pa(temperature_c: Array) -> Array:
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
    saturated_pa = saturation_pa(temperature_c)
    rh_pct = _eased(100 * share * saturation_pa(mean_c) / saturated_pa, 90.0, 9.5)
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
    return now_c, 100 * vapour_pa[WARMUP_H:] / saturation_pa(now_c)


def _log_shed(temperature_c: Array, vapour_pa: Array, hours: Times, seed: int) -> Air:
    """Half its warmth from the stream and the ground; the stream and the wet boards keep it damp."""
    stream_c = _lagged(temperature_c, 48)
    room_c = 0.5 * stream_c + 0.5 * _lagged(temperature_c, 12) - 0.3
    mixed_pa = 0.6 * _lagged(vapour_pa, 36) + 0.4 * saturation_pa(stream_c)
    return room_c, _held(100 * mixed_pa / saturation_pa(room_c), 90.0, 86.5, 6.0, 0.55)


def _loft(temperature_c: Array, vapour_pa: Array, hours: Times, seed: int) -> Air:
    """Warmed from below and, by day, by the roof; the stacked wood evens the humidity out."""
    sun_c = np.maximum(_daily(hours, 15), -0.3) * (1.2 + 0.06 * np.maximum(temperature_c[WARMUP_H:], 0))
    room_c = _lagged(temperature_c, 8) + 4.2 + sun_c
    return room_c, _held(100 * _lagged(vapour_pa, 18) / saturation_pa(room_c), 60.0, 62.0, 15.0, 0.75)


def _bench_room(temperature_c: Array, vapour_pa: Array, hours: Times, seed: int) -> Air:
    """Thick walls, heated in winter; humidifier and dehumidifier pull towards 45 %RH and let it drift."""
    heated_c = 18.3 + 0.7 * _daily(hours, 14) + 0.3 * _noise(seed, 11, hours, 30)
    free_c = np.maximum(_lagged(temperature_c, 48) + 2.5, heated_c)
    room_c = 19 + 2 * np.tanh((free_c - 19) / 2)
    with_people_pa = _lagged(vapour_pa, 40) + 220
    return room_c, _held(100 * with_people_pa / saturation_pa(room_c), 58.0, 45.0, 7.0, 0.32)


def _finish_room(temperature_c: Array, vapour_pa: Array, hours: Times, seed: int) -> Air:
    """As the bench room, but its fan draws outdoor air in: it swings."""
    heated_c = 19 + 1.2 * _daily(hours, 14) + 1.2 * _noise(seed, 12, hours, 9)
    free_c = np.maximum(_lagged(temperature_c, 16) + 2, heated_c)
    room_c = 19.5 + 4 * np.tanh((free_c - 19.5) / 4)
    drawn_pa = _lagged(vapour_pa, 10) + 150 + 130 * _noise(seed, 13, hours, 7)
    return room_c, _held(100 * drawn_pa / saturation_pa(room_c), 53.0, 46.0, 13.0, 0.8)


ROOMS: dict[str, Callable[[Array, Array, Times, int], Air]] = {
    "yard": _yard,
    "log-shed": _log_shed,
    "loft": _loft,
    "bench-room": _bench_room,
    "finish-room": _finish_room,
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
