"""The whole yard at one moment: what is where, how its air and probes are, and the verdict on each."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from dashboards import airs, projection
from kiln import air, psychrometrics, readiness, sorption, together
from kiln.records import Projection, Verdict
from kiln.spans import span_words
from shared.settings import Settings
from shared.store import Connection, Store, cache, facts, readings
from shared.store.records import (
    BoardFact,
    OvenDryResult,
    PinReading,
    PlaceFact,
    ProbeFact,
    Quality,
    Quantity,
    Reading,
    RecorderState,
    SetFact,
    SetMember,
    StackFact,
    Subject,
    SubjectKind,
    UsePlan,
    WeighIn,
)
from shared.units import MS_PER_DAY, MS_PER_HOUR, MS_PER_MINUTE, Array

RECORDER_QUIET_MS = 30_000
WATCH_BEHIND_MS = 2 * MS_PER_HOUR
AIR_WORTH_MS = 10 * MS_PER_MINUTE  # readings this close together count as one moment


@dataclass(frozen=True)
class ProbeNow:
    """A probe, what it last said, and whether it is believed."""

    subject: Subject
    fact: ProbeFact
    place_id: int | None
    temperature: Reading | None
    rh: Reading | None
    state: str  # heard, silent, stuck, never heard, unplaced
    sentence: str

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
    emc_error_pct: float
    dew_point_c: float
    at_ms: int
    good: bool
    note: str


@dataclass(frozen=True)
class PlaceNow:
    """A place with its probes and its air."""

    subject: Subject
    fact: PlaceFact
    probes: list[ProbeNow]
    air: AirNow | None


@dataclass(frozen=True)
class BoardNow:
    """A board, where it is, what was measured of it, its projection and the verdict."""

    subject: Subject
    fact: BoardFact
    stack_id: int | None
    place_id: int | None
    set_id: int | None
    role: str
    plan: UsePlan | None
    weigh_ins: list[WeighIn]
    pins: list[PinReading]
    oven_dry: list[OvenDryResult]
    projection: Projection | None
    projected_ms: int | None
    verdict: Verdict


@dataclass(frozen=True)
class StackNow:
    """A stack with its boards and the verdict on them."""

    subject: Subject
    fact: StackFact
    place_id: int | None
    boards: list[BoardNow]
    verdict: Verdict


@dataclass(frozen=True)
class SetNow:
    """A matched set with its pieces and the verdict on them."""

    subject: Subject
    fact: SetFact
    boards: list[BoardNow]
    roles: dict[int, str]
    plan: UsePlan | None
    verdict: Verdict


@dataclass(frozen=True)
class Situation:
    """Everything that a page or command shows, read at one moment."""

    now_ms: int
    places: list[PlaceNow]
    probes: list[ProbeNow]
    stacks: list[StackNow]
    sets: list[SetNow]
    boards: list[BoardNow]
    recorder: RecorderState | None
    recorder_note: str
    watch_note: str

    def place_name(self, place_id: int | None) -> str:
        """What a place is called; empty when nobody said where."""
        return next((place.fact.name for place in self.places if place.subject.id == place_id), "")


def read(store: Store, now_ms: int, settings: Settings) -> Situation:
    """Read the whole yard."""
    with store.reading() as connection:
        entries = projection.read_entries(connection, now_ms)
        probes = _probes(connection, entries.where, settings, now_ms)
        places = [_place(connection, entries, one, probes, now_ms) for one in _open_places(connection, entries)]
        held = cache.projections(connection)
        membership = _members(connection, now_ms)
        boards = _boards(connection, entries, places, held, membership, settings, now_ms)
        stacks = [_stack(one, fact, boards, entries.where, now_ms) for one, fact in
                  _described(connection, SubjectKind.STACK, StackFact, now_ms)]
        plans = projection.grouped(facts.standing(connection, UsePlan))
        sets = [_set(one, fact, boards, membership, facts.at(plans.get(one.id, []), now_ms)) for one, fact in
                _described(connection, SubjectKind.SET, SetFact, now_ms)]
        recorder = readings.recorder_state(connection)
    return Situation(
        now_ms, places, probes, stacks, sets, boards, recorder, _recorder_note(recorder, now_ms),
        _watch_note(boards, now_ms),
    )


def _described(connection: Connection, kind: SubjectKind, record: type, now_ms: int) -> list[tuple[Subject, object]]:
    history = projection.grouped(facts.standing(connection, record))
    found = []
    for one in facts.subjects(connection, kind):
        if one.id in history:
            found.append((one, facts.at(history[one.id], now_ms) or history[one.id][0]))
    return found


def _open_places(connection: Connection, entries: projection.Entries) -> list[Subject]:
    found = facts.subjects(connection, SubjectKind.PLACE)
    return [one for one in found if one.id in entries.places and not entries.places[one.id].closed]


# --- probes and air --------------------------------------------------------------------------------


def _probes(connection: Connection, where: airs.Positions, settings: Settings, now_ms: int) -> list[ProbeNow]:
    series: dict[int, dict[Quantity, int]] = {}
    for one in readings.all_series(connection):
        series.setdefault(one.probe_id, {})[one.quantity] = one.id
    limit_ms = settings.silent_after_minutes * MS_PER_MINUTE
    found = []
    for subject, fact in _described(connection, SubjectKind.PROBE, ProbeFact, now_ms):
        ids = series.get(subject.id, {})
        newest = {quantity: readings.latest(connection, id_, Quality.GOOD) for quantity, id_ in ids.items()}
        place_id = where.probe_place(subject.id, now_ms)
        state, sentence = _probe_state(connection, subject, newest, place_id, limit_ms, now_ms)
        found.append(ProbeNow(
            subject, fact, place_id, newest.get(Quantity.TEMPERATURE_C), newest.get(Quantity.RH_PCT), state, sentence
        ))
    return found


def _probe_state(
    connection: Connection, subject: Subject, newest: dict[Quantity, Reading | None], place_id: int | None,
    limit_ms: int, now_ms: int,
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
    hours = airs.probe_hours(connection, subject.id, now_ms - 4 * MS_PER_DAY, now_ms)
    stuck = air.stuck_hours(hours)
    if len(stuck) and stuck[-1]:
        run = int(np.argmin(stuck[::-1])) if not stuck.all() else len(stuck)
        return "stuck", f"Has shown the very same figures for {run} h: not believed, the air always moves a little."
    if place_id is None:
        return "unplaced", "Heard, but nobody has said which place it measures."
    return "heard", f"Heard {age} ago."


def _place(
    connection: Connection, entries: projection.Entries, subject: Subject, probes: Sequence[ProbeNow], now_ms: int
) -> PlaceNow:
    here = [probe for probe in probes if probe.place_id == subject.id]
    note = _disagreement(connection, [probe for probe in here if probe.believed], now_ms)
    return PlaceNow(subject, entries.places[subject.id], here, _air(here, note))


def _air(here: list[ProbeNow], note: str) -> AirNow | None:
    believed = [probe for probe in here if probe.believed and probe.temperature and probe.rh]
    heard = believed or [probe for probe in here if probe.temperature and probe.rh]
    if not heard:
        return None
    newest_ms = max(min(p.temperature.at_ms, p.rh.at_ms) for p in heard)
    current = [p for p in heard if newest_ms - min(p.temperature.at_ms, p.rh.at_ms) <= 6 * AIR_WORTH_MS]
    t = float(np.mean([p.temperature.value for p in current]))
    rh = float(np.clip(np.mean([p.rh.value for p in current]), 0.0, 100.0))
    covered = sorption.LOWEST_C <= t <= sorption.HIGHEST_C
    emc = float(sorption.emc_pct(t, rh)) if covered else float("nan")
    error = float(sorption.emc_error_mc_pct(t, rh, air.UNCHECKED_RH_ERROR_PCT)) if covered else float("nan")
    return AirNow(t, rh, emc, error, float(psychrometrics.dew_point_c(t, rh)), newest_ms, bool(believed), note)


def _disagreement(connection: Connection, believed: list[ProbeNow], now_ms: int) -> str:
    week_ago = now_ms - 7 * MS_PER_DAY
    hours = [airs.probe_hours(connection, probe.subject.id, week_ago, now_ms) for probe in believed]
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


# --- boards, stacks, sets --------------------------------------------------------------------------


def _members(connection: Connection, now_ms: int) -> dict[int, SetMember]:
    history = projection.grouped(facts.standing(connection, SetMember))
    found = {board_id: facts.at(entries, now_ms) for board_id, entries in history.items()}
    return {board_id: member for board_id, member in found.items() if member is not None and member.set_id is not None}


def _boards(
    connection: Connection, entries: projection.Entries, places: list[PlaceNow], held: dict, membership: dict,
    settings: Settings, now_ms: int,
) -> list[BoardNow]:
    air_by_place = {place.subject.id: place for place in places}
    plans = projection.grouped(facts.standing(connection, UsePlan))
    found = []
    for subject in facts.subjects(connection, SubjectKind.BOARD):
        if subject.id not in entries.boards:
            continue
        board = entries.boards[subject.id]
        member = membership.get(subject.id)
        stays = entries.where.board_stays(subject.id, now_ms, now_ms + 1)
        place = air_by_place.get(stays[-1].place_id) if stays and stays[-1].place_id is not None else None
        position = entries.where.board_at(subject.id, now_ms)
        # A piece of a set is judged for what the set is wanted for, unless it has a use of its own.
        plan = board.plan or (facts.at(plans.get(member.set_id, []), now_ms) if member else None)
        cached = held.get(subject.id)
        made = projection.from_json(cached.body) if cached else "its projection is being worked out"
        verdict = readiness.judge(_case(board, plan, place, made, settings, now_ms))
        found.append(BoardNow(
            subject, board.fact, position.stack_id if position else None, place.subject.id if place else None,
            member.set_id if member else None, member.role if member else "", plan, board.weigh_ins, board.pins,
            board.oven_dry, made if isinstance(made, Projection) else None, cached.computed_at_ms if cached else None,
            verdict,
        ))
    return found


def _case(
    board: projection.BoardEntries, plan: UsePlan | None, place: PlaceNow | None, made: Projection | str,
    settings: Settings, now_ms: int,
) -> readiness.Case:
    use, _rh, _t = projection.use_of(plan)
    believed = place.air if place and place.air and place.air.good else None
    heard = place.air.at_ms if place and place.air else None
    return readiness.Case(
        now_ms=now_ms, botanical_name=board.fact.species, thickness_m=board.fact.thickness_m,
        origin=str(board.fact.origin), use=use, use_chosen=plan is not None,
        booked_ms=plan.booked_ms if plan else None, projection=made if isinstance(made, Projection) else None,
        missing=made if isinstance(made, str) else "", place=place.fact.name if place else "",
        air_at_ms=believed.at_ms if believed else heard, air_believed=believed is not None,
        air_limit_ms=settings.silent_after_minutes * MS_PER_MINUTE,
        air_temperature_c=believed.temperature_c if believed else None,
        newest_measurement_ms=board.newest_measurement_ms,
    )


def _judged(boards: list[BoardNow]) -> list[tuple[str, Projection | None, Verdict]]:
    return [(board.fact.name, board.projection, board.verdict) for board in boards]


def _stack(subject: Subject, fact: StackFact, boards: list[BoardNow], where: airs.Positions, now_ms: int) -> StackNow:
    inside = [board for board in boards if board.stack_id == subject.id]
    measured = sum(bool(board.weigh_ins or board.pins or board.oven_dry) for board in inside)
    verdict = together.judge_stack(_judged(inside), measured)
    return StackNow(subject, fact, where.stack_place(subject.id, now_ms), inside, verdict)


def _set(
    subject: Subject, fact: SetFact, boards: list[BoardNow], membership: dict[int, SetMember], plan: UsePlan | None
) -> SetNow:
    pieces = [board for board in boards if board.set_id == subject.id]
    roles = {board.subject.id: membership[board.subject.id].role for board in pieces}
    return SetNow(subject, fact, pieces, roles, plan, together.judge_set(_judged(pieces)))


# --- how we ourselves are --------------------------------------------------------------------------


def _recorder_note(recorder: RecorderState | None, now_ms: int) -> str:
    if recorder is None:
        return "No recorder has run yet: `benchdry run` starts it."
    age_ms = now_ms - recorder.beat_ms
    if age_ms > RECORDER_QUIET_MS:
        return f"The recorder has not been heard for {span_words(age_ms)}: nothing new is being stored."
    return "" if recorder.connected and recorder.note == "connected" else f"Recorder: {recorder.note}."


def _watch_note(boards: list[BoardNow], now_ms: int) -> str:
    projected = [board.projected_ms for board in boards if board.projected_ms is not None]
    if not projected or now_ms - min(projected) <= WATCH_BEHIND_MS:
        return ""
    return f"Projections are behind: the oldest is from {span_words(now_ms - min(projected))} ago."


# --- a place's air over time -----------------------------------------------------------------------


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
    span_ms = 10 * MS_PER_MINUTE if length_ms <= 2 * MS_PER_DAY else (
        MS_PER_HOUR if length_ms <= 14 * MS_PER_DAY else MS_PER_DAY
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
    total = {q: np.zeros(len(steps)) for q in Quantity}
    count = {q: np.zeros(len(steps)) for q in Quantity}
    low = {q: np.full(len(steps), np.inf) for q in Quantity}
    high = {q: np.full(len(steps), -np.inf) for q in Quantity}
    names = []
    facts_by_probe = {fact.subject_id: fact for fact in facts.standing(connection, ProbeFact)}
    for probe_id, begin, finish in where.probes_of(place_id):
        for one in readings.all_series(connection):
            if one.probe_id != probe_id:
                continue
            held = readings.buckets(connection, one.id, span_ms, max(begin, int(steps[0])), min(finish, end_ms))
            index = (held.bucket_ms - steps[0]) // span_ms
            keep = (held.n > 0) & (index >= 0) & (index < len(steps))
            if not keep.any():
                continue
            names.append(facts_by_probe[probe_id].name)
            np.add.at(total[one.quantity], index[keep], held.mean[keep])
            np.add.at(count[one.quantity], index[keep], 1)
            np.minimum.at(low[one.quantity], index[keep], held.low[keep])
            np.maximum.at(high[one.quantity], index[keep], held.high[keep])
    result = {}
    for q in Quantity:
        some = count[q] > 0
        mean = np.where(some, total[q] / np.maximum(count[q], 1), np.nan)
        result[q] = (mean, np.where(some, low[q], np.nan), np.where(some, high[q], np.nan))
    return result, sorted(set(names))
