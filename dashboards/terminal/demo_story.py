"""Oxlip Weir's boards: an invented story, entered as its invented people would have entered it.

Each board has a truth of its own, drawn by its code: how dense it really is, how wet it began, how fast
water moves in it. That truth is marched through the true air of the places it lay in (not through what
the probes said of it), and weighed on an invented scale. The program then sees the weigh-ins only. The
truth comes from our own solver, so how well the projections do here proves nothing about real wood.
"""

from __future__ import annotations

import zlib
from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from dashboards import entries
from kiln import diffusion, drying
from sensors import demo_air, demo_weather
from shared.store import Connection, Store, facts
from shared.store.records import SubjectKind, WeighIn
from shared.tables import species
from shared.units import MS_PER_DAY, MS_PER_HOUR, S_PER_HOUR, Array, datetime_from_ms, g_from_kg, m_from_mm

PEOPLE = ("Maren", "Tobias")  # invented
ENTERED_AFTER_MS = 4 * 60_000
TRUE_SPREAD = np.array([0.07, 0.06, 0.35, 0.6, 0.3, 0.05])  # of each unknown, one standard deviation in logarithms
SCALE_SHARE = 0.0005


@dataclass(frozen=True)
class Lie:
    """Where a board lies from a day on (days before the demo was first started)."""

    days_ago: float
    place: str
    stack: str = ""


@dataclass(frozen=True)
class Board:
    """A board of the story; times are days before the demo was first started."""

    code: str
    species: str
    sizes_mm: tuple[float, float, float]
    origin: str
    cut: str
    way: tuple[Lie, ...]
    weighed_days_ago: tuple[float, ...] = ()
    weighed_again_every_days: float = 0.0  # after the demo was started; 0: nobody does
    start_mc_pct: float | None = None  # the truth; None: drawn around what is usual
    matched_to: str = ""  # twins are of one board, so share its truth
    pins_days_ago: tuple[float, ...] = ()
    section_days_ago: float | None = None
    use: str = ""
    note: str = ""
    name: str = ""

    @property
    def born_days_ago(self) -> float:
        """When it came into these sizes."""
        return self.way[0].days_ago


@dataclass(frozen=True)
class Set:
    """A matched set of the story."""

    code: str
    name: str
    pieces: dict[str, str]
    use: str
    booked_in_days: float | None = None


@dataclass(frozen=True)
class Story:
    """Everything, at the dates that follow from when the demo was first started."""

    stacks: dict[str, tuple[str, str]]  # code: (name, place)
    boards: tuple[Board, ...]
    sets: tuple[Set, ...] = field(default=())


def _often(first: float, step: float, last: float = 1.0) -> tuple[float, ...]:
    return tuple(np.arange(first, last, -step).tolist())


