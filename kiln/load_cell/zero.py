"""What the cell reads beyond the true weight: known at tares and weigh-ins, straight between them, less sure after.

The zero of an unwatched cell is taken for a random walk: sure where it was seen, and between two sightings on the
straight line that joins them, with the spread of a walk tied at both ends. A move seen between two tares that is
larger than the table's raises the spread from there on.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from kiln.load_cell.records import Anchor, Cell, Flags, Indices, Tare, Times, value
from shared.units import MS_PER_DAY, MS_PER_HOUR, Array

_MONTH_MS = 30 * MS_PER_DAY
_DISAGREE_SD = 3.0


class Knot(NamedTuple):
    """Where the offset [kg] of the reading from the truth is known, and its variance [kg²]."""

    at_ms: int
    offset_kg: float
    variance: float


@dataclass
class Weights:
    """True weights by the hour [kg], their common error, whether absolute, and what shares an error."""

    mass_kg: Array
    common_sd_kg: Array
    absolute: Flags
    shares: Indices
    notes: list[str]


def weights(
    cell: Cell, tares: tuple[Tare, ...], mid_ms: Times, raw_kg: Array, sd_kg: Array, epoch: Indices, usable: Flags
) -> Weights:
    """Turn hourly readings into weights, epoch by epoch; arrays of one length, epochs rising from 0."""
    n = mid_ms.size
    out = Weights(np.zeros(n), np.zeros(n), np.zeros(n, dtype=bool), np.zeros(n, dtype=np.intp), [])
    carried: list[Knot] = []
    for number in np.unique(epoch):
        inside = np.flatnonzero(epoch == number)
        reach = _reach(mid_ms, epoch, usable, int(number))
        tared = any(reach[0] <= tare.at_ms <= reach[1] for tare in tares)
        first = inside[np.argmax(usable[inside])]
        load = float(raw_kg[first]) - (tares[-1].reading_kg if tares else 0.0)
        zeros = [_from_tare(cell, tare, load) for tare in tares]
        weighed = _from_anchors(cell, mid_ms, raw_kg, sd_kg, inside[usable[inside]], reach, out.notes)
        knots = _chosen(cell, zeros, weighed, tared, out.notes) or zeros + carried or [_assumed(mid_ms, load)]
        offset, variance = _along(cell, knots, mid_ms[inside])
        out.mass_kg[inside] = raw_kg[inside] - offset
        out.common_sd_kg[inside] = np.sqrt(variance)
        out.absolute[inside] = tared or bool(weighed)
        out.shares[inside] = 1 + number if weighed and not tared else 0
        carried += weighed
    return out


def _reach(mid_ms: Times, epoch: Indices, usable: Flags, number: int) -> tuple[float, float]:
    """From the last clean hour before an epoch to the first clean one after it: a tare in there is of it.

    Epochs shorter than ``excursion_h`` just before it are the loading of the cell, and belong to it.
    """
    own = number
    while number and np.ptp(mid_ms[epoch == number - 1]) < value("excursion_h") * MS_PER_HOUR:
        number -= 1
    before, after = np.flatnonzero(usable & (epoch < number)), np.flatnonzero(usable & (epoch > own))
    return (
        float(mid_ms[before[-1]]) if before.size else -np.inf,
        float(mid_ms[after[0]]) if after.size else np.inf,
    )


def _from_tare(cell: Cell, tare: Tare, load_kg: float) -> Knot:
    """A tare tells the zero; loaded, the cell has its stated error besides, creep and what warmth does to it."""
    shares = (value("creep_share"), value("zero_return_share"), value("zero_share_per_k") * value("season_k"))
    return Knot(tare.at_ms, tare.reading_kg, cell.error_kg**2 + sum((share * load_kg) ** 2 for share in shares))


def _from_anchors(
    cell: Cell, mid_ms: Times, raw_kg: Array, sd_kg: Array, clean: Indices, reach: tuple[float, float], notes: list[str]
) -> list[Knot]:
    """Offsets at the weigh-ins of one epoch, by its clean hours."""
    found = []
    for anchor in sorted(cell.anchors):
        if not (clean.size and mid_ms[clean[0]] - MS_PER_HOUR <= anchor.at_ms <= mid_ms[clean[-1]] + MS_PER_HOUR):
            _lost(anchor, clean, mid_ms, reach, notes)
            continue
        near = clean[np.argmin(np.abs(mid_ms[clean] - anchor.at_ms))]
        if abs(int(mid_ms[near]) - anchor.at_ms) > value("anchor_reach_h") * MS_PER_HOUR:
            _lost(anchor, clean, mid_ms, reach, notes)
            continue
        level = float(np.interp(anchor.at_ms, mid_ms[clean], raw_kg[clean]))
        warmth = value("zero_share_per_k") * value("season_k") * anchor.mass_kg
        variance = anchor.error_kg**2 + float(sd_kg[near]) ** 2 + warmth**2
        found.append(Knot(anchor.at_ms, level - anchor.mass_kg, variance))
    return found


def _lost(anchor: Anchor, clean: Indices, mid_ms: Times, reach: tuple[float, float], notes: list[str]) -> None:
    """Say that a weigh-in has no clean hour near it, if it is of this epoch."""
    inside = clean.size == 0 or mid_ms[clean[0]] <= anchor.at_ms <= mid_ms[clean[-1]]
    if inside and reach[0] <= anchor.at_ms <= reach[1]:
        notes.append(f"The weigh-in of {anchor.mass_kg:g} kg has no clean reading of the cell near it: not used.")


def _chosen(cell: Cell, zeros: list[Knot], weighed: list[Knot], tared: bool, notes: list[str]) -> list[Knot]:
    """What an epoch goes by: its tares with the weigh-ins that know better, or its weigh-ins alone, or nothing."""
    if not tared:
        return weighed
    better = []
    for knot in weighed:
        offset, variance = _along(cell, zeros, np.array([knot.at_ms]))
        apart = knot.offset_kg - float(offset[0])
        if abs(apart) > _DISAGREE_SD * np.sqrt(knot.variance + float(variance[0])):
            notes.append(
                f"The cell and a weigh-in differ by {abs(apart):.3g} kg, more than both allow: look at the scale, at "
                "the tares, and at what touches the load."
            )
        if knot.variance < float(variance[0]):
            better.append(knot)
    return sorted(zeros + better)


def _assumed(mid_ms: Times, load_kg: float) -> Knot:
    return Knot(int(mid_ms[0]), 0.0, (value("untared_share") * load_kg) ** 2)


def _along(cell: Cell, knots: list[Knot], at_ms: Times) -> tuple[Array, Array]:
    """Offset [kg] and its variance [kg²] at any times: a random walk tied to its knots."""
    knots = sorted(knots)
    t = np.array([knot.at_ms for knot in knots], dtype=float)
    y, seen = np.array([knot.offset_kg for knot in knots]), np.array([knot.variance for knot in knots])
    now = at_ms.astype(float)
    after = np.searchsorted(t, now, "right")
    low, high = np.maximum(after - 1, 0), np.minimum(after, t.size - 1)
    since, until, whole = np.abs(now - t[low]), np.abs(t[high] - now), np.maximum(t[high] - t[low], 1.0)
    apart = np.where(low == high, since, since * until / whole)
    growth = _growth(cell, t, y, seen)[np.where(low == high, np.maximum(after - 2, 0), low)]
    return np.asarray(np.interp(now, t, y)), np.asarray(np.interp(now, t, seen) + growth * apart)


def _growth(cell: Cell, t: Array, y: Array, seen: Array) -> Array:
    """Variance per ms of the walk after each knot: the table's, or what was seen there if that is more."""
    usual = (value("walk_errors_per_month") * cell.error_kg) ** 2 / _MONTH_MS
    if t.size < 2:
        return np.array([usual])
    moved = np.maximum(np.diff(y) ** 2 - seen[:-1] - seen[1:], 0.0)
    return np.maximum(usual, moved / np.maximum(np.diff(t), float(MS_PER_DAY)))
