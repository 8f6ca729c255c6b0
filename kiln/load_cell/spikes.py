"""Handling that is over within the hour, which the hour's median does not feel: a person leaning on the stack."""

from __future__ import annotations

import numpy as np

from kiln.load_cell import words
from kiln.load_cell.hours import MAD_TO_SD
from kiln.load_cell.records import Event, Flags, value
from kiln.load_cell.walk import Walk
from shared.units import MS_PER_HOUR, MS_PER_MINUTE

_LEAST_IN_HOUR = 5  # readings, of which most are of the old weight
_JOINED_MS = 15 * MS_PER_MINUTE


def handled_within(walk: Walk) -> list[Event]:
    """Return excursions of single readings in hours that count, whose medians most readings keep where they were."""
    each = np.repeat(np.arange(walk.hour.size), walk.hours.count)
    return [event for run in _runs(walk, _far(walk)) if (event := _event(walk, run, each)) is not None]


def _far(walk: Walk) -> Flags:
    """Readings far from their hour's median, outside what the walk has told already."""
    at, n = walk.site.at_ms, walk.hours.count
    limit = np.maximum(value("spike_multiple") * walk.hours.noise_kg, walk.base)
    limit = np.maximum(limit, value("noise_multiple") * walk.hours.spread_kg)
    limit = np.where(walk.usable & (n >= _LEAST_IN_HOUR), limit, np.inf)
    far: Flags = np.abs(walk.site.raw_kg - np.repeat(walk.kg, n)) > np.repeat(limit, n)
    for event in walk.events:
        first, last = np.searchsorted(at, (event.start_ms, event.end_ms))
        far[first : last + 1] = False
    return far


def _runs(walk: Walk, far: Flags) -> list[np.ndarray[tuple[int], np.dtype[np.intp]]]:
    where = np.flatnonzero(far)
    if where.size == 0:
        return []
    return np.split(where, np.flatnonzero(np.diff(walk.site.at_ms[where]) > _JOINED_MS) + 1)


def _event(walk: Walk, run: np.ndarray[tuple[int], np.dtype[np.intp]], each: np.ndarray) -> Event | None:
    """One excursion; a single reading among many is a slip, not handling."""
    hour = int(each[run[0]])
    if run.size < 2 and walk.hours.count[hour] > 12:
        return None
    off = walk.site.raw_kg[run] - walk.kg[each[run]]
    size = float(np.median(off))
    if _of_next_door(walk, int(each[run[0]]), int(each[run[-1]]), float(np.median(walk.site.raw_kg[run])), abs(size)):
        return None
    error = float(np.hypot(MAD_TO_SD * np.median(np.abs(off - size)), walk.sd[hour]))
    at = walk.site.at_ms[run]
    return words.excursion(int(at[0]), min(int(at[-1]), int(at[0]) + MS_PER_HOUR * 24), size, error)


def _of_next_door(walk: Walk, first: int, last: int, level_kg: float, size_kg: float) -> bool:
    """Whether the readings are at the level of the hour before or after: a small step then, and not over."""
    beside = [k for k in (first - 1, last + 1) if 0 <= k < walk.hour.size]
    return any(abs(walk.kg[k] - level_kg) < size_kg / 2.0 for k in beside)
