"""From what is stored to a board's projection, and back out of the cache.

A projection is worked out by the watch, kept in the store as a cache under a key made of everything it
rests on, and read from there by pages and commands; the cache can be thrown away at any time.
"""

from __future__ import annotations

import hashlib
import json
from dataclasses import dataclass, field, fields, replace
from typing import Any

from dashboards import airs, lives, looked_at, measurements, teaching, time_ahead
from dashboards.projection_json import MODEL, from_json, missing, to_json
from dashboards.time_ahead import Records
from dashboards.yard_entries import Entries, read_entries
from kiln import drying, forecast, hindsight, learning
from kiln.records import Projection
from kiln.stress import LossLimit
from shared.errors import BenchdryError
from shared.settings import Settings
from shared.store import Connection, Store, cache
from shared.store.records import CachedProjection, Fact, OutcomeKind
from shared.tables import held_species, species
from shared.units import MS_PER_HOUR

TOLD_OF_HARM = (OutcomeKind.THICKNESS, OutcomeKind.MOULD, OutcomeKind.CASE_HARDENING)  # that bear on its dangers


@dataclass
class Memory:
    """What one process need not work out again: airs on record, and what boards teach. It may be thrown away."""

    records: Records = field(default_factory=Records)
    lessons: teaching.Lessons = field(default_factory=dict)


def input_key(entries: Entries, board_id: int, now_ms: int, known: dict[int, str] | None = None) -> str:
    """Return a key that changes with every entry that bears on a board, and with every full hour.

    Before the dot stand the entries, after it the hour. What was entered of the boards that teach this one bears on it
    too. ``known``: keys of boards already made from the same entries, added to.
    """
    known = {} if known is None else known
    teachers = teaching.teachers(entries, board_id)
    harmed = teaching.harmed_boards(entries, entries.boards[board_id].fact.species)
    told = [_wood_key(entries, one, now_ms, known) for one in (board_id, *teachers.lot, *teachers.finished, *harmed)]
    found = [[one, [_said(outcome) for outcome in entries.boards[one].outcomes]] for one in harmed]
    rests_on = [told, teachers.lot, teachers.finished, found, _ahead(entries, board_id, now_ms)]
    entered = hashlib.sha256(json.dumps(rests_on).encode()).hexdigest()[:24]
    return f"{entered}.{now_ms // MS_PER_HOUR}"


def _ahead(entries: Entries, board_id: int, now_ms: int) -> list[Any]:
    """What bears on the time ahead of a board alone: its use, its planned moves, and the usual months of its places."""
    stays = lives.stays(entries, lives.parts(entries, board_id, now_ms))
    moves = entries.moves_ahead(board_id, now_ms)
    places = sorted({one.place_id for one in (*stays, *moves) if one.place_id is not None})
    return [
        _said(entries.boards[board_id].plan),
        [str(entries.use_of(entries.boards[board_id].plan)), str(entries.limits)],
        [_said(one) for one in entries.boards[board_id].outcomes if one.kind in TOLD_OF_HARM],
        [_said(entries.lifted.get(part.board_id)) for part in lives.parts(entries, board_id, now_ms)],
        [[move.true_at_ms, _said(entries.places.get(move.place_id))] for move in moves],
        [str(span) for move in moves for span in entries.where.probes_of(move.place_id)],
        [_said(entries.climates.get(place_id)) for place_id in places],
    ]


def _wood_key(entries: Entries, board_id: int, now_ms: int, known: dict[int, str]) -> str:
    """Key of what a board's refit rests on, so of what it teaches others too."""
    if board_id not in known:
        known[board_id] = _made_key(entries, board_id, now_ms)
    return known[board_id]


