"""The air of a place, hour by hour: which probe is believed, what fills a gap, and how wide it leaves things.

An hour is ``known`` when a believed probe reported in it. Unknown hours are filled by interpolation so
that the march can go on, and carry a spread: every member of an ensemble sees other air there.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from shared.tables import limit
from shared.units import MS_PER_DAY, MS_PER_HOUR, Array

STUCK_AFTER_HOURS = 24  # air never keeps temperature and humidity both to the last digit for a day
DISAGREE_RH_PCT = limit("probes_disagree")
UNCHECKED_RH_ERROR_PCT = limit("unchecked_hygrometer")
MOVED_C = 2.0  # a humidity that stays while the temperature moves by more is not measured; judgement
SHORT_GAP_HOURS = 6
FEWEST_FOR_RHYTHM = 6
SOONEST_SILENT_MS = MS_PER_HOUR // 2
LONGEST_USUAL_SHARE = 0.9  # of its steps are no longer than the longest usual one
GAP_SPREAD_C, GAP_SPREAD_RH_PCT = 3.0, 10.0  # one standard deviation of the air in a long gap; judgement
GAP_MEMORY_HOURS = 48.0


@dataclass(frozen=True)
class ProbeHours:
    """One probe's hourly summaries; hours without a good reading are absent."""

    at_ms: NDArray[np.int64]  # start of the hour
    temperature_c: Array
    rh_pct: Array
    flat_c: NDArray[np.bool_]  # the temperature did not move within this hour
    flat_rh: NDArray[np.bool_]  # nor the humidity


@dataclass(frozen=True)
class AirHours:
    """The air of one place or along one board's way, without holes: [hours] arrays."""

    at_ms: NDArray[np.int64]  # start of each hour, one after the other
    temperature_c: Array
    rh_pct: Array
    known: NDArray[np.bool_]
    spread_c: Array  # one standard deviation of what is not known [°C]
    spread_rh_pct: Array

    @property
    def end_ms(self) -> int:
        """The end of the last hour."""
        return int(self.at_ms[-1]) + MS_PER_HOUR


def rhythm_ms(at_ms: NDArray[np.int64]) -> int | None:
    """Return a probe's usual step [ms] from the times of some of its readings; None with fewer than six."""
    return int(np.median(np.diff(at_ms))) if len(at_ms) >= FEWEST_FOR_RHYTHM else None


def silent_after_ms(at_ms: NDArray[np.int64], usual_ms: int) -> int:
    """Return after how long without a word a probe is silent, by the times of some of its readings [ms].

    Ten of its usual steps, half an hour at least; a slow probe is given four, however long ``usual_ms``. One that
    reports changes only is quiet in calm air: twice its longest usual step counts too. ``usual_ms`` where nothing is
    known of its rhythm yet. Judgement.
    """
    rhythm = rhythm_ms(at_ms)
    if rhythm is None:
        return usual_ms
    longest = float(np.quantile(np.diff(at_ms), LONGEST_USUAL_SHARE, method="lower"))
    return max(int(np.clip(10 * rhythm, SOONEST_SILENT_MS, max(usual_ms, 4 * rhythm))), round(2.0 * longest))


def stuck_hours(probe: ProbeHours) -> NDArray[np.bool_]:
    """True for each hour of a run, of a day or more, over which the probe cannot have been measuring.

    Either neither quantity moved at all, or the humidity did not while the temperature moved by more than
    MOVED_C: no air does that.
    """
    n = len(probe.at_ms)
    if n == 0:
        return np.zeros(0, dtype=bool)
    still_rh = np.concatenate([[False], np.diff(probe.rh_pct) == 0]) & probe.flat_rh
    still_t = np.concatenate([[False], np.diff(probe.temperature_c) == 0]) & probe.flat_c
    both, humidity = _runs(still_rh & still_t), _runs(still_rh)
    stuck = _long(both)
    long_rh = _long(humidity)
    for run in np.unique(humidity[long_rh]):
        inside = humidity == run
        if np.ptp(probe.temperature_c[inside]) > MOVED_C:
            stuck = stuck | inside
    return np.asarray(stuck)


def _runs(still: NDArray[np.bool_]) -> NDArray[np.int64]:
    """Number the runs: an hour that moved begins a new one."""
    return np.asarray(np.cumsum(~still), dtype=np.int64)


def _long(runs: NDArray[np.int64]) -> NDArray[np.bool_]:
    return np.asarray(np.bincount(runs)[runs] > STUCK_AFTER_HOURS)


