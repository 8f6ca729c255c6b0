"""What the probes say now, which of them are believed, and what air that makes."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from dashboards import airs, calibrations
from dashboards.airs import by_subject
from dashboards.calibrations import Checks
from kiln import air, psychrometrics, sorption
from kiln.records import Z80
from kiln.spans import span_words
from shared.settings import Settings
from shared.store import Connection, facts, readings, tallies
from shared.store.records import (
    AIR,
    BATTERY,
    QUALITY_WORDS,
    CellLoad,
    CellTare,
    HygrometerCheck,
    PlaceFact,
    ProbeFact,
    Quality,
    Quantity,
    Reading,
    Subject,
    SubjectKind,
)
from shared.units import MS_PER_DAY, MS_PER_HOUR, MS_PER_MINUTE

RHYTHM_READINGS = 60
NO_CHECKS = Checks((), ())
SAME_MOMENT_MS = MS_PER_HOUR  # probes heard within an hour of the newest count together as the air now


@dataclass(frozen=True)
class Habit:
    """How a probe keeps its rhythm, over the last week."""

    rhythm_ms: int | None  # its usual step; None: too few readings
    silent_after_ms: int
    hours_missing: int  # of the week, since it was first heard
    flags: dict[Quality, int]  # readings that are not good, by flag
    battery: str  # what it last said of its battery; empty when nothing


@dataclass(frozen=True)
class ProbeNow:
    """A probe, what it last said, and whether it is believed."""

    subject: Subject
    fact: ProbeFact
    place_id: int | None
    temperature: Reading | None
    rh: Reading | None
    state: str  # heard, silent, stuck, not believed, never heard, unplaced
    sentence: str
    checks: Checks
    last_check: HygrometerCheck | None
    habit: Habit
    others: dict[Quantity, Reading]  # the newest good reading of all that is neither air nor battery
    load: CellLoad | None  # what it carries, when it is a load cell
    tare: CellTare | None  # the last one

    @property
    def rh_pct(self) -> float:
        """Its last humidity [%RH], as its check corrects it; NaN without one."""
        if self.rh is None:
            return float("nan")
        at_ms, raw = np.array([self.rh.at_ms]), np.array([self.rh.value])
        return float(np.clip(self.checks.corrected_pct(at_ms, raw)[0], 0.0, 100.0))

    @property
    def rh_error_pct(self) -> float:
        """One standard error of its last humidity [%RH]."""
        return float("nan") if self.rh is None else self.checks.error_rh_pct(self.rh.at_ms, self.rh.value)

    @property
    def believed(self) -> bool:
        """True when its reading counts as the air of its place."""
        return self.state == "heard"


@dataclass(frozen=True)
class AirNow:
    """The air of a place as its believed probes last gave it."""

    temperature_c: float
    rh_pct: float
    emc_pct: float
    emc_error_pct: float  # half the band that holds eight in ten
    dew_point_c: float
    at_ms: int
    good: bool
    note: str
    rh_error_pct: float  # one standard error
    wet_bulb_c: float
    checked: bool  # every probe that it comes from was checked, and no check is overdue


@dataclass(frozen=True)
class PlaceNow:
    """A place with its probes and its air."""

    subject: Subject
    fact: PlaceFact
    probes: list[ProbeNow]
    air: AirNow | None


def probes_now(connection: Connection, where: airs.Positions, settings: Settings, now_ms: int) -> list[ProbeNow]:
    """Read every probe: what it last said, and whether that is believed."""
    series: dict[int, dict[Quantity, int]] = {}
    for one in readings.all_series(connection):
        series.setdefault(one.probe_id, {})[one.quantity] = one.id
    limit_ms = settings.silent_after_minutes * MS_PER_MINUTE
    found = []
    history, loads, tares, checked = (
        by_subject(facts.standing(connection, kind)) for kind in (ProbeFact, CellLoad, CellTare, HygrometerCheck)
    )
    checks = calibrations.all_checks(connection)
    for subject in facts.subjects(connection, SubjectKind.PROBE):
        if subject.id not in history:
            continue
        fact = facts.at(history[subject.id], now_ms) or history[subject.id][0]
        ids = series.get(subject.id, {})
        newest = {q: readings.latest(connection, ids[q], Quality.GOOD) for q in AIR if q in ids}
        others = _others(connection, ids)
        place_id = where.probe_place(subject.id, now_ms)
        habit = _habit(connection, ids, limit_ms, now_ms)
        load = facts.at(loads.get(subject.id, []), now_ms)
        own_checks = checks.get(subject.id, NO_CHECKS)
        if others and Quantity.RH_PCT not in ids:
            loaded = load is not None and (load.board_id or load.stack_id) is not None
            placed = place_id is not None or loaded
            state, sentence = _other_state(others, habit.silent_after_ms, now_ms, placed=placed)
        else:
            state, sentence = _probe_state(newest, place_id, habit.silent_after_ms, now_ms)
            if state in ("heard", "unplaced"):
                state, sentence = _stuck(connection, subject, own_checks, now_ms) or (state, sentence)
            if state in ("silent", "never heard"):
                flagged = _only_flagged(connection, ids, habit.silent_after_ms, now_ms)
                state, sentence = flagged or (state, sentence)
        found.append(
            ProbeNow(
                subject,
                fact,
                place_id,
                newest.get(Quantity.TEMPERATURE_C),
                newest.get(Quantity.RH_PCT),
                state,
                sentence,
                own_checks,
                next(reversed(checked.get(subject.id, [])), None),
                habit,
                others,
                load,
                facts.at(tares.get(subject.id, []), now_ms),
            )
        )
    return found


def _only_flagged(
    connection: Connection, ids: dict[Quantity, int], limit_ms: int, now_ms: int
) -> tuple[str, str] | None:
    """State of a probe that is heard, and nothing that it says is believed; None when it is not heard either."""
    for quantity in AIR:
        last = readings.latest(connection, ids[quantity]) if quantity in ids else None
        good = readings.latest(connection, ids[quantity], Quality.GOOD) if quantity in ids else None
        if last is None or last.quality is Quality.GOOD or now_ms - last.at_ms > limit_ms:
            continue
        since = "never believed" if good is None else f"not believed for {span_words(now_ms - good.at_ms)}"
        why = f"Heard, and {since}: {QUALITY_WORDS[last.quality]}."
        return ("stuck" if last.quality is Quality.STUCK else "not believed"), why
    return None


def _others(connection: Connection, ids: dict[Quantity, int]) -> dict[Quantity, Reading]:
    newest = {
        quantity: readings.latest(connection, id_, Quality.GOOD)
        for quantity, id_ in ids.items()
        if quantity not in (*AIR, *BATTERY)
    }
    return {quantity: reading for quantity, reading in newest.items() if reading is not None}


def _other_state(others: dict[Quantity, Reading], limit_ms: int, now_ms: int, *, placed: bool) -> tuple[str, str]:
    """State of a probe that measures something other than air: a load cell, a rain gauge, a particle counter."""
    age_ms = now_ms - min(one.at_ms for one in others.values())
    if age_ms > limit_ms:
        return "silent", f"Silent for {span_words(age_ms)}: battery, reach, or moved away?"
    if not placed:
        missing = "what it carries" if Quantity.MASS_KG in others else "which place it measures"
        return "unplaced", f"Heard, but nobody has said {missing}."
    return "heard", f"Heard {span_words(age_ms)} ago."


def _habit(connection: Connection, ids: dict[Quantity, int], limit_ms: int, now_ms: int) -> Habit:
    since_ms = now_ms - 7 * MS_PER_DAY
    rhythm, missing, silent_after_ms = None, 0, limit_ms
    flags: dict[Quality, int] = {}
    told_by = [quantity for quantity in (Quantity.RH_PCT, *ids) if quantity in ids and quantity not in BATTERY]
    if told_by:
        main = ids[told_by[0]]
        times_ms = tallies.newest_times_ms(connection, main, RHYTHM_READINGS)
        rhythm, silent_after_ms = air.rhythm_ms(times_ms), air.silent_after_ms(times_ms, limit_ms)
        first_ms = readings.first_at_ms(connection, main) or now_ms
        hours = readings.buckets(connection, main, MS_PER_HOUR, max(since_ms, first_ms), now_ms)
        possible = (now_ms - max(since_ms, first_ms)) // MS_PER_HOUR
        missing = max(0, int(possible) - int((hours.n > 0).sum()))
    for id_ in ids.values():
        for flag, count in tallies.flags_since(connection, id_, since_ms).items():
            flags[flag] = flags.get(flag, 0) + count
    return Habit(rhythm, silent_after_ms, missing, flags, _battery(connection, ids))


def _battery(connection: Connection, ids: dict[Quantity, int]) -> str:
    told = []
    for quantity, unit in ((Quantity.BATTERY_PCT, "%"), (Quantity.BATTERY_V, "V")):
        last = readings.latest(connection, ids[quantity], Quality.GOOD) if quantity in ids else None
        if last is not None:
            told.append(f"{last.value:.3g} {unit}")
    return ", ".join(told)


def _probe_state(
    newest: dict[Quantity, Reading | None], place_id: int | None, limit_ms: int, now_ms: int
) -> tuple[str, str]:
    heard = [reading.at_ms for reading in newest.values() if reading is not None]
    if not heard:
        return "never heard", "No good reading has ever come from it."
    oldest_ms = min(heard)
    age = span_words(now_ms - oldest_ms)
    if now_ms - oldest_ms > limit_ms:
        return "silent", f"Silent for {age}: battery, reach, or moved away?"
    if None in newest.values() or len(newest) < 2:
        return "silent", "Only one of temperature and humidity comes from it."
    if place_id is None:
        return "unplaced", "Heard, but nobody has said which place it measures."
    return "heard", f"Heard {age} ago."


def _stuck(connection: Connection, subject: Subject, checks: Checks, now_ms: int) -> tuple[str, str] | None:
    """State of a probe that is heard and shows one figure for ever; None when it moves."""
    stuck = air.stuck_hours(airs.probe_hours(connection, subject.id, now_ms - 4 * MS_PER_DAY, now_ms, checks))
    if not len(stuck) or not stuck[-1]:
        return None
    run = int(np.argmin(stuck[::-1])) if not stuck.all() else len(stuck)
    return "stuck", f"Has shown the very same figures for {run} h: not believed, the air always moves a little."


def place_now(
    connection: Connection, subject: Subject, fact: PlaceFact, probes: Sequence[ProbeNow], now_ms: int
) -> PlaceNow:
    """Put a place together with its probes and the air that they give it."""
    here = [probe for probe in probes if probe.place_id == subject.id]
    note = _disagreement(connection, [probe for probe in here if probe.believed], now_ms)
    return PlaceNow(subject, fact, here, _air(here, note, fact.altitude_m, now_ms))


def _air(here: list[ProbeNow], note: str, altitude_m: float, now_ms: int) -> AirNow | None:
    believed = [probe for probe in here if probe.believed and probe.temperature and probe.rh]
    heard = believed or [probe for probe in here if probe.temperature and probe.rh]
    if not heard:
        return None
    newest_ms = max(min(p.temperature.at_ms, p.rh.at_ms) for p in heard)
    current = [p for p in heard if newest_ms - min(p.temperature.at_ms, p.rh.at_ms) <= SAME_MOMENT_MS]
    t = float(np.mean([p.temperature.value for p in current]))
    rh = float(np.mean([p.rh_pct for p in current]))
    rh_error = float(np.sqrt(np.sum([p.rh_error_pct**2 for p in current])) / len(current))
    covered = sorption.LOWEST_C <= t <= sorption.HIGHEST_C
    emc = float(sorption.emc_pct(t, rh)) if covered else float("nan")
    error = Z80 * float(sorption.emc_error_mc_pct(t, rh, rh_error)) if covered else float("nan")
    bulb = float(psychrometrics.wet_bulb_c(t, rh, psychrometrics.pressure_at_altitude_pa(altitude_m)))
    return AirNow(
        temperature_c=t,
        rh_pct=rh,
        emc_pct=emc,
        emc_error_pct=error,
        dew_point_c=float(psychrometrics.dew_point_c(t, rh)),
        at_ms=newest_ms,
        good=bool(believed),
        note=note,
        rh_error_pct=rh_error,
        wet_bulb_c=bulb,
        checked=all(p.checks.stands(now_ms) for p in current),
    )


def _disagreement(connection: Connection, believed: list[ProbeNow], now_ms: int) -> str:
    if len(believed) < 2:
        return ""
    week_ago = now_ms - 7 * MS_PER_DAY
    hours = [airs.probe_hours(connection, one.subject.id, week_ago, now_ms, one.checks) for one in believed]
    for i in range(len(believed)):
        for j in range(i):
            apart = air.disagreement_rh_pct(hours[i], hours[j], week_ago)
            if apart is not None and abs(apart) > air.DISAGREE_RH_PCT:
                high, low = (believed[i], believed[j]) if apart > 0 else (believed[j], believed[i])
                return (
                    f"{high.fact.name} has read {abs(apart):.0f} %RH more than {low.fact.name} all week: "
                    "check both against a saturated salt."
                )
    return ""