def _made_key(entries: Entries, board_id: int, now_ms: int) -> str:
    life = lives.parts(entries, board_id, now_ms)
    stays = lives.stays(entries, life)
    boards = [entries.boards[part.board_id] for part in life]
    places = sorted({stay.place_id for stay in stays if stay.place_id is not None})
    spans = sorted({span for place_id in places for span in entries.where.probes_of(place_id)})
    heard_by = {probe_id for probe_id, _begin, _finish in spans}
    heard_by |= {bag.probe_id for board in boards for bag in board.bags}
    read_by = {pin.meter_id for board in boards for pin in board.pins}
    rests_on = [
        MODEL,
        [
            _said(e)
            for board in boards
            for e in (*board.sizes, *board.weigh_ins, *board.pins, *board.oven_dry, *board.bags, *board.waters)
        ],
        str(species().get(boards[-1].fact.species)),
        [str(entries.meters[m].lot) for m in sorted(entries.meters) if m in read_by],
        [str(entries.checks[p]) for p in sorted(entries.checks) if p in heard_by],
        [(stay.start_ms, stay.place_id) for stay in stays],
        [str(span) for span in spans],
        str(lives.spells(entries, life, life[0].begin_ms)),
        life[0].begin_ms,
        str(entries.latitude_longitude_deg),
        [_on_cells(entries, part.board_id, now_ms) for part in life],
    ]
    return hashlib.sha256(json.dumps(rests_on).encode()).hexdigest()[:24]


def _on_cells(entries: Entries, board_id: int, now_ms: int) -> list[Any]:
    """What bears on a board's weights by load cells: the cells' tares, and the weigh-ins of all that lay on them."""
    told: list[Any] = []
    for load in entries.cell_loads(board_id, now_ms):
        weighed = [
            _said(one) for board in load.boards if board in entries.boards for one in entries.boards[board].weigh_ins
        ]
        tares = [_said(one) for one in entries.cells[load.probe_id].tares]
        told.append([load.probe_id, load.start_ms, load.error_kg, load.boards, tares, weighed])
    return told


def rests_on_all_entries(held: CachedProjection, key: str) -> bool:
    """Whether a cached projection rests on the entries of ``key``, be it of an earlier hour."""
    return held.input_key.partition(".")[0] == key.partition(".")[0]


def _said(entry: Fact | None) -> list[Any] | None:
    if entry is None:
        return None
    ignored = {"id", "entered_at_ms", "entered_by", "supersedes", "withdrawn"}
    return [str(getattr(entry, field.name)) for field in fields(entry) if field.name not in ignored]


def question(
    connection: Connection, entries: Entries, board_id: int, now_ms: int, records: Records | None = None
) -> forecast.Question:
    """Put together everything that a board's projection is made from.

    Raises ValueError, in words, when it is too little.
    """
    records = records or Records()
    board = entries.boards[board_id]
    life = lives.parts(entries, board_id, now_ms)
    stays = lives.stays(entries, life)
    if not stays or stays[-1].place_id is None:
        raise ValueError("nobody has said where it is")
    way = airs.way_air(connection, entries.where, stays)
    if not way.known.any():
        raise ValueError("no air has been logged where it is")
    use, rh_pct, temperature_c = entries.use_of(board.plan)
    piece = drying.Piece(
        species=held_species(board.fact.species),
        thickness_m=board.fact.thickness_m,
        width_m=board.fact.width_m,
        length_m=board.fact.length_m,
        origin=str(entries.boards[life[0].board_id].fact.origin),
        spells=lives.spells(entries, life, int(way.at_ms[0]), len(way.at_ms)),
        rh_error_pct=airs.way_rh_error_pct(entries.where, entries.checks, stays),
    )
    here, last = stays[-1], piece.spells[-1]
    assert here.place_id is not None
    return forecast.Question(
        piece,
        way,
        records.of(connection, entries, here.place_id, now_ms),
        measurements.data(connection, entries, life, now_ms),
        use,
        rh_pct,
        temperature_c,
        entries.latitude_longitude_deg,
        climate=time_ahead.climate(entries, here.place_id),
        plan=time_ahead.planned(connection, entries, board_id, last, way.end_ms, records),
        elsewhere=time_ahead.elsewhere(connection, entries, here, last, way.end_ms, records),
        thicknesses=looked_at.thicknesses(entries, life),
        sapwood=looked_at.sapwood(entries, life),
        clean_since_ms=looked_at.clean_since_ms(board),
        mould_found_ms=looked_at.mould_found_ms(board),
        prongs=looked_at.prongs(board),
        limits=entries.limits,
        here_since_ms=airs.joined(stays)[-1].start_ms,
    )


