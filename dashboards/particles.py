"""What particle sensors said, as facts with their age: never held against a limit, for they miss coarse wood dust."""

from __future__ import annotations

from dataclasses import dataclass

from dashboards.heard import ProbeNow
from dashboards.situation import Situation
from shared.store import Connection, readings
from shared.store.records import Quality, Quantity, Reading
from shared.units import MS_PER_HOUR

PARTICLES = (Quantity.PM2_5_UG_M3, Quantity.PM10_UG_M3)


@dataclass(frozen=True)
class ParticlesHeard:
    """The newest good reading of one sensor, and what it said about an hour before."""

    probe: ProbeNow
    quantity: Quantity
    newest: Reading
    before: Reading | None  # one to two hours before it; None: nothing good then
    silent: bool  # it has said nothing for longer than its rhythm allows


def read(situation: Situation) -> tuple[ParticlesHeard, ...]:
    """Return the newest particle readings of every probe that has any, by probe."""
    probes = [one for one in situation.probes if any(quantity in one.others for quantity in PARTICLES)]
    if not probes:
        return ()
    with situation.store.reading() as connection:
        series = {(one.probe_id, one.quantity): one.id for one in readings.all_series(connection)}
        return tuple(
            _heard(connection, probe, quantity, series[probe.subject.id, quantity], situation.now_ms)
            for probe in probes
            for quantity in PARTICLES
            if quantity in probe.others
        )


def _heard(connection: Connection, probe: ProbeNow, quantity: Quantity, series_id: int, now_ms: int) -> ParticlesHeard:
    newest = probe.others[quantity]
    an_hour_before = newest.at_ms - MS_PER_HOUR
    earlier = readings.raw(connection, series_id, an_hour_before - MS_PER_HOUR, an_hour_before + 1)
    good = [one for one in earlier if one.quality is Quality.GOOD]
    silent = now_ms - newest.at_ms > probe.habit.silent_after_ms
    return ParticlesHeard(probe, quantity, newest, good[-1] if good else None, silent)
