"""A place's air over a span of time, for charts: equal steps that keep their extremes.

A step is put together from the store's summaries, which hold the lowest and highest reading of their ten minutes, hour
or day: the extremes of a step are those of all its summaries, whatever its length, so that no single reading is lost
to a long span. Temperature and humidity are the readings' own; EMC and dew point are worked out at the mean air of a
finer span, the unit, and a step shows the mean, least and greatest of its units.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from dashboards import airs, calibrations
from dashboards.air_spans import midnight_ms
from dashboards.calibrations import Checks
from kiln import psychrometrics, sorption
from shared.store import Connection, Store, facts, readings
from shared.store.records import AIR, ProbeFact, Quantity
from shared.units import MS_PER_DAY, MS_PER_HOUR, MS_PER_MINUTE, Array

MOST_STEPS = 600  # a screen has no more columns than that to tell apart
TEN_MINUTES_MS = 10 * MS_PER_MINUTE
LONGEST_MS = {TEN_MINUTES_MS: 2 * MS_PER_DAY, MS_PER_HOUR: 14 * MS_PER_DAY}
HOURS_READ_UP_TO_MS = 400 * MS_PER_DAY
FINER = {MS_PER_DAY: MS_PER_HOUR, MS_PER_HOUR: TEN_MINUTES_MS}
GAP_STEPS, GAP_RHYTHMS = 1.5, 2.5  # silence longer than both is a gap, not a slow probe's usual pause

Stays = list[tuple[int, int]]  # of one probe in one place: start, end


@dataclass(frozen=True)
class AirHistory:
    """A place's air over a span, in equal steps: mean, least and greatest of each step; NaN where none."""

    at_ms: Array
    span_ms: int
    temperature_c: Array
    temperature_low_c: Array
    temperature_high_c: Array
    rh_pct: Array
    rh_low_pct: Array
    rh_high_pct: Array
    emc_pct: Array
    probes: list[str]
    emc_low_pct: Array
    emc_high_pct: Array
    dew_point_c: Array
    dew_point_low_c: Array
    dew_point_high_c: Array
    unit_ms: int  # EMC and dew point are worked out at the mean air of this long
    start_ms: int  # what was asked for; the first step may begin before
    end_ms: int

    @property
    def heard(self) -> NDArray[np.bool_]:
        """The steps in which both temperature and humidity were heard."""
        return np.isfinite(self.temperature_c) & np.isfinite(self.rh_pct)


@dataclass
class _Sums:
    """What the summaries of one quantity come to, by unit and by step."""

    units: int
    steps: int
    total: Array = field(init=False)
    count: Array = field(init=False)
    low: Array = field(init=False)
    high: Array = field(init=False)

    def __post_init__(self) -> None:
        self.total, self.count = np.zeros(self.units), np.zeros(self.units)
        self.low, self.high = np.full(self.steps, np.inf), np.full(self.steps, -np.inf)

    def add(self, index: NDArray[np.int64], part: tuple[Array, Array, Array]) -> None:
        mean, low, high = part
        np.add.at(self.total, index, mean)
        np.add.at(self.count, index, 1)
        in_step = index // (self.units // self.steps)
        np.minimum.at(self.low, in_step, low)
        np.maximum.at(self.high, in_step, high)

    @property
    def means(self) -> Array:
        return np.where(self.count > 0, self.total / np.maximum(self.count, 1), np.nan)

    @property
    def ends(self) -> tuple[Array, Array]:
        some = np.isfinite(self.low)
        return np.where(some, self.low, np.nan), np.where(some, self.high, np.nan)