def story(first_run_ms: int) -> Story:
    """Return the story: the ash was stacked on the latest 1 March that lies at least 60 days back."""
    stacked = _days_since_march(first_run_ms)
    ash = {"species": "Fraxinus americana", "sizes_mm": (27, 190, 2100), "origin": "fresh-sawn", "cut": "flat-sawn"}
    plane = {"species": "Platanus occidentalis", "origin": "water-reclaimed", "cut": "quarter-sawn"}
    maple = {"species": "Acer saccharum", "sizes_mm": (32, 180, 1200), "origin": "part-seasoned", "cut": "quarter-sawn"}
    raised = (Lie(38, "log-shed", "raised-plane"),)
    yard = (Lie(stacked, "yard", "spring-ash"),)
    loft = (Lie(230, "log-shed"), Lie(170, "loft", "loft-maple"))
    boards = (
        Board("RP-1", sizes_mm=(34, 230, 1600), way=raised, weighed_days_ago=(37.5, *_often(33, 5)), section_days_ago=37.5,
              weighed_again_every_days=5, note="sample board, end-sealed", name="Raised plane 1", use="machine", **plane),
        Board("RP-2", sizes_mm=(34, 215, 1600), way=raised, weighed_days_ago=(37.5, 26, 12, 3), name="Raised plane 2",
              use="machine", **plane),
        Board("RP-3", sizes_mm=(34, 240, 1500), way=raised, name="Raised plane 3", use="machine",
              note="never weighed: judged by species, size and air alone", **plane),
        Board("SA-1", way=yard, weighed_days_ago=(stacked - 1, *_often(stacked - 8, 7, stacked - 100), *_often(stacked - 110, 21, 4), 4),
              weighed_again_every_days=7, name="Spring ash 1", note="sample board", use="machine", **ash),
        Board("SA-2", way=yard, weighed_days_ago=(*_often(stacked - 3, 30, 40), 11), name="Spring ash 2", use="machine", **ash),
        Board("SA-3", way=yard, weighed_days_ago=(stacked - 3,), pins_days_ago=(6,), name="Spring ash 3", use="machine", **ash),
        Board("LM-1", way=loft, weighed_days_ago=(*_often(225, 25, 10), 3), pins_days_ago=(30, 3), name="Loft maple 1",
              weighed_again_every_days=7, use="machine", **maple),
        Board("LM-2", way=loft, weighed_days_ago=(200, 120, 74), name="Loft maple 2", use="machine", **maple),
        Board("WO-7", "Quercus alba", (28, 210, 1400), "fresh-sawn", "flat-sawn", (Lie(16, "log-shed"), Lie(4, "bench-room")),
              weighed_days_ago=(15.8, 11, 4.1, 2.2, 0.4), weighed_again_every_days=1, name="White oak 7", use="machine",
              note="brought in beside the stove too early"),
        Board("ST-L", "Picea sitchensis", (4.2, 205, 560), "re-sawn", "quarter-sawn", (Lie(75, "loft"), Lie(48, "bench-room")),
              weighed_days_ago=_often(47, 6), weighed_again_every_days=3, start_mc_pct=11.5, name="Spruce top, left"),
        Board("ST-R", "Picea sitchensis", (4.2, 205, 560), "re-sawn", "quarter-sawn", (Lie(75, "loft"), Lie(48, "bench-room")),
              weighed_days_ago=_often(47, 6), weighed_again_every_days=3, start_mc_pct=11.5, matched_to="ST-L",
              name="Spruce top, right"),
        Board("PB-L", "Platanus occidentalis", (30, 200, 540), "re-sawn", "quarter-sawn", (Lie(9, "loft"), Lie(4, "bench-room")),
              weighed_days_ago=(8.5, 5.5, 3.2, 0.6), weighed_again_every_days=2, start_mc_pct=34.0, name="Plane back, left"),
        Board("PB-R", "Platanus occidentalis", (30, 200, 540), "re-sawn", "quarter-sawn", (Lie(9, "loft"), Lie(4, "bench-room")),
              weighed_days_ago=(8.5, 5.5, 3.2, 0.6), weighed_again_every_days=2, start_mc_pct=37.0, matched_to="PB-L",
              name="Plane back, right"),
        Board("MN-2", "Swietenia macrophylla", (65, 90, 720), "part-seasoned", "quarter-sawn", (Lie(120, "finish-room"),),
              weighed_days_ago=(118, 90, 52), start_mc_pct=15.0, name="Mahogany neck blank 2", use="machine"),
    )
    return Story(
        {"raised-plane": ("Raised plane", "log-shed"), "spring-ash": ("Spring ash", "yard"), "loft-maple": ("Loft maple", "loft")},
        boards,
        (Set("top-14", "Spruce top 14", {"ST-L": "left half", "ST-R": "right half"}, "glue"),
         Set("back-15", "Plane back 15", {"PB-L": "left half", "PB-R": "right half"}, "glue", booked_in_days=3)),
    )


def _days_since_march(first_run_ms: int) -> float:
    today = datetime_from_ms(first_run_ms)
    march = today.replace(month=3, day=1, hour=9, minute=0, second=0, microsecond=0)
    if (today - march).days < 60:
        march = march.replace(year=march.year - 1)
    return (today - march).total_seconds() / 86_400


# --- entering it ------------------------------------------------------------------------------------


