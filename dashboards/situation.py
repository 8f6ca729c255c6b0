"""The whole yard at one moment: what is where, how its air and probes are, and the verdict on each."""

from __future__ import annotations

from dataclasses import dataclass

from dashboards import airs, cases, lives, out_of_water, planning, projection, region_entries, teaching, worked_in
from dashboards.airs import by_subject
from dashboards.calibrations import MeterNow
from dashboards.heard import PlaceNow, ProbeNow, place_now, probes_now
from dashboards.projection_json import BEING_MADE, from_json
from dashboards.yard_entries import Entries, read_entries
from kiln import doubts, learning, readiness, together
from kiln.pace import Pace, pace_of
from kiln.reclaimed import Triage
from kiln.records import Projection, Verdict
from kiln.spans import span_words
from kiln.wettest import Wettest
from shared.settings import Settings
from shared.store import Connection, Store, cache, facts, readings
from shared.store.records import (
    BagTest,
    BoardFact,
    CachedProjection,
    Lifted,
    Origin,
    OvenDryResult,
    Override,
    PieceKind,
    PinReading,
    PlannedMove,
    RecorderState,
    SetFact,
    StackFact,
    Subject,
    SubjectKind,
    UsePlan,
    WeighIn,
)
from shared.tables import Region
from shared.units import MS_PER_HOUR

RECORDER_QUIET_MS = 30_000
WATCH_BEHIND_MS = 2 * MS_PER_HOUR


@dataclass(frozen=True)
class BoardNow:
    """A board, where it is, what was measured of it, its projection and the verdict."""

    subject: Subject
    fact: BoardFact
    stack_id: int | None
    place_id: int | None
    set_id: int | None
    role: str
    kind: PieceKind | None  # of a set's piece; None: it is in none
    plan: UsePlan | None
    weigh_ins: list[WeighIn]
    pins: list[PinReading]
    oven_dry: list[OvenDryResult]
    bags: list[BagTest]
    projection: Projection | None
    projected_ms: int | None
    verdict: Verdict
    moves: list[PlannedMove]  # that lie ahead, by itself or with its stack
    override: Override | None  # somebody goes ahead whatever the verdict says
    lifted: Lifted | None  # when and how it came out of the water; None: nobody said
    pace: Pace | None  # how fast it loses beside what it survives; None without projection
    entered_ms: int | None = None  # when what is being worked in was entered; None: nothing is, or not known
    triage: Triage | None = None  # what was seen and smelt of it, or of its log; None: nothing was entered


@dataclass(frozen=True)
class StackNow:
    """A stack with its boards and the verdict on them."""

    subject: Subject
    fact: StackFact
    place_id: int | None
    boards: list[BoardNow]
    verdict: Verdict
    plans: list[planning.PlanTold]  # moves planned for it
    wettest: Wettest | None  # of its boards that have a projection; None of fewer than two
    deciding: BoardNow | None  # the board whose verdict stands for it; None: there is no board in it


@dataclass(frozen=True)
class SetNow:
    """A matched set with its pieces and the verdict on them."""

    subject: Subject
    fact: SetFact
    boards: list[BoardNow]
    roles: dict[int, str]
    plan: UsePlan | None
    verdict: Verdict
    override: Override | None  # of the set as a whole


@dataclass(frozen=True)
class Situation:
    """Everything that a page or command shows, read at one moment."""

    now_ms: int
    places: list[PlaceNow]  # closed ones too: their history stays to be seen
    probes: list[ProbeNow]
    stacks: list[StackNow]
    sets: list[SetNow]
    boards: list[BoardNow]
    meters: list[MeterNow]
    recorder: RecorderState | None
    recorder_note: str
    watch_note: str
    store: Store  # for what is read of one thing alone, when somebody asks
    region: Region = Region.LOWEST  # whose limits for breathed air vapour is held against

    @property
    def open_places(self) -> list[PlaceNow]:
        """The places still in use."""
        return [place for place in self.places if not place.fact.closed]

    def place_name(self, place_id: int | None) -> str:
        """What a place is called; empty when nobody said where."""
        return next((place.fact.name for place in self.places if place.subject.id == place_id), "")


Bodies = dict[int, Projection | str]  # by board; text: why there is no projection


def read(store: Store, now_ms: int, settings: Settings, bodies: Bodies | None = None) -> Situation:
    """Read the whole yard; ``bodies``: projections to take in place of those kept in the store."""
    with store.reading() as connection:
        entries = read_entries(connection, now_ms, settings)
        probes = probes_now(connection, entries.where, settings, now_ms)
        places = [
            place_now(connection, one, entries.places[one.id], probes, now_ms)
            for one in facts.subjects(connection, SubjectKind.PLACE)
            if one.id in entries.places
        ]
        held = cache.projections(connection)
        boards = _boards(connection, entries, places, held, settings, now_ms, bodies)
        stacks = [
            _stack(one, fact, boards, entries, now_ms)
            for one, fact in _described(connection, SubjectKind.STACK, StackFact, now_ms)
        ]
        sets = [
            _set(connection, one, fact, boards, entries, now_ms)
            for one, fact in _described(connection, SubjectKind.SET, SetFact, now_ms)
        ]
        recorder = readings.recorder_state(connection)
        region = region_entries.region_now(connection, now_ms, settings).region
    return Situation(
        now_ms,
        places,
        probes,
        stacks,
        sets,
        boards,
        list(entries.meters.values()),
        recorder,
        _recorder_note(recorder, now_ms),
        _watch_note(boards, now_ms),
        store,
        region,
    )