def merge(probes: list[ProbeHours], start_ms: int, end_ms: int) -> AirHours:
    """Make the air of a place of its probes' hours: the mean of those that reported and were not stuck.

    Raises ValueError when the span holds no whole hour.
    """
    first = start_ms - start_ms % MS_PER_HOUR
    hours = np.arange(first, end_ms - end_ms % MS_PER_HOUR, MS_PER_HOUR, dtype=np.int64)
    if len(hours) == 0:
        raise ValueError("the span holds no whole hour")
    t_sum, rh_sum, count = np.zeros(len(hours)), np.zeros(len(hours)), np.zeros(len(hours))
    for probe in probes:
        good = ~stuck_hours(probe)
        at = (probe.at_ms[good] - first) // MS_PER_HOUR
        inside = (at >= 0) & (at < len(hours))
        index = at[inside]
        t_sum[index] += probe.temperature_c[good][inside]
        rh_sum[index] += probe.rh_pct[good][inside]
        count[index] += 1
    known = count > 0
    return _filled(
        hours,
        np.where(known, t_sum / np.maximum(count, 1), np.nan),
        np.where(known, rh_sum / np.maximum(count, 1), np.nan),
        known,
    )


def _filled(hours: NDArray[np.int64], temperature_c: Array, rh_pct: Array, known: NDArray[np.bool_]) -> AirHours:
    zero = np.zeros(len(hours))
    if not known.any():
        return AirHours(hours, zero + np.nan, zero + np.nan, known, zero + np.nan, zero + np.nan)
    at = np.flatnonzero(known)
    everywhere = np.arange(len(hours))
    t = np.interp(everywhere, at, temperature_c[at])
    rh = np.clip(np.interp(everywhere, at, rh_pct[at]), 0.0, 100.0)
    distance = _hours_to_known(known)
    growth = np.clip((distance - SHORT_GAP_HOURS / 2) / SHORT_GAP_HOURS, 0.0, 1.0)
    return AirHours(hours, t, rh, known, growth * GAP_SPREAD_C, growth * GAP_SPREAD_RH_PCT)


def _hours_to_known(known: NDArray[np.bool_]) -> Array:
    """Distance of each hour to the nearest known one [h]."""
    at = np.flatnonzero(known)
    everywhere = np.arange(len(known))
    after = np.clip(np.searchsorted(at, everywhere), 0, len(at) - 1)
    before = np.clip(after - 1, 0, len(at) - 1)
    return np.asarray(np.minimum(np.abs(at[after] - everywhere), np.abs(at[before] - everywhere)), dtype=np.float64)


def join(parts: list[AirHours]) -> AirHours:
    """Put the airs of one stay after another together: the way of a board through its places."""
    return AirHours(
        *(np.concatenate([getattr(part, name) for part in parts]) for name in AirHours.__dataclass_fields__)
    )


def fill_holes(air: AirHours) -> AirHours:
    """Fill again over a whole way: a stay without any logged air takes what came before and after it."""
    return _filled(air.at_ms, air.temperature_c, air.rh_pct, air.known)


def members_c(air: AirHours, count: int, seed: int) -> Array:
    """Return temperatures [°C; count, hours]: alike where known, each its own in gaps."""
    t = np.tile(air.temperature_c, (count, 1))
    if np.all(air.spread_c == 0):
        return t
    return np.asarray(t + air.spread_c * _wandering(np.random.default_rng(seed), count, len(air.at_ms)))


def _wandering(rng: np.random.Generator, count: int, hours: int) -> Array:
    """Unit-variance noise [count, hours] that keeps its course for a couple of days."""
    from scipy.signal import lfilter

    keep = float(np.exp(-1.0 / GAP_MEMORY_HOURS))
    steps = rng.standard_normal((count, hours)) * np.sqrt(1.0 - keep**2)
    steps[:, 0] = rng.standard_normal(count)
    return np.asarray(lfilter([1.0], [1.0, -keep], steps, axis=1))


def disagreement_rh_pct(one: ProbeHours, other: ProbeHours, since_ms: int) -> float | None:
    """Mean difference in humidity of two probes in one place [%RH]; None with less than a day in common."""
    common, i, j = np.intersect1d(one.at_ms[one.at_ms >= since_ms], other.at_ms, return_indices=True)
    if len(common) < MS_PER_DAY // MS_PER_HOUR:
        return None
    offset = int(np.searchsorted(one.at_ms, since_ms))
    return float(np.mean(one.rh_pct[i + offset] - other.rh_pct[j]))