def enter(store: Store, first_run_ms: int, now_ms: int) -> int:
    """Enter whatever of the story has happened by now and is not in the store yet; return how many entries."""
    told = story(first_run_ms)
    with store.writing() as connection:
        made = sum(1 for _ in _places(connection, first_run_ms))
        made += sum(1 for _ in _stacks(connection, told, first_run_ms))
        made += sum(1 for _ in _boards(connection, told, first_run_ms))
        made += sum(1 for _ in _sets(connection, told, first_run_ms))
        made += sum(1 for _ in _weigh_ins(connection, told, first_run_ms, now_ms))
    return made


def _codes(connection: Connection, kind: SubjectKind) -> set[str]:
    return {one.code for one in facts.subjects(connection, kind)}


def _said(at_ms: float, person: int = 0) -> dict[str, Any]:
    moment = int(at_ms) // 60_000 * 60_000
    return {"by": PEOPLE[person], "now_ms": moment + ENTERED_AFTER_MS, "true_at_ms": moment}


def _places(connection: Connection, first_run_ms: int) -> Iterator[str]:
    beginning = first_run_ms - 500 * MS_PER_DAY
    held = _codes(connection, SubjectKind.PLACE)
    for place in demo_air.PLACES:
        if place.code not in held:
            entries.add_place(
                connection, place.code, name=place.name, kind=str(place.kind), altitude_m=demo_air.ALTITUDE_M, **_said(beginning)
            )
            yield place.code
    held = _codes(connection, SubjectKind.PROBE)
    for probe in demo_air.PROBES:
        if probe.code not in held:
            entries.add_probe(connection, probe.code, topic=probe.topic, place=probe.place, **_said(beginning))
            yield probe.code


def _stacks(connection: Connection, told: Story, first_run_ms: int) -> Iterator[str]:
    held = _codes(connection, SubjectKind.STACK)
    for code, (name, place) in told.stacks.items():
        if code not in held:
            entries.add_stack(connection, code, name=name, place=place, **_said(first_run_ms - 400 * MS_PER_DAY))
            yield code


def _boards(connection: Connection, told: Story, first_run_ms: int) -> Iterator[str]:
    held = _codes(connection, SubjectKind.BOARD)
    for board in told.boards:
        if board.code in held:
            continue
        born = _said(_ms(first_run_ms, board.born_days_ago))
        thickness, width, length = board.sizes_mm
        entries.add_board(
            connection, board.code, name=board.name, species=board.species, thickness_mm=thickness, width_mm=width,
            length_mm=length, cut=board.cut, origin=board.origin, note=board.note, **_lies(board.way[0]), **born,
        )
        for lie in board.way[1:]:
            entries.move_board(connection, board.code, **_lies(lie), **_said(_ms(first_run_ms, lie.days_ago)))
        if board.use:
            entries.plan_use(connection, board.code, use=board.use, **born)
        _measured_otherwise(connection, board, first_run_ms)
        yield board.code


def _lies(lie: Lie) -> dict[str, str]:
    return {"stack": lie.stack} if lie.stack else {"place": lie.place}


def _sets(connection: Connection, told: Story, first_run_ms: int) -> Iterator[str]:
    held = _codes(connection, SubjectKind.SET)
    for one in told.sets:
        if one.code in held:
            continue
        said = _said(first_run_ms - 5 * MS_PER_DAY, person=1)
        entries.add_set(connection, one.code, name=one.name, **said)
        for piece, role in one.pieces.items():
            entries.put_in_set(connection, piece, set_code=one.code, role=role, **said)
        booked = None if one.booked_in_days is None else first_run_ms + int(one.booked_in_days * MS_PER_DAY)
        entries.plan_use(connection, one.code, use=one.use, kind="set", booked=booked, **said)
        yield one.code


