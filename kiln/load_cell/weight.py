"""A continuous weight from a load cell under a stack, or from a board hanging on one.

Out of raw readings come hourly weights that a refit of the drying can use, with tare, drift, rain and handling told
apart. What the cell's zero does unseen is never taken for drying, nor drying for it: it widens the common error.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from typing import NamedTuple

import numpy as np

from kiln.load_cell import words
from kiln.load_cell.hours import by_hour, silences, unloaded, with_seen, zero_of
from kiln.load_cell.line import Site
from kiln.load_cell.records import Anchor, Cell, Continuous, Event, Flags, Indices, Tare, Times, value
from kiln.load_cell.spikes import handled_within
from kiln.load_cell.walk import Walk
from kiln.load_cell.zero import Weights, weights
from shared.errors import BadInput
from shared.units import MS_PER_DAY, MS_PER_HOUR, Array

_Spells = tuple[tuple[int, int, float], ...]


class Thinned(NamedTuple):
    """A few weights for a refit: times, kg, and one standard error each [kg], its own and what a group shares.

    ``common_sd_kg``: of two weights of one ``group`` the smaller is in both, the rest came since (a zero that walks).
    ``uneven_kg``: of one board's part of a stack's loss, too great by about the same factor in all of a group.
    """

    at_ms: Times
    mass_kg: Array
    sd_kg: Array
    common_sd_kg: Array
    uneven_kg: Array
    group: Indices  # of those of ``Continuous.shares``

    def only(self, which: Flags | Indices) -> Thinned:
        """Return some of them."""
        errors = self.sd_kg[which], self.common_sd_kg[which], self.uneven_kg[which]
        return Thinned(self.at_ms[which], self.mass_kg[which], *errors, self.group[which])


def continuous_weight(
    at_ms: Times,
    raw_kg: Array,
    cell: Cell,
    rain: tuple[Times, Array] | None = None,
    until_ms: int | None = None,
    *,
    weighed_apart: bool = False,
) -> Continuous:
    """Return the weight hour by hour, and what happened to it.

    ``at_ms`` int64[n] strictly rising, ``raw_kg`` float[n]: good readings only, 1 min to 1 h apart, with gaps; NaN is
    passed over. ``rain``: (rising times [ms], mm since the reading before), which corroborates and is not needed.
    ``until_ms``: now, so that a cell that fell silent is told. Hours are those of UTC.
    ``weighed_apart``: the weigh-ins count by themselves beside the weights, so none is in these but the first of each
    load that has no tare; ``shares`` of such a load is then 1 + the place of that weigh-in in ``cell.anchors``.

    Zero: straight between tares, with the error of a random walk. A step that comes back within ``excursion_h`` is an
    excursion; one that stays begins a new epoch. A rise that comes little by little, or that falls back, is rain or
    dew, and left out until the weight is on the line of the drying again. An hour's word is final two days later,
    but for a later tare, weigh-in or spell with nothing on the cell. All limits: ``load_cell.csv``; most are judgement.
    Raises BadInput for times that do not rise or lengths that differ. Method ours; cell errors OIML R 60 (from memory).
    """
    at, raw = _checked(at_ms, raw_kg)
    if at.size == 0:
        return _nothing()
    empty, spells = unloaded(at, raw, cell)
    tares = with_seen(cell.tares, spells)
    loaded_at, loaded_raw = at[~empty], raw[~empty]
    events = _told(at, tares, cell, spells, until_ms)
    if loaded_at.size == 0:
        return _nothing(tuple(events))
    hours = by_hour(loaded_at, loaded_raw)
    walk = Walk(hours, _site(loaded_at, loaded_raw, cell, tares, spells, hours.number, rain))
    walk.run()
    events += walk.events + handled_within(walk)
    mid_ms = hours.number * MS_PER_HOUR + MS_PER_HOUR // 2
    sd = _filled(walk.sd, cell.error_kg)

    def weighed_by(anchors: tuple[Anchor, ...]) -> Weights:
        return weights(replace(cell, anchors=anchors), tares, mid_ms, walk.kg, sd, walk.epoch, walk.usable)

    found = _once(cell.anchors, weighed_by) if weighed_apart else weighed_by(cell.anchors)
    notes = [words.SLOW_DRIFT, *found.notes]
    if not tares and not cell.anchors:
        notes.append(words.NO_ZERO)
    elif not found.absolute[-1]:
        notes.append(words.NOT_ABSOLUTE if walk.epoch[-1] else words.NO_ZERO)
    return Continuous(
        mid_ms,
        found.mass_kg,
        sd,
        found.common_sd_kg,
        walk.epoch,
        walk.usable,
        found.absolute,
        found.shares,
        tuple(sorted(events, key=lambda event: (event.start_ms, event.end_ms, event.kind))),
        tuple(notes),
    )


def thinned(weight: Continuous, most: int) -> Thinned:
    """Return at most ``most`` usable absolute weights, about one a day, the newest always among them.

    What n of them have in common does not average away with n, and is in none of their changes: a refit is told it
    as common (``kiln.likelihood.in_common``). None is told as surer by itself than the least step that is looked for.
    Of each day (UTC) the hour nearest the day's median is taken. Raises BadInput where ``most`` is less than 1.
    """
    if most < 1:
        raise BadInput("most", most, "1 or more")
    good = np.flatnonzero(weight.usable & weight.absolute)
    if good.size == 0:
        return no_weights()
    days = [_middle(weight, inside) for inside in _by_day(weight, good)]
    days[-1] = int(good[-1])
    chosen = np.array(days)[_spread(len(days), most)]
    mass = weight.mass_kg[chosen]
    sd = np.maximum(weight.sd_kg[chosen], value("least_step_share") * np.abs(mass))
    common = weight.common_sd_kg[chosen]
    return Thinned(weight.at_ms[chosen], mass, sd, common, np.zeros(chosen.size), weight.shares[chosen])


def no_weights() -> Thinned:
    """Return what is left of nothing."""
    none = np.zeros(0)
    return Thinned(np.zeros(0, dtype=np.int64), none, none, none, none, np.zeros(0, dtype=np.intp))


def _once(anchors: tuple[Anchor, ...], weighed_by: Callable[[tuple[Anchor, ...]], Weights]) -> Weights:
    """Weights by the tares, and by as few weigh-ins as say what each load weighs; ``shares`` says by which."""
    kept: tuple[Anchor, ...] = ()
    found = weighed_by(kept)
    shares = found.shares
    for place, anchor in sorted(enumerate(anchors), key=lambda one: one[1]):
        if found.absolute.all():
            break
        with_it = weighed_by((*kept, anchor))
        told = with_it.absolute & ~found.absolute
        if told.any():
            kept, found = (*kept, anchor), with_it
            shares = np.where(told, 1 + place, shares)
    return replace(found, shares=shares)


def _by_day(weight: Continuous, good: Indices) -> list[Indices]:
    """The good hours of each day and epoch."""
    day = weight.at_ms[good] // MS_PER_DAY
    new = np.flatnonzero((np.diff(day) != 0) | (np.diff(weight.epoch[good]) != 0)) + 1
    return list(np.split(good, new))


def _middle(weight: Continuous, inside: Indices) -> int:
    mass = weight.mass_kg[inside]
    return int(inside[np.argmin(np.abs(mass - np.median(mass)))])


def _spread(count: int, most: int) -> Indices:
    """Return at most ``most`` of ``count`` places, evenly, the last always."""
    if count <= most:
        return np.arange(count)
    return np.unique(np.round(np.linspace(count - 1, 0, most)).astype(np.intp)) if most > 1 else np.array([count - 1])


def _checked(at_ms: Times, raw_kg: Array) -> tuple[Times, Array]:
    at, raw = np.asarray(at_ms, dtype=np.int64), np.asarray(raw_kg, dtype=float)
    if at.ndim != 1 or at.shape != raw.shape:
        raise BadInput("raw_kg", f"of shape {raw.shape}", f"one reading for each of {at.size} times")
    if np.any(np.diff(at) <= 0):
        where = int(np.flatnonzero(np.diff(at) <= 0)[0]) + 1
        raise BadInput("at_ms", int(at[where]), "times that rise from reading to reading")
    kept = np.isfinite(raw)
    return at[kept], raw[kept]


def _site(
    at: Times,
    raw: Array,
    cell: Cell,
    tares: tuple[Tare, ...],
    spells: _Spells,
    hours: Times,
    rain: tuple[Times, Array] | None,
) -> Site:
    wet: frozenset[int] = frozenset()
    if rain is not None:
        wet = frozenset((np.asarray(rain[0])[np.asarray(rain[1]) > 0.0] // MS_PER_HOUR).tolist())
    weighed = np.array(sorted(anchor.at_ms // MS_PER_HOUR for anchor in cell.anchors), dtype=np.int64)
    tared = {tare.at_ms // MS_PER_HOUR for tare in cell.tares}
    tared |= {hour for start, end, _ in spells for hour in (start // MS_PER_HOUR, end // MS_PER_HOUR)}
    zero = zero_of(tares, hours * MS_PER_HOUR)
    return Site(at, raw, cell, zero, wet, weighed, np.array(sorted(tared), dtype=np.int64))


def _told(at: Times, tares: tuple[Tare, ...], cell: Cell, spells: _Spells, until_ms: int | None) -> list[Event]:
    """Events that need no judgement: tares with the drift between them, spells with nothing on, silences."""
    entered, events = set(cell.tares), [words.unloaded(start, end) for start, end, _ in spells]
    before: Sequence[Tare | None] = (None, *tares)[: len(tares)]
    for tare, last in zip(tares, before, strict=True):
        drift = tare.reading_kg - last.reading_kg if last else float("nan")
        since = tare.at_ms - last.at_ms if last else None
        error = float(np.sqrt(2.0)) * cell.error_kg
        events.append(words.tare(tare.at_ms, drift, error, since, seen=tare not in entered))
    for start, end in silences(at, until_ms):
        events.append(words.gap(start, end, over=end <= int(at[-1])))
    return events


def _filled(sd: Array, fallback: float) -> Array:
    """Give hours that do not count the scatter of the last one that does."""
    known = np.maximum.accumulate(np.where(np.isfinite(sd), np.arange(sd.size), -1))
    return np.where(known >= 0, sd[known], fallback)


def _nothing(events: tuple[Event, ...] = ()) -> Continuous:
    none, whole = np.zeros(0), np.zeros(0, dtype=np.intp)
    flags: Flags = np.zeros(0, dtype=bool)
    return Continuous(
        np.zeros(0, dtype=np.int64), none, none, none, whole, flags, flags, whole, events, (words.SLOW_DRIFT,)
    )