@dataclass(frozen=True)
class Worked:
    """A board's projection as it was worked out, before anybody keeps it."""

    key: str
    made: Projection | str  # text: why there is none
    asked: forecast.Question | None  # what it was made from; None: there was too little
    held: CachedProjection | None  # what the store held of the board meanwhile

    @property
    def body(self) -> str:
        """It as text for the cache."""
        return missing(self.made) if isinstance(self.made, str) else to_json(self.made)


def refresh(
    store: Store, board_id: int, now_ms: int, settings: Settings | None = None, memory: Memory | None = None
) -> None:
    """Work out one board's projection and keep it; what cannot be said is kept as the reason.

    What was foretold after each weigh-in is taken over while no entry has changed; else the projection is kept at
    once, and again with that, which takes longer.
    """
    one = worked_out(store, board_id, now_ms, settings, memory)
    before = from_json(one.held.body) if one.held and rests_on_all_entries(one.held, one.key) else ""
    if isinstance(one.made, Projection) and isinstance(before, Projection):
        one = replace(one, made=replace(one.made, history=before.history))
    _keep(store, CachedProjection(board_id, one.key, now_ms, one.body))
    if one.asked is None or isinstance(one.made, str) or isinstance(before, Projection):
        return
    told = hindsight.history(one.asked)
    if told:
        _keep(store, CachedProjection(board_id, one.key, now_ms, to_json(replace(one.made, history=told))))


def worked_out(
    store: Store,
    board_id: int,
    now_ms: int,
    settings: Settings | None = None,
    memory: Memory | None = None,
    kept: dict[int, CachedProjection] | None = None,
) -> Worked:
    """Work out one board's projection, without what was foretold after each weigh-in, and keep nothing.

    ``kept``: projections of other boards to go by in place of those in the store.
    """
    memory = memory or Memory()
    asked, why = None, ""
    with store.reading() as connection:
        entries = read_entries(connection, now_ms, settings)
        key = input_key(entries, board_id, now_ms)
        kept = cache.projections(connection) if kept is None else kept
        try:
            own = question(connection, entries, board_id, now_ms, memory.records)
            asked = _taught(connection, entries, board_id, now_ms, memory, own)
        except (ValueError, BenchdryError) as error:
            why = str(error)
    made = _project(replace(asked, own_loss=_own_loss(entries, board_id, kept))) if asked else why
    return Worked(key, made, asked, kept.get(board_id))


def _keep(store: Store, made: CachedProjection) -> None:
    with store.writing() as connection:
        cache.put_projection(connection, made)


def _taught(
    connection: Connection,
    entries: Entries,
    board_id: int,
    now_ms: int,
    memory: Memory,
    asked: forecast.Question,
) -> forecast.Question:
    """The question, with what other boards teach of this one."""
    known: dict[int, str] = {}

    def of(other: int) -> forecast.Question:
        return question(connection, entries, other, now_ms, memory.records)

    def key(other: int) -> str:
        return _wood_key(entries, other, now_ms, known)

    return replace(asked, believed=teaching.believed(entries, board_id, asked, memory.lessons, of, key))


def _own_loss(entries: Entries, board_id: int, kept: dict[int, CachedProjection]) -> LossLimit | None:
    """The loss at which boards of this one's wood were harmed, by their projections as they were kept last."""
    fact = entries.boards[board_id].fact
    bodies = {one: from_json(kept[one].body) for one in teaching.harmed_boards(entries, fact.species) if one in kept}
    made = {one: body for one, body in bodies.items() if isinstance(body, Projection)}
    return learning.own_safe_loss(fact.species, fact.thickness_m, teaching.harmed(entries, made))


def _project(asked: forecast.Question) -> Projection | str:
    """The projection, or why there is none."""
    try:
        return forecast.project(asked)
    except (ValueError, BenchdryError) as error:
        return str(error)


def keep_failure(store: Store, board_id: int, now_ms: int, settings: Settings | None = None) -> None:
    """Keep it that a board's projection failed for a reason that nobody foresaw; the next hour tries again."""
    with store.reading() as connection:
        key = input_key(read_entries(connection, now_ms, settings), board_id, now_ms)
    with store.writing() as connection:
        body = missing("its projection failed: the log of the watch says why")
        cache.put_projection(connection, CachedProjection(board_id, key, now_ms, body))
