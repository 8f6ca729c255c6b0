"""A place's air over a span of time, for charts: equal steps that keep their extremes."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from dashboards import airs, calibrations
from kiln import sorption
from shared.store import Connection, Store, facts, readings
from shared.store.records import AIR, ProbeFact, Quantity
from shared.units import MS_PER_DAY, MS_PER_HOUR, MS_PER_MINUTE, Array


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


def air_history(store: Store, place_id: int, start_ms: int, end_ms: int) -> AirHistory:
    """Return a place's air: in ten-minute steps up to two days, hours up to fourteen, days beyond."""
    length_ms = end_ms - start_ms
    span_ms = (
        10 * MS_PER_MINUTE
        if length_ms <= 2 * MS_PER_DAY
        else (MS_PER_HOUR if length_ms <= 14 * MS_PER_DAY else MS_PER_DAY)
    )
    steps = np.arange(start_ms - start_ms % span_ms, end_ms, span_ms, dtype=np.int64)
    with store.reading() as connection:
        where = airs.positions(connection)
        found, names = _collect(connection, where, place_id, steps, span_ms, end_ms)
    t, rh = found[Quantity.TEMPERATURE_C], found[Quantity.RH_PCT]
    inside = np.clip(t[0], sorption.LOWEST_C, sorption.HIGHEST_C)
    emc = sorption.emc_pct(inside, np.clip(rh[0], 0.0, 100.0))
    return AirHistory(steps, span_ms, *t, *rh, emc, names)


def _collect(
    connection: Connection, where: airs.Positions, place_id: int, steps: Array, span_ms: int, end_ms: int
) -> tuple[dict[Quantity, tuple[Array, Array, Array]], list[str]]:
    total = {q: np.zeros(len(steps)) for q in AIR}
    count = {q: np.zeros(len(steps)) for q in AIR}
    low = {q: np.full(len(steps), np.inf) for q in AIR}
    high = {q: np.full(len(steps), -np.inf) for q in AIR}
    names = []
    facts_by_probe = {fact.subject_id: fact for fact in facts.standing(connection, ProbeFact)}
    for probe_id, begin, finish in where.probes_of(place_id):
        for one in readings.all_series(connection):
            if one.probe_id != probe_id or one.quantity not in AIR:
                continue
            held = readings.buckets(connection, one.id, span_ms, max(begin, int(steps[0])), min(finish, end_ms))
            index = (held.bucket_ms - steps[0]) // span_ms
            keep = (held.n > 0) & (index >= 0) & (index < len(steps))
            if not keep.any():
                continue
            names.append(facts_by_probe[probe_id].name)
            mean, least, most = (part[keep] for part in (held.mean, held.low, held.high))
            if one.quantity is Quantity.RH_PCT:
                checks = calibrations.checks_of(connection, probe_id)
                mean, least, most = (checks.corrected_pct(held.bucket_ms[keep], part) for part in (mean, least, most))
            np.add.at(total[one.quantity], index[keep], mean)
            np.add.at(count[one.quantity], index[keep], 1)
            np.minimum.at(low[one.quantity], index[keep], least)
            np.maximum.at(high[one.quantity], index[keep], most)
    result = {}
    for q in AIR:
        some = count[q] > 0
        mean = np.where(some, total[q] / np.maximum(count[q], 1), np.nan)
        result[q] = (mean, np.where(some, low[q], np.nan), np.where(some, high[q], np.nan))
    return result, sorted(set(names))
