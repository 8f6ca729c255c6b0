"""What the checks of hygrometers and meters make of raw figures: applied when read, never to what is stored."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from dashboards.instrument_entries import calibration_of
from kiln import hygrometers, meters, observations
from shared.store import Connection, facts
from shared.store.records import BagTest, HygrometerCheck, MeterFact, MeterPair, Subject, SubjectKind
from shared.tables import limit
from shared.units import MS_PER_DAY, MS_PER_S, Array

DAYS_A_YEAR = 365.25


@dataclass(frozen=True)
class Checks:
    """The checks of one probe in order of time; each holds from its moment until the next."""

    from_ms: tuple[int, ...]
    held: tuple[hygrometers.Calibration, ...]
    away: tuple[tuple[int, int], ...] = ()  # spans (start, end) over a salt or in a bag: not the air of its place

    def in_its_place(self, at_ms: NDArray[np.int64], span_ms: int) -> NDArray[np.bool_]:
        """Return for each span that begins at ``at_ms`` whether the probe was in its place all through it."""
        there = np.ones(len(at_ms), dtype=bool)
        for start, end in self.away:
            there &= (at_ms + span_ms <= start) | (at_ms >= end)
        return there

    def at(self, moment_ms: int) -> tuple[int, hygrometers.Calibration] | None:
        """Return the check in force at a moment, and when it was made; None before the first."""
        index = int(np.searchsorted(self.from_ms, moment_ms, side="right")) - 1
        return None if index < 0 else (self.from_ms[index], self.held[index])

    def corrected_pct(self, at_ms: NDArray[np.int64], rh_pct: Array) -> Array:
        """Return raw humidities [%RH, any length] as the check in force at their times corrects them."""
        if not self.from_ms:
            return rh_pct
        index = np.searchsorted(self.from_ms, at_ms, side="right") - 1
        corrected = np.array(rh_pct, dtype=float)
        for number, calibration in enumerate(self.held):
            chosen = index == number
            corrected[chosen] = calibration.apply(corrected[chosen])
        return corrected

    def error_rh_pct(self, moment_ms: int, rh_pct: float) -> float:
        """Return one standard error of a corrected humidity [%RH]; that of an unchecked probe before its first."""
        found = self.at(moment_ms)
        if found is None:
            return limit("unchecked_hygrometer")
        checked_ms, calibration = found
        years = (moment_ms - checked_ms) / MS_PER_DAY / DAYS_A_YEAR
        return float(calibration.error_rh_pct(rh_pct, years))

    def due_ms(self, now_ms: int) -> int | None:
        """Return when the next check is due; None when there was none yet."""
        found = self.at(now_ms)
        return None if found is None else hygrometers.due_ms(found[0])

    def stands(self, now_ms: int) -> bool:
        """Whether the probe is checked now, and the check is not overdue."""
        due_ms = self.due_ms(now_ms)
        return due_ms is not None and now_ms <= due_ms


def checks_of(connection: Connection, probe_id: int) -> Checks:
    """Read the checks of one probe."""
    bags = [one for one in facts.standing(connection, BagTest) if one.probe_id == probe_id]
    return _checks(facts.standing(connection, HygrometerCheck, probe_id), bags)


def all_checks(connection: Connection) -> dict[int, Checks]:
    """Read the checks of every probe that has one, or was in a bag, by probe."""
    held: dict[int, list[HygrometerCheck]] = {}
    bagged: dict[int, list[BagTest]] = {}
    for one in facts.standing(connection, HygrometerCheck):
        held.setdefault(one.subject_id, []).append(one)
    for test in facts.standing(connection, BagTest):
        if test.probe_id is not None:
            bagged.setdefault(test.probe_id, []).append(test)
    return {probe: _checks(held.get(probe, []), bagged.get(probe, [])) for probe in held.keys() | bagged.keys()}


def bag_air(checks: dict[int, Checks], test: BagTest) -> tuple[float, float]:
    """Return the humidity in a bag and one standard error [%RH], as its probe's checks correct it."""
    if test.probe_id is None:
        return min(test.rh_pct, 100.0), test.rh_error_pct
    own = checks.get(test.probe_id, Checks((), ()))
    corrected = own.corrected_pct(np.array([test.true_at_ms]), np.array([test.rh_pct]))
    return float(np.clip(corrected[0], 0.0, 100.0)), own.error_rh_pct(test.true_at_ms, test.rh_pct)


def _checks(entered: list[HygrometerCheck], bags: list[BagTest]) -> Checks:
    made = [calibration_of(**vars(one)) for one in entered]
    away = [(one.true_at_ms - round(one.waited_s * MS_PER_S), one.true_at_ms) for one in (*entered, *bags)]
    return Checks(tuple(one.true_at_ms for one in entered), tuple(made), tuple(sorted(away)))


@dataclass(frozen=True)
class MeterNow:
    """A pin meter on a lot of wood, the offcuts read with it, and what they make of its readings."""

    subject: Subject
    fact: MeterFact
    pairs: list[MeterPair]
    lot: meters.LotCalibration | None  # None before the first offcut

    @property
    def sentence(self) -> str:
        """How it reads on this lot, in words."""
        if self.lot is None:
            return "Not calibrated yet: read it on an offcut of the lot and oven-dry that."
        at = self.lot.middle_reading_pct
        away = self.lot.middle_mc_pct - at
        return f"Where it shows {at:.1f} %, the wood has {at + away:.1f} %. {self.lot.sentence}"


def meters_now(connection: Connection) -> dict[int, MeterNow]:
    """Read every meter with its calibration, by its number in the store."""
    pairs: dict[int, list[MeterPair]] = {}
    for one in facts.standing(connection, MeterPair):
        pairs.setdefault(one.subject_id, []).append(one)
    described = {fact.subject_id: fact for fact in facts.standing(connection, MeterFact)}
    found = {}
    for subject in facts.subjects(connection, SubjectKind.METER):
        if subject.id in described:
            fact, own = described[subject.id], pairs.get(subject.id, [])
            found[subject.id] = MeterNow(subject, fact, own, _lot(fact, own))
    return found


def _lot(fact: MeterFact, pairs: list[MeterPair]) -> meters.LotCalibration | None:
    made = [
        observations.offcut(
            one.reading_pct, one.wood_temperature_c, fact.calibration_temperature_c, one.wet_mass_kg, one.dry_mass_kg
        )
        for one in pairs
    ]
    return meters.fit_pairs(made) if made else None
