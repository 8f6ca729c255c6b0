"""A second look at what was just stored: readings that their neighbours give the lie.

It runs in the transaction that stored them. The rules, with the figures of ``probe_limits.csv``:

* SPIKE: a reading far from the median of up to three readings before and three after it (two of each at least,
  within a time window), when all of these but one lie near that median. So a spike of two readings is told, and
  two spikes close together; of three readings in a row it is not, and a step, which stays, never is. The newest
  readings have none after them yet: a spike is found when those come.
* TOO_FAST: a reading away from the one before and from the one after to the same side, both times faster than
  possible, and no spike (its neighbours are too few, or do not agree). Steps under a minute count as a minute.
* STUCK: the very same figure in at least STUCK_READINGS readings without a gap of STUCK_GAP_MS, for longer than
  the table's time while the sibling quantity moved by more than the table's amount, or for more than STILL_MS
  while the sibling stood still for as long. A probe that seems to show whole numbers (the figure is whole, and
  so are those right before and after the run) is given COARSE times the time and the move. From the upper end on
  nothing is stuck: saturated air reads 100.0 for days. Spikes neither end a run nor belong to it. A run is
  flagged from its first reading to its last. Each reading is judged by that part of its run which lies in its
  own block of BLOCK_MS (counted from 1970) and in the two beside it; of the last hour of that part nothing
  counts, so that a run which goes on need not be judged anew at every reading.

So every flag hangs on the rows stored near it and on nothing else: late data sets flags and lifts them, and the
order of arrival leaves no trace. What was flagged on arrival (out of range, clock ahead) stays so and is nobody's
neighbour. Values are never altered.
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np
from sqlalchemy import Connection

from sensors.jumps import SIDE, jumps
from sensors.quality import Jumps, limits
from sensors.stillness import STILL_MS, STUCK_GAP_MS, Line, block, bounds, same_hour, stuck
from shared.store import nearby, readings
from shared.store.nearby import Span
from shared.store.records import NewReading, Quality, Series
from shared.units import MS_PER_HOUR, MS_PER_MINUTE

CLUSTER_GAP_MS, CLUSTER_MS = 30 * MS_PER_MINUTE, 6 * MS_PER_HOUR  # shorter than a run that could be stuck

JUDGED = (Quality.GOOD, Quality.SPIKE, Quality.TOO_FAST, Quality.STUCK)  # the others were given on arrival
STEADY = (Quality.GOOD, Quality.STUCK)

Change = tuple[int, int, Quality]
Row = tuple[int, float, Quality]


@dataclass(frozen=True)
class Touched:
    """A short stretch of a series in which something was stored or changed."""

    series: Series
    sibling: Series | None  # the quantity that moves with it, of the same probe
    first_ms: int
    last_ms: int


def after(connection: Connection, rows: Sequence[NewReading]) -> int:
    """Judge the readings around ``rows``, which the open transaction has stored; return how many flags changed.

    Rows that were there already, or that stood against another value, may be among them.
    """
    touched = _touched(connection, rows)
    jumped = _look_for_jumps(connection, touched)
    readings.set_qualities(connection, jumped)
    still = _look_for_stillness(connection, _places(touched + _changed(touched, jumped)))
    readings.set_qualities(connection, still)
    return len({(series_id, at_ms) for series_id, at_ms, _ in jumped + still})


def _touched(connection: Connection, rows: Iterable[NewReading]) -> list[Touched]:
    moments: dict[int, set[int]] = {}
    for one in rows:
        if one.quality in JUDGED:
            moments.setdefault(one.series_id, set()).add(one.at_ms)
    if not moments:
        return []
    beside = nearby.series_beside(connection, moments)
    by_id = {one.id: one for one in beside}
    by_name = {(one.probe_id, one.quantity): one for one in beside}
    found = []
    for series_id, when in moments.items():
        series = by_id[series_id]
        rule = limits()[series.quantity].stillness
        sibling = by_name.get((series.probe_id, rule.sibling)) if rule else None
        found += [Touched(series, sibling, *ends) for ends in _clusters(sorted(when))]
    return found


def _clusters(moments: Sequence[int]) -> Iterator[tuple[int, int]]:
    """Cut moments in order into clusters without a longer gap, none of them long."""
    first = last = moments[0]
    for moment in moments[1:]:
        if moment - last > CLUSTER_GAP_MS or moment - first > CLUSTER_MS:
            yield first, last
            first = moment
        last = moment
    yield first, last


def _changed(touched: Iterable[Touched], changes: Iterable[Change]) -> list[Touched]:
    """Return where a flag changed: there a run may have been mended or broken."""
    by_id = {one.series.id: one for one in touched}
    return [replace(by_id[series_id], first_ms=at_ms, last_ms=at_ms) for series_id, at_ms, _ in changes]


# --- spikes, and what is too fast ---------------------------------------------------------------------


def _look_for_jumps(connection: Connection, touched: Iterable[Touched]) -> list[Change]:
    asked = [(one, rule) for one in touched if (rule := limits()[one.series.quantity].jumps)]
    if not asked:
        return []
    spans = [
        Span(one.series.id, one.first_ms, one.last_ms, one.first_ms - 2 * w, one.last_ms + 2 * w)
        for one, w in ((one, rule.within_ms) for one, rule in asked)
    ]
    changes: dict[tuple[int, int], Quality] = {}
    for (one, rule), rows in zip(asked, nearby.around(connection, spans, JUDGED, 2 * SIDE), strict=True):
        for at_ms, flag in _jump_changes(one, rule, rows):
            changes[one.series.id, at_ms] = flag
    return [(series_id, at_ms, flag) for (series_id, at_ms), flag in changes.items()]


def _jump_changes(one: Touched, rule: Jumps, rows: Sequence[Row]) -> Iterator[tuple[int, Quality]]:
    """Give what is to change, of the readings whose flag can hang on what was touched."""
    at_ms = [row[0] for row in rows]
    start = max(bisect_left(at_ms, one.first_ms) - SIDE, 0)
    end = bisect_right(at_ms, one.last_ms) + SIDE
    flags = jumps(at_ms, [row[1] for row in rows], rule)
    for (moment, _value, held), flag in list(zip(rows, flags, strict=True))[start:end]:
        near = one.first_ms - rule.within_ms <= moment <= one.last_ms + rule.within_ms
        if near and flag != held and not (held is Quality.STUCK and flag is Quality.GOOD):
            yield moment, flag


# --- what is stuck ------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Place:
    """A short stretch of time in the air of one probe."""

    pair: tuple[Series, Series]
    first_ms: int
    last_ms: int


@dataclass(frozen=True)
class Region:
    """Blocks of a probe's air, first to last, in which readings are judged anew."""

    pair: tuple[Series, Series]
    first: int
    last: int


