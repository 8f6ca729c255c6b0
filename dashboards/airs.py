"""The logged air, from the store to the physics: of a place, and along the way of a board."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from typing import TypeVar

import numpy as np

from dashboards import calibrations
from dashboards.calibrations import Checks
from kiln import air
from shared.store import Connection, facts, readings
from shared.store.records import BoardPosition, Fact, ProbePosition, Quantity, StackPosition
from shared.tables import limit
from shared.units import MS_PER_DAY, MS_PER_HOUR

FOR_EVER_MS = 2**62
USUAL_RH_PCT = (40.0, 80.0)  # what stock dries in: the worse of the two errors is taken
TELLS_DAYS = 90  # how far back along a way its hygrometers' errors count; judgement

F = TypeVar("F", bound=Fact)


@dataclass(frozen=True)
class Stay:
    """A span of time, start ≤ t < end, in one place; None: nobody knows where."""

    start_ms: int
    end_ms: int
    place_id: int | None


@dataclass(frozen=True)
class Positions:
    """Where every probe, board and stack was, as it stands in the store now."""

    probes: dict[int, list[ProbePosition]]
    boards: dict[int, list[BoardPosition]]
    stacks: dict[int, list[StackPosition]]

    def board_stays(self, board_id: int, start_ms: int, end_ms: int) -> list[Stay]:
        """Return the places that a board was in, one after the other, through the stacks it lay in."""
        found: list[Stay] = []
        for begin, finish, position in _intervals(self.boards.get(board_id, []), start_ms, end_ms):
            if position is None or position.stack_id is None:
                found.append(Stay(begin, finish, position.place_id if position else None))
                continue
            for inner, outer, stack in _intervals(self.stacks.get(position.stack_id, []), begin, finish):
                found.append(Stay(inner, outer, stack.place_id if stack else None))
        return found

    def stack_place(self, stack_id: int, moment_ms: int) -> int | None:
        """Return the place that a stack is in."""
        position = facts.at(self.stacks.get(stack_id, []), moment_ms)
        return position.place_id if position else None

    def board_at(self, board_id: int, moment_ms: int) -> BoardPosition | None:
        """Return the position of a board."""
        return facts.at(self.boards.get(board_id, []), moment_ms)

    def probe_place(self, probe_id: int, moment_ms: int) -> int | None:
        """Return the place that a probe is in."""
        position = facts.at(self.probes.get(probe_id, []), moment_ms)
        return position.place_id if position else None

    def probes_of(self, place_id: int) -> list[tuple[int, int, int]]:
        """Return (probe, start, end) of every time that a probe was in a place."""
        found = []
        for probe_id, positions in self.probes.items():
            for begin, finish, position in _intervals(positions, 0, FOR_EVER_MS):
                if position is not None and position.place_id == place_id:
                    found.append((probe_id, begin, finish))
        return found


def positions(connection: Connection) -> Positions:
    """Read every position that stands."""
    return Positions(
        by_subject(facts.standing(connection, ProbePosition)),
        by_subject(facts.standing(connection, BoardPosition)),
        by_subject(facts.standing(connection, StackPosition)),
    )


def by_subject(entries: list[F]) -> dict[int, list[F]]:
    """Sort entries by what they are about, each in its own order of time."""
    grouped: dict[int, list[F]] = {}
    for entry in entries:
        grouped.setdefault(entry.subject_id, []).append(entry)
    return grouped


def _intervals(entries: list[F], start_ms: int, end_ms: int) -> list[tuple[int, int, F | None]]:
    """Cut start ≤ t < end into the spans over which each entry holds; None before the first."""
    edges = [start_ms, *(e.true_at_ms for e in entries if start_ms < e.true_at_ms < end_ms), end_ms]
    return [(begin, end, facts.at(entries, begin)) for begin, end in pairwise(edges) if end > begin]


def joined(stays: list[Stay]) -> list[Stay]:
    """Stays one after the other in the same place, as when a board goes into a stack beside it, are one."""
    found: list[Stay] = []
    for stay in stays:
        start_ms = found.pop().start_ms if found and found[-1].place_id == stay.place_id else stay.start_ms
        found.append(Stay(start_ms, stay.end_ms, stay.place_id))
    return found


def probe_hours(
    connection: Connection, probe_id: int, start_ms: int, end_ms: int, checks: Checks | None = None
) -> air.ProbeHours:
    """Return the hours in which a probe reported both temperature and humidity, as its checks correct them.

    ``checks``: those of the probe, where they have been read already.
    """
    ids = {one.quantity: one.id for one in readings.all_series(connection) if one.probe_id == probe_id}
    if not {Quantity.TEMPERATURE_C, Quantity.RH_PCT} <= ids.keys():
        none = np.zeros(0)
        return air.ProbeHours(none.astype(np.int64), none, none, none.astype(bool), none.astype(bool))
    t = readings.buckets(connection, ids[Quantity.TEMPERATURE_C], MS_PER_HOUR, start_ms, end_ms)
    rh = readings.buckets(connection, ids[Quantity.RH_PCT], MS_PER_HOUR, start_ms, end_ms)
    common, i, j = np.intersect1d(t.bucket_ms[t.n > 0], rh.bucket_ms[rh.n > 0], return_indices=True)
    i, j = np.flatnonzero(t.n > 0)[i], np.flatnonzero(rh.n > 0)[j]
    flat_c, flat_rh = t.low[i] == t.high[i], rh.low[j] == rh.high[j]
    # Where nothing moved the mean is that value, to the last digit: a stuck probe is told by it.
    temperature_c, rh_pct = np.where(flat_c, t.low[i], t.mean[i]), np.where(flat_rh, rh.low[j], rh.mean[j])
    checks = calibrations.checks_of(connection, probe_id) if checks is None else checks
    rh_pct = np.clip(checks.corrected_pct(common, rh_pct), 0.0, 100.0)
    there = checks.in_its_place(common, MS_PER_HOUR)
    return air.ProbeHours(common[there], temperature_c[there], rh_pct[there], flat_c[there], flat_rh[there])


def place_air(
    connection: Connection, where: Positions, place_id: int | None, start_ms: int, end_ms: int
) -> air.AirHours:
    """Return the air of a place over start ≤ t < end, from the probes that were there."""
    heard = []
    for probe_id, begin, finish in where.probes_of(place_id) if place_id is not None else []:
        first, last = max(begin, start_ms), min(finish, end_ms)
        if first < last:
            # Two days before, so that a probe that was stuck already is known to be.
            hours = probe_hours(connection, probe_id, max(begin, first - 2 * 24 * MS_PER_HOUR), last)
            heard.append(hours)
    return air.merge(heard, start_ms, end_ms)


def way_air(connection: Connection, where: Positions, stays: list[Stay]) -> air.AirHours:
    """Return the air along a way of stays; whole hours, none twice, none left out."""
    parts = []
    for stay in stays:
        # An hour belongs to the place in which it began.
        begin, end = _hour(stay.start_ms, up=bool(parts)), _hour(stay.end_ms, up=stay is not stays[-1])
        end = min(end, _hour(stays[-1].end_ms, up=False))  # of an hour that is not over yet nothing is known
        if end > begin:
            parts.append(place_air(connection, where, stay.place_id, begin, end))
    if not parts:
        raise ValueError("it has not been there for a whole hour yet")
    return air.fill_holes(air.join(parts))


def _hour(moment_ms: int, *, up: bool) -> int:
    return -(-moment_ms // MS_PER_HOUR) * MS_PER_HOUR if up else moment_ms // MS_PER_HOUR * MS_PER_HOUR


def way_rh_error_pct(where: Positions, checks: dict[int, Checks], stays: list[Stay]) -> float:
    """One standard error of the humidity along a way [%RH] that does not average away: how well its probes were known.

    Each stretch of the way counts by its length, with the check that was in force then; errors of several
    probes in one place are their own, so their mean is known better. An unchecked one's where no probe was.
    """
    squares, lengths = [0.0], [0.0]
    begin_ms = stays[-1].end_ms - TELLS_DAYS * MS_PER_DAY
    for stay in stays:
        first, last = max(stay.start_ms, begin_ms), stay.end_ms
        if first < last:
            squares.append((last - first) * _square_error(where, checks, stay.place_id, first, last))
            lengths.append(float(last - first))
    unchecked = limit("unchecked_hygrometer")
    return float(np.sqrt(sum(squares) / sum(lengths))) if sum(lengths) else unchecked


def _square_error(
    where: Positions, checks: dict[int, Checks], place_id: int | None, first_ms: int, last_ms: int
) -> float:
    """Mean square error of a place's humidity over a span, over the stretches between checks."""
    total, covered = 0.0, 0.0
    for probe_id, begin, finish in where.probes_of(place_id) if place_id is not None else []:
        own = checks.get(probe_id, Checks((), ()))
        edges = sorted({max(begin, first_ms), min(finish, last_ms), *own.from_ms})
        edges = [edge for edge in edges if max(begin, first_ms) <= edge <= min(finish, last_ms)]
        for start, end in pairwise(edges):
            worst = max(own.error_rh_pct((start + end) // 2, rh) for rh in USUAL_RH_PCT)
            total += (end - start) * worst**2
            covered += end - start
    if covered == 0.0:
        return limit("unchecked_hygrometer") ** 2
    return total / covered / max(covered / (last_ms - first_ms), 1.0)


def checked_since_ms(where: Positions, checks: dict[int, Checks], place_id: int, now_ms: int) -> int | None:
    """Return since when every probe of a place has been a checked one, without a gap until now; None: not now."""
    since_ms = 0
    here = False
    for probe_id, begin, finish in where.probes_of(place_id):
        own = checks.get(probe_id, Checks((), ()))
        if finish > now_ms:
            here = True
            if not own.stands(now_ms):
                return None
        first_check_ms = own.from_ms[0] if own.from_ms else FOR_EVER_MS
        unchecked_until_ms = min(finish, max(first_check_ms, begin))
        if unchecked_until_ms > begin:
            since_ms = max(since_ms, unchecked_until_ms)
    return since_ms if here else None


def first_air_ms(connection: Connection, where: Positions, place_id: int) -> int | None:
    """Return when the air of a place was first logged."""
    found = []
    ids = readings.all_series(connection)
    for probe_id, begin, _finish in where.probes_of(place_id):
        for one in ids:
            if one.probe_id == probe_id:
                first = readings.first_at_ms(connection, one.id)
                if first is not None:
                    found.append(max(first, begin))
    return min(found, default=None)