def _described(connection: Connection, kind: SubjectKind, record: type, now_ms: int) -> list[tuple[Subject, object]]:
    history = by_subject(facts.standing(connection, record))
    found = []
    for one in facts.subjects(connection, kind):
        if one.id in history:
            found.append((one, facts.at(history[one.id], now_ms) or history[one.id][0]))
    return found


# --- boards, stacks, sets --------------------------------------------------------------------------


def _boards(
    connection: Connection,
    entries: Entries,
    places: list[PlaceNow],
    held: dict[int, CachedProjection],
    settings: Settings,
    now_ms: int,
    given: Bodies | None,
) -> list[BoardNow]:
    air_by_place = {place.subject.id: place for place in places}
    bodies = {one: from_json(cached.body) for one, cached in held.items()} if given is None else given
    harmed = teaching.harmed(entries, {one: body for one, body in bodies.items() if isinstance(body, Projection)})
    found, known = [], {}  # type: ignore[var-annotated]
    lifted = by_subject(facts.standing(connection, Lifted))
    for subject in facts.subjects(connection, SubjectKind.BOARD):
        if subject.id not in entries.boards:
            continue
        board = entries.boards[subject.id]
        member = entries.membership.get(subject.id)
        stays = airs.joined(lives.stays(entries, lives.parts(entries, subject.id, now_ms + 1)))
        place = air_by_place.get(stays[-1].place_id) if stays and stays[-1].place_id is not None else None
        position = entries.where.board_at(subject.id, now_ms)
        cached = held.get(subject.id)
        made = bodies.get(subject.id, BEING_MADE)
        pending = cached is not None and not projection.rests_on_all_entries(
            cached, projection.input_key(entries, subject.id, now_ms, known)
        )
        own_loss = learning.own_safe_loss(board.fact.species, board.fact.thickness_m, harmed)
        reclaimed = board.fact.origin is Origin.RECLAIMED
        triage = out_of_water.triage_of(entries, lifted, subject.id, now_ms) if reclaimed else None
        clock = None
        if triage is not None and (position is None or position.stack_id is None):
            now_c = place.air.temperature_c if place and place.air and place.air.good else None
            out = out_of_water.of_board(connection, entries.where, subject.id, now_ms, now_c)
            clock = out.clock if out else None
        entered_ms = worked_in.entered_ms(board, cached.computed_at_ms) if cached and pending else None
        before = worked_in.told_before(connection, subject.id, now_ms) if pending else ""
        about = cases.About(
            entries, board, stays, place, made, pending, own_loss, triage, clock, entered_ms=entered_ms, before=before
        )
        case = cases.case_of(about, settings, now_ms)
        verdict = readiness.judge(case)
        found.append(
            BoardNow(
                subject,
                board.fact,
                position.stack_id if position else None,
                place.subject.id if place else None,
                member.set_id if member else None,
                member.role if member else "",
                member.kind if member else None,
                board.plan,
                board.weigh_ins,
                board.pins,
                board.oven_dry,
                board.bags,
                made if isinstance(made, Projection) else None,
                cached.computed_at_ms if cached else None,
                verdict,
                entries.moves_ahead(subject.id, now_ms),
                cases.override_of(entries, subject.id, now_ms),
                entries.lifted.get(subject.id),
                pace_of(case, made) if isinstance(made, Projection) else None,
                entered_ms,
                triage,
            )
        )
    return found


def _judged(boards: list[BoardNow], entries: Entries) -> list[together.Judged]:
    return [
        together.Judged(
            board.fact.name,
            board.projection,
            board.verdict,
            (entries.lots.get(board.subject.id) or board.subject.id, board.fact.species, board.fact.origin),
            twin=board.kind is PieceKind.TWIN,
        )
        for board in boards
    ]


def _stack(subject: Subject, fact: StackFact, boards: list[BoardNow], entries: Entries, now_ms: int) -> StackNow:
    inside = [board for board in boards if board.stack_id == subject.id]
    measured = sum(bool(board.weigh_ins or board.pins or board.oven_dry or board.bags) for board in inside)
    judged = _judged(inside, entries)
    wet = together.wettest_of(judged, now_ms, entries.limits)
    verdict = together.judge_stack(judged, measured, fact.boards_in_all or 0, wet)
    plans = planning.told(entries.moves.get(subject.id, []), entries.where.stacks.get(subject.id, []), now_ms)
    place_id = entries.where.stack_place(subject.id, now_ms)
    deciding = None if verdict.decides is None else inside[verdict.decides]
    return StackNow(subject, fact, place_id, inside, verdict, plans, wet, deciding)


def _set(
    connection: Connection, subject: Subject, fact: SetFact, boards: list[BoardNow], entries: Entries, now_ms: int
) -> SetNow:
    pieces = [board for board in boards if board.set_id == subject.id]
    in_one_air = len({board.place_id for board in pieces}) == 1
    roles = {board.subject.id: entries.membership[board.subject.id].role for board in pieces}
    plan = facts.at(entries.plans.get(subject.id, []), now_ms)
    working = None
    if any(together.waits_for_a_moment(one.verdict) and one.projection is not None for one in pieces):
        entered = max((one.entered_ms for one in pieces if one.entered_ms is not None), default=None)
        working = doubts.worked_in(now_ms, entered, worked_in.told_before(connection, subject.id, now_ms))
    verdict = together.judge_set(
        _judged(pieces, entries), in_one_air=in_one_air, limits=entries.limits, working=working
    )
    override = cases.override_of(entries, subject.id, now_ms)
    return SetNow(subject, fact, pieces, roles, plan, verdict, override)


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