def _weigh_ins(connection: Connection, told: Story, first_run_ms: int, now_ms: int) -> Iterator[str]:
    for board in told.boards:
        subject = facts.subject(connection, SubjectKind.BOARD, board.code)
        held = {entry.true_at_ms for entry in facts.standing(connection, WeighIn, subject.id)}
        due = [_ms(first_run_ms, days) for days in board.weighed_days_ago]
        if board.weighed_again_every_days:
            step = int(board.weighed_again_every_days * MS_PER_DAY)
            due += list(range(first_run_ms + step, now_ms, step))
        due = [int(at) // 60_000 * 60_000 for at in due]
        for at_ms in sorted(set(due) - held):
            mass_kg = _weighed(board, first_run_ms, at_ms)
            scale_g = max(g_from_kg(mass_kg) * SCALE_SHARE, 0.05)
            entries.add_weigh_in(
                connection, board.code, mass_g=round(g_from_kg(mass_kg), 1), scale_error_g=scale_g, sure=True, **_said(at_ms)
            )
            yield board.code


def _measured_otherwise(connection: Connection, board: Board, first_run_ms: int) -> None:
    rng = np.random.default_rng(_seed(board.code, "pins"))
    bias_pct = rng.normal(0.0, 0.8)
    for days in board.pins_days_ago:
        at_ms = _ms(first_run_ms, days)
        profile, _mass = _truth(board, first_run_ms, at_ms)
        shown = 100.0 * float(diffusion.at_depth(profile, 0.5)) + bias_pct + rng.normal(0.0, 0.6)
        entries.add_pin_reading(connection, board.code, mc_pct=round(shown, 1), **_said(at_ms, person=1))
    if board.section_days_ago is not None:
        at_ms = _ms(first_run_ms, board.section_days_ago)
        profile, _mass = _truth(board, first_run_ms, at_ms)
        dry_g = 61.4
        entries.add_oven_dry(
            connection, board.code, wet_g=round(dry_g * (1.0 + float(diffusion.mean_of(profile))), 1), dry_g=dry_g, **_said(at_ms)
        )


# --- what is true of it -----------------------------------------------------------------------------


def _ms(first_run_ms: int, days_ago: float) -> int:
    return int(first_run_ms - days_ago * MS_PER_DAY) // 60_000 * 60_000


def _seed(code: str, what: str) -> int:
    return zlib.crc32(f"{demo_weather.SEED} {code} {what}".encode())


def _weighed(board: Board, first_run_ms: int, at_ms: int) -> float:
    profile, mass_kg = _truth(board, first_run_ms, at_ms)
    noise = np.random.default_rng(_seed(board.code, str(at_ms))).normal(0.0, SCALE_SHARE)
    return float(mass_kg * (1.0 + diffusion.mean_of(profile)) * (1.0 + noise))


def _truth(board: Board, first_run_ms: int, at_ms: int) -> tuple[Array, float]:
    """Return the true profile [kg/kg] at a moment, and the true oven-dry mass [kg]."""
    piece, unknowns = _true_board(board)
    begin = _ms(first_run_ms, board.born_days_ago)
    hours = begin + np.arange(max(1, (at_ms - begin) // MS_PER_HOUR), dtype=np.int64) * MS_PER_HOUR
    t, rh = np.empty(len(hours)), np.empty(len(hours))
    for lie in board.way:
        there = hours >= _ms(first_run_ms, lie.days_ago)
        if there.any():
            t[there], rh[there] = demo_weather.air_at(lie.place, hours[there])
    air = diffusion.AirSteps(t[None], rh[None], np.full(len(hours), float(S_PER_HOUR)))
    end = np.array([len(hours)], dtype=np.int64)
    profile = diffusion.march(drying.start_profiles(unknowns), drying.members(piece, unknowns), air, end)
    return profile[0, 0], float(np.exp(unknowns[0, 0]))


def _true_board(board: Board) -> tuple[drying.Piece, Array]:
    thickness, width, length = (m_from_mm(size) for size in board.sizes_mm)
    kind = next(place.kind for place in demo_air.PLACES if place.code == board.way[-1].place)
    piece = drying.Piece(
        species()[board.species], thickness, width, length, board.origin, str(kind), in_stack=bool(board.way[-1].stack)
    )
    rng = np.random.default_rng(_seed(board.matched_to or board.code, "truth"))
    unknowns = drying.prior(piece).centre + TRUE_SPREAD * rng.normal(0.0, 1.0, len(TRUE_SPREAD))
    if board.start_mc_pct is not None:
        unknowns[1] = np.log(board.start_mc_pct / 100.0)
    return piece, unknowns[None, :]