def _places(touched: Iterable[Touched]) -> set[Place]:
    return {Place(_pair(one.series, one.sibling), one.first_ms, one.last_ms) for one in touched if one.sibling}


def _pair(one: Series, other: Series) -> tuple[Series, Series]:
    return (one, other) if one.id < other.id else (other, one)


def _look_for_stillness(connection: Connection, places: Iterable[Place]) -> list[Change]:
    long = _long(connection, places)
    went_on = _went_on(connection, long)
    regions = _merged({line[0] for line in long if line not in went_on})
    changes: list[Change] = []
    for (place, one), rows in went_on.items():
        if not any(area.pair == place.pair and area.first <= block(place.last_ms) <= area.last for area in regions):
            changes += [(one.id, at_ms, rows[0][2]) for at_ms, _value, held in rows[1:] if held != rows[0][2]]
    spans = [_between(one, *bounds(area.first - 1, area.last + 1)) for area in regions for one in area.pair]
    held = nearby.around(connection, spans, STEADY, 1) if spans else []
    for i, area in enumerate(regions):
        here, beside = held[2 * i : 2 * i + 2]
        changes += _stillness_changes(area, area.pair[0], here, beside)
        changes += _stillness_changes(area, area.pair[1], beside, here)
    return changes


def _between(series: Series, start_ms: int, end_ms: int) -> Span:
    return Span(series.id, start_ms, end_ms - 1, start_ms, end_ms - 1)


def _wide(series: Series, place: Place) -> Span:
    """Return a span wide enough for a run that is long to show it."""
    margin_ms = STILL_MS + STUCK_GAP_MS
    return Span(series.id, place.first_ms, place.last_ms, place.first_ms - margin_ms, place.last_ms + margin_ms)


def _long(connection: Connection, places: Iterable[Place]) -> list[tuple[Place, Series]]:
    """Return the places, and their series, where a run lies that could be stuck, or a piece of one that was."""
    asked = [(place, one) for place in places for one in place.pair]
    if not asked:
        return []
    ends = nearby.steady(connection, [_wide(one, place) for place, one in asked], STEADY)
    return [line for line, end in zip(asked, ends, strict=True) if _could_be_stuck(line[1], end)]


def _could_be_stuck(series: Series, ends: nearby.Steady) -> bool:
    long = ends.to_ms - ends.from_ms > _after_ms(series)
    return long or Quality.STUCK in (ends.before, ends.after)


def _after_ms(series: Series) -> float:
    rule = limits()[series.quantity].stillness
    return min(rule.after_ms, STILL_MS) if rule else float("inf")


def _went_on(connection: Connection, lines: Sequence[tuple[Place, Series]]) -> dict[tuple[Place, Series], list[Row]]:
    """Return where a run just goes on within an hour: its reading before the place, and those in it.

    These are what the one before them is, and change nothing else.
    """
    if not lines:
        return {}
    held = nearby.around(connection, [_wide(one, place) for place, one in lines], STEADY, 1)
    return {line: rows for line, rows in zip(lines, held, strict=True) if _goes_on(line[0], rows)}


def _goes_on(place: Place, rows: Sequence[Row]) -> bool:
    if not rows or rows[0][0] >= place.first_ms or rows[-1][0] > place.last_ms:
        return False
    return same_hour(rows[0][0], rows[-1][0]) and len({value for _, value, _ in rows}) == 1


def _merged(places: Iterable[Place]) -> list[Region]:
    """Return the blocks that hang on these places, as regions that neither touch nor overlap."""
    found: list[Region] = []
    for place in sorted(places, key=lambda place: (place.pair[0].id, place.first_ms)):
        one = Region(place.pair, block(place.first_ms) - 1, block(place.last_ms) + 1)
        if found and found[-1].pair == one.pair and one.first <= found[-1].last + 1:
            found[-1] = replace(found[-1], last=max(found[-1].last, one.last))
        else:
            found.append(one)
    return found


def _stillness_changes(area: Region, series: Series, own: Sequence[Row], sibling: Sequence[Row]) -> list[Change]:
    rule = limits()[series.quantity].stillness
    if rule is None:
        return []
    flags = stuck(_line(own), _line(sibling), rule)
    start, end = bounds(area.first, area.last)
    return [
        (series.id, at_ms, Quality.STUCK if flag else Quality.GOOD)
        for (at_ms, _value, held), flag in zip(own, flags.tolist(), strict=True)
        if start <= at_ms < end and flag != (held is Quality.STUCK)
    ]


def _line(rows: Sequence[Row]) -> Line:
    return Line(np.array([row[0] for row in rows], dtype=np.int64), np.array([row[1] for row in rows], dtype=float))
