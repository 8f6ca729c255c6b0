"""Raw readings of a load cell by the hour: medians, scatter, spells with nothing on the cell, silences."""

from __future__ import annotations

import numpy as np

from kiln.load_cell.records import Cell, Flags, Hours, Indices, Tare, Times, value
from shared.units import MS_PER_DAY, MS_PER_HOUR, Array

MAD_TO_SD = 1.4826  # of a normal distribution
LEAST_IN_HOUR = 5  # fewer readings do not tell their own scatter
FIRST = 24
SPELL_LEAST = 2  # readings; a single one near zero may be a slip
_ROUNDS = 3  # a zero seen moves the zero that the next spell is compared with


def group_medians(group: Times | Indices, values: Array) -> tuple[Times | Indices, Array, Indices]:
    """Return the groups in rising order, the median of each, and where each begins; ``group`` must be rising."""
    numbers, first, count = np.unique(group, return_index=True, return_counts=True)
    inside = values[np.lexsort((values, group))]
    low, high = first + (count - 1) // 2, first + count // 2
    return numbers, np.asarray((inside[low] + inside[high]) / 2.0), first


def middle(values: Array) -> float:
    """Return the median of a few numbers (numpy's own is made for many)."""
    inside = np.sort(values)
    return float(inside[(inside.size - 1) // 2] + inside[inside.size // 2]) / 2.0


def by_hour(at_ms: Times, raw_kg: Array) -> Hours:
    """Gather readings (rising times [ms], kg) by the hour.

    The noise of one reading comes from the second differences of successive ones, which a step or a slope hardly
    touches: those of the hour, and no less than those of its day or of the median of that and the two days before.
    """
    number, median, first = group_medians(at_ms // MS_PER_HOUR, raw_kg)
    count = np.diff(np.append(first, at_ms.size))
    each = np.repeat(np.arange(number.size), count)
    _, mad, _ = group_medians(each, np.abs(raw_kg - median[each]))
    hour = np.asarray(number, dtype=np.int64)
    noise = np.maximum(_noise(at_ms, raw_kg, hour, count), _resolution(raw_kg))
    return Hours(hour, median, noise, MAD_TO_SD * mad, count, first)


def _noise(at_ms: Times, raw_kg: Array, hour: Times, count: Indices) -> Array:
    """Noise of one reading [kg] in each hour."""
    if at_ms.size < 3:
        return np.zeros(hour.size)
    hours, own = _by_differences(at_ms, raw_kg, MS_PER_HOUR)
    days, daily = _by_differences(at_ms, raw_kg, MS_PER_DAY)
    before = np.stack([daily, np.r_[daily[:1], daily[:-1]], np.r_[daily[:2], daily[:-2]][: daily.size]])
    daily = np.maximum(daily, np.median(before, axis=0))
    of_day = daily[np.clip(np.searchsorted(days, hour * MS_PER_HOUR // MS_PER_DAY), 0, days.size - 1)]
    of_hour = own[np.clip(np.searchsorted(hours, hour), 0, hours.size - 1)]
    return np.asarray(np.maximum(of_day, np.where(count >= LEAST_IN_HOUR, of_hour, 0.0)))


def _by_differences(at_ms: Times, raw_kg: Array, length_ms: int) -> tuple[Times | Indices, Array]:
    """Return stretches of ``length_ms`` and the noise of one reading in each; second differences know no slope."""
    stretch, typical, _ = group_medians(at_ms[2:] // length_ms, np.abs(np.diff(raw_kg, 2)))
    return stretch, np.asarray(MAD_TO_SD * typical / np.sqrt(6.0))


def _resolution(raw_kg: Array) -> float:
    """Standard deviation of rounding: the smallest change in the first readings over √12; a part in 10⁶ at least.

    Of the first ones only, so that later ones change nothing that was said.
    """
    steps = np.abs(np.diff(raw_kg[:FIRST]))
    moved = steps[steps > 0.0]
    least = float(moved.min()) if moved.size else 0.0
    return max(least, 1e-6 * float(np.abs(raw_kg[:FIRST]).max())) / float(np.sqrt(12.0))


def zero_of(tares: tuple[Tare, ...], at_ms: Times) -> Array:
    """Reading [kg] with nothing on the cell: linear between tares, held outside them, nought without any."""
    if not tares:
        return np.zeros(at_ms.size)
    return np.asarray(np.interp(at_ms, [t.at_ms for t in tares], [t.reading_kg for t in tares]))


def unloaded(at_ms: Times, raw_kg: Array, cell: Cell) -> tuple[Flags, tuple[tuple[int, int, float], ...]]:
    """Find the readings with nothing on the cell; returns them, and each spell as (start_ms, end_ms, median kg).

    Nothing is on it within a few stated errors of the zero, or a small share of the load before. A spell seen counts
    as a tare for those after it.
    """
    tares = tuple(sorted(cell.tares))
    near, found = np.zeros(at_ms.size, dtype=bool), ()  # type: tuple[Flags, tuple[tuple[int, int, float], ...]]
    for _ in range(_ROUNDS):
        net = raw_kg - zero_of(tares, at_ms)
        near = np.abs(net) <= np.maximum(value("near_zero_errors") * cell.error_kg, _near_share(at_ms, net, cell))
        again = _spells(at_ms, raw_kg, near)
        if again == found:
            break
        found = again
        tares = with_seen(cell.tares, found)
    for start, end in _runs(near):
        near[start:end] &= end - start >= SPELL_LEAST
    return near, found


def with_seen(entered: tuple[Tare, ...], spells: tuple[tuple[int, int, float], ...]) -> tuple[Tare, ...]:
    """Return the tares entered and those seen, in order; a spell in which somebody entered one counts once."""
    taken = [
        Tare((start + end) // 2, middle)
        for start, end, middle in spells
        if not any(start - MS_PER_HOUR <= tare.at_ms <= end + MS_PER_HOUR for tare in entered)
    ]
    return tuple(sorted((*entered, *taken)))


def _near_share(at_ms: Times, net_kg: Array, cell: Cell) -> Array:
    """How near zero nothing is on it: a share of the load of the last loaded hour before."""
    hour, middle, first = group_medians(at_ms // MS_PER_HOUR, net_kg)
    least = value("near_zero_errors") * cell.error_kg / value("near_zero_share")
    loaded = np.where(middle > least, np.arange(hour.size), -1)
    last = np.maximum.accumulate(np.r_[-1, loaded[:-1]])
    share = np.where(last >= 0, value("near_zero_share") * middle[last], 0.0)
    return np.asarray(np.repeat(share, np.diff(np.append(first, at_ms.size))))


def _runs(flags: Flags) -> list[tuple[int, int]]:
    """Runs of True as [start, end)."""
    edges = np.flatnonzero(np.diff(np.r_[False, flags, False]))
    return [(int(a), int(b)) for a, b in zip(edges[::2], edges[1::2], strict=True)]


def _spells(at_ms: Times, raw_kg: Array, near: Flags) -> tuple[tuple[int, int, float], ...]:
    """Spells of readings near zero; an hour apart or less is one."""
    joined: list[tuple[int, int]] = []
    for start, end in _runs(near):
        if end - start < SPELL_LEAST:
            continue
        if joined and at_ms[start] - at_ms[joined[-1][1] - 1] <= MS_PER_HOUR:
            joined[-1] = (joined[-1][0], end)
        else:
            joined.append((start, end))
    return tuple((int(at_ms[a]), int(at_ms[b - 1]), float(np.median(raw_kg[a:b][near[a:b]]))) for a, b in joined)


def silences(at_ms: Times, until_ms: int | None) -> list[tuple[int, int]]:
    """Return the stretches without a reading longer than ``gap_h``, the last one up to ``until_ms`` where given."""
    ends = at_ms if until_ms is None else np.append(at_ms, max(until_ms, int(at_ms[-1])))
    long = np.flatnonzero(np.diff(ends) > value("gap_h") * MS_PER_HOUR)
    return [(int(ends[k]), int(ends[k + 1])) for k in long]