def unit_and_step_ms(length_ms: int) -> tuple[int, int]:
    """Return what is read and what is drawn: ten minutes up to two days, hours up to fourteen, days beyond.

    Up to 400 days they are days of hours; from then on so many days that no more than ``MOST_STEPS`` are drawn.
    """
    for step_ms, longest_ms in LONGEST_MS.items():
        if length_ms <= longest_ms:
            return step_ms, step_ms
    if length_ms <= HOURS_READ_UP_TO_MS:
        return MS_PER_HOUR, MS_PER_DAY
    return MS_PER_DAY, -(-length_ms // (MOST_STEPS * MS_PER_DAY)) * MS_PER_DAY


def air_history(store: Store, place_id: int, start_ms: int, end_ms: int) -> AirHistory:
    """Return a place's air over start ≤ t < end."""
    unit_ms, step_ms = unit_and_step_ms(end_ms - start_ms)
    # Days that are made of hours begin at midnight here; those of the store begin at midnight UTC.
    own_days = unit_ms < step_ms == MS_PER_DAY
    first_ms = midnight_ms(start_ms) if own_days else start_ms
    first_ms -= first_ms % unit_ms
    steps = np.arange(first_ms, end_ms, step_ms, dtype=np.int64)
    sums = {q: _Sums(len(steps) * (step_ms // unit_ms), len(steps)) for q in AIR}
    with store.reading() as connection:
        names = _collect(connection, place_id, sums, (first_ms, end_ms, unit_ms))
    t, rh = sums[Quantity.TEMPERATURE_C].means, np.clip(sums[Quantity.RH_PCT].means, 0.0, 100.0)
    emc = sorption.emc_pct(np.clip(t, sorption.LOWEST_C, sorption.HIGHEST_C), rh)
    dew = psychrometrics.dew_point_c(t, rh)
    by_step = [_over_steps(one, len(steps)) for one in (t, rh, emc, dew)]
    ends = [sums[q].ends for q in (Quantity.TEMPERATURE_C, Quantity.RH_PCT)] + [
        _ends(one, len(steps)) for one in (emc, dew)
    ]
    columns = [(mean, *both) for mean, both in zip(by_step, ends, strict=True)]
    (emc_mean, emc_low, emc_high), (dew_mean, dew_low, dew_high) = columns[2:]
    return AirHistory(
        steps,
        step_ms,
        *columns[0],
        *columns[1],
        emc_mean,
        names,
        emc_low,
        emc_high,
        dew_mean,
        dew_low,
        dew_high,
        unit_ms,
        start_ms,
        end_ms,
    )


def _over_steps(units: Array, steps: int) -> Array:
    """The mean of the units of each step that are known; NaN where none is."""
    grid = units.reshape(steps, -1)
    known = np.isfinite(grid)
    count = known.sum(axis=1)
    total = np.where(known, grid, 0.0).sum(axis=1)
    return np.where(count > 0, total / np.maximum(count, 1), np.nan)


def _ends(units: Array, steps: int) -> tuple[Array, Array]:
    grid = units.reshape(steps, -1)
    known = np.isfinite(grid)
    low, high = np.where(known, grid, np.inf).min(axis=1), np.where(known, grid, -np.inf).max(axis=1)
    some = known.any(axis=1)
    return np.where(some, low, np.nan), np.where(some, high, np.nan)


def _collect(
    connection: Connection, place_id: int, sums: dict[Quantity, _Sums], asked: tuple[int, int, int]
) -> list[str]:
    """Add up the summaries of all probes of a place, ``asked``: start, end and unit; return the probes' names."""
    first_ms, end_ms, unit_ms = asked
    where, names = airs.positions(connection), set()
    called = {fact.subject_id: fact.name for fact in facts.standing(connection, ProbeFact)}
    series = [one for one in readings.all_series(connection) if one.quantity in AIR]
    for probe_id, begin, finish in where.probes_of(place_id):
        if begin >= end_ms or finish <= first_ms:
            continue
        checks = calibrations.checks_of(connection, probe_id)
        for one in (one for one in series if one.probe_id == probe_id):
            for held in _parts(connection, one.id, checks, (begin, finish), (first_ms, end_ms), unit_ms):
                part = held.mean, held.low, held.high
                if one.quantity is Quantity.RH_PCT:
                    part = _corrected(checks, held, part)
                sums[one.quantity].add((held.bucket_ms - first_ms) // unit_ms, part)
                names.add(called[probe_id])
    return sorted(names)


def _corrected(checks: Checks, held: readings.Buckets, part: tuple[Array, Array, Array]) -> tuple[Array, Array, Array]:
    """Humidities as the checks correct them; what a check lifts above saturation is shown as saturation."""
    mean, low, high = (np.clip(checks.corrected_pct(held.bucket_ms, one), 0.0, 100.0) for one in part)
    return mean, low, high


def _parts(
    connection: Connection,
    series_id: int,
    checks: Checks,
    stay: tuple[int, int],
    asked: tuple[int, int],
    unit_ms: int,
) -> Iterator[readings.Buckets]:
    """Give the summaries of a probe's stay in a place: whole ones, and in finer ones where it began, ended, or a check
    changed what the figures count as. Ten minutes belong to what they began with.
    """
    first, last = max(stay[0] - stay[0] % unit_ms, asked[0]), min(stay[1], asked[1])
    if first >= last:
        return
    held = readings.buckets(connection, series_id, unit_ms, first, last)
    edges = [*stay, *checks.from_ms, *(edge for span in checks.away for edge in span)]
    cut = {edge - edge % unit_ms for edge in edges if edge % unit_ms and first <= edge - edge % unit_ms < last}
    whole = (held.n > 0) & (held.bucket_ms >= stay[0]) & checks.in_its_place(held.bucket_ms, unit_ms)
    if unit_ms in FINER:
        whole &= ~np.isin(held.bucket_ms, sorted(cut))
    if whole.any():
        yield _chosen(held, whole)
    for start in sorted(cut) if unit_ms in FINER else ():
        yield from _parts(connection, series_id, checks, stay, (start, start + unit_ms), FINER[unit_ms])


def _chosen(held: readings.Buckets, which: NDArray[np.bool_]) -> readings.Buckets:
    return readings.Buckets(*(getattr(held, name)[which] for name in held.__dataclass_fields__))


def runs(history: AirHistory, known: NDArray[np.bool_]) -> list[NDArray[np.int64]]:
    """Return the indices of steps in which something is known, run by run; between two runs lies a gap.

    A probe that speaks more rarely than a step is long leaves steps empty without being silent.
    """
    found = np.flatnonzero(known)
    if len(found) == 0:
        return []
    between = np.diff(history.at_ms[found])
    allowed_ms = max(GAP_STEPS * history.span_ms, GAP_RHYTHMS * float(np.median(between)) if len(between) else 0.0)
    return np.split(found, np.flatnonzero(between > allowed_ms) + 1)


def gaps(history: AirHistory) -> list[tuple[int, int]]:
    """Return the spans (start, end) of what was asked for in which nothing was heard, in order."""
    heard = runs(history, history.heard)
    if not heard:
        return [(history.start_ms, history.end_ms)]
    found, until_ms = [], history.start_ms
    rhythm_ms = _rhythm_ms(history, heard)
    for run in heard:
        begin_ms = int(history.at_ms[run[0]])
        if begin_ms - until_ms > rhythm_ms:
            found.append((until_ms, begin_ms))
        until_ms = int(history.at_ms[run[-1]]) + history.span_ms
    if history.end_ms - until_ms > rhythm_ms:
        found.append((until_ms, history.end_ms))
    return found


def _rhythm_ms(history: AirHistory, heard: list[NDArray[np.int64]]) -> float:
    """The longest pause within a run: a shorter silence at either end of the span is no gap."""
    pauses = [float(np.max(np.diff(history.at_ms[run]))) for run in heard if len(run) > 1]
    return max([float(history.span_ms), *pauses])
