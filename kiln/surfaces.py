"""The faces of a board four times a day: their humidity and the profile beneath them, for what harms it there.

An ensemble keeps its profiles once a day. Here the first block of its members is marched once more in steps of three
hours, from where the ensemble has them at most a year ago, then from where it has them now through half a year of
its own time ahead.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from kiln import air as airs
from kiln import cutting, diffusion, drying, sorption
from kiln.air_ahead import AHEAD_STEP_HOURS
from kiln.ensemble import SEED, Ensemble, State
from kiln.lanes import LANES
from kiln.lying import Spell
from shared.units import MS_PER_HOUR, MS_PER_S, S_PER_HOUR, Array

PAST_HOURS = 365 * 24
AHEAD_DAYS = 180  # farther off, no day of stretched faces or of mould can be told
STEPS_A_RECORD = 2  # of AHEAD_STEP_HOURS: four records a day
HOURS_A_DAY = 24


@dataclass(frozen=True)
class Surfaces:
    """Faces of some members through past and time ahead; each moment stands for the time that it ends."""

    at_ms: NDArray[np.int64]
    hours: Array  # how long each of these times is [moments; h]
    temperature_c: Array  # of the air [members, moments]; a wet board is cooler
    rh_pct: Array  # at the faces themselves [members, faces, moments]
    profiles: Array  # at each moment, as the model has it [members, moments, nodes; kg/kg]
    now: int  # which moment is the last hour of logged air

    def then(self, later: Surfaces) -> Surfaces:
        """Return these with what came after them."""
        both = [(getattr(self, one), getattr(later, one)) for one in ("at_ms", "hours")]
        at_ms, hours = (np.concatenate(pair) for pair in both)
        t, rh, profiles = (
            np.concatenate([getattr(self, one), getattr(later, one)], axis=axis)
            for one, axis in (("temperature_c", 1), ("rh_pct", 2), ("profiles", 1))
        )
        return Surfaces(at_ms, hours, t, rh, profiles, self.now)


def surfaces(crowd: Ensemble) -> Surfaces:
    """Return the faces of the first members of an ensemble (a block of the solver's lanes), and of no more.

    Raises ValueError, in words, when none of these members could be solved.
    """
    past = _past(crowd)
    found = replace(_joined([past, *_ahead(crowd)]), now=len(past.at_ms) - 1)
    solved = np.flatnonzero(np.isfinite(found.profiles).all(axis=(1, 2)))
    if len(solved) == 0:
        raise ValueError("the drying model found no answer for the faces of this board in this air")
    # A member without an answer lends its place to the next.
    stands_in = solved[np.searchsorted(solved, np.arange(len(found.profiles))) % len(solved)]
    return replace(found, **{name: getattr(found, name)[stands_in] for name in ("temperature_c", "rh_pct", "profiles")})


def _joined(parts: list[Surfaces]) -> Surfaces:
    whole = parts[0]
    for part in parts[1:]:
        whole = whole.then(part)
    return whole


def members_of(crowd: Ensemble) -> int:
    """How many members are followed here."""
    return min(LANES, len(crowd.boards))


def saturation(crowd: Ensemble) -> Array:
    """Fibre saturation of each member that is followed here [members; kg/kg]: where its isotherm ends at 20 °C."""
    held = float(sorption.emc_pct(20.0, 100.0)) / 100.0
    return np.asarray(crowd.isotherm_scale[: members_of(crowd)] * held)


def _past(crowd: Ensemble) -> Surfaces:
    question = crowd.question
    way, count = question.way, members_of(crowd)
    hours = len(way.at_ms)
    since = int(np.searchsorted(crowd.at_ms, way.end_ms - PAST_HOURS * MS_PER_HOUR))
    begin = int((crowd.at_ms[since] - way.at_ms[0]) // MS_PER_HOUR)
    boards, state = crowd.boards[:count], _state(crowd, since)
    t = airs.members_c(way, len(crowd.boards), SEED)[:count]
    rh = drying.true_rh_pct(boards, way.rh_pct[None], way.spread_rh_pct)
    sun = question.sun_w_m2(int(way.at_ms[0]), hours)
    found: list[Surfaces] = []
    stretches = _stretches(question.piece.spells, begin, hours)
    befores = [stretches[0][0], *(spell for spell, _, _ in stretches)]
    for before, (spell, first, end) in zip(befores, stretches, strict=False):
        if first > begin:
            state = _changed(question.piece, boards, state, before, spell)
        edges = _edges(first, end)
        steps = diffusion.AirSteps(
            _averaged(t, edges),
            _averaged(rh, edges),
            np.diff(edges) * float(S_PER_HOUR),
            None if sun is None else np.tile(_averaged(sun[None], edges), (count, 1)),
        )
        made, state = _followed(crowd, boards, state, spell, steps, int(way.at_ms[0]) + first * MS_PER_HOUR)
        found.append(made)
    return _joined(found)


def _ahead(crowd: Ensemble) -> list[Surfaces]:
    """The time ahead, leg by leg, in the air that the ensemble drew."""
    question, count = crowd.question, members_of(crowd)
    per_day = HOURS_A_DAY // AHEAD_STEP_HOURS
    days = min(crowd.air.rh_pct.shape[1] // per_day, AHEAD_DAYS)
    legs = tuple(leg for leg in (question.here, *question.plan) if leg.first_day < days)
    ends = [*(leg.first_day for leg in legs[1:]), days]
    state, found = _state(crowd, crowd.now), []
    for leg, end in zip(legs, ends, strict=True):
        if end <= leg.first_day:
            continue
        part = slice(leg.first_day * per_day, end * per_day)
        begin_ms = question.way.end_ms + leg.first_day * HOURS_A_DAY * MS_PER_HOUR
        sun = question.sun_w_m2(begin_ms, (end - leg.first_day) * HOURS_A_DAY) if leg.spell.lying.in_sun else None
        edges = np.arange(0, (end - leg.first_day) * HOURS_A_DAY + 1, AHEAD_STEP_HOURS)
        steps = diffusion.AirSteps(
            crowd.air.temperature_c[:count, part],
            crowd.air.rh_pct[:count, part],
            np.full(part.stop - part.start, float(AHEAD_STEP_HOURS * S_PER_HOUR)),
            None if sun is None else np.tile(_averaged(sun[None], edges), (count, 1)),
        )
        boards = crowd.boards[:count]
        state = drying.changed(state[0], question.piece, boards, leg.spell), state[1]
        made, state = _followed(crowd, boards, state, leg.spell, steps, begin_ms)
        found.append(made)
    return found


def _changed(piece: drying.Piece, boards: Array, state: State, before: Spell, spell: Spell) -> State:
    """What a cut or water given leaves of a board as one spell follows another, as ``drying.follow`` has it."""
    sawn = piece.face_m(before), piece.face_m(spell)
    short = cutting.shortfall_left(state[1], state[0], *sawn, two_faces=piece.two_faces)
    return drying.changed(state[0], piece, boards, spell), short


def _state(crowd: Ensemble, moment: int) -> State:
    count = members_of(crowd)
    return crowd.course.profiles[:count, moment], crowd.course.short[:count, moment]


def _stretches(spells: tuple[Spell, ...], begin: int, hours: int) -> list[tuple[Spell, int, int]]:
    """Spells from an hour of the way on, each with its first hour and its last; a spell without an hour is left out."""
    ends = [*(min(spell.first_hour, hours) for spell in spells[1:]), hours]
    firsts = [0, *(spell.first_hour for spell in spells[1:])]
    parts = zip(spells, firsts, ends, strict=True)
    return [(spell, max(first, begin), end) for spell, first, end in parts if end > max(first, begin)]


def _edges(first: int, end: int) -> NDArray[np.int64]:
    """Hours between which steps lie, counted back from the end: the first may be shorter."""
    return np.unique(np.concatenate([[first], np.arange(end, first, -AHEAD_STEP_HOURS)])).astype(np.int64)


def _averaged(hourly: Array, edges: NDArray[np.int64]) -> Array:
    """Averages over steps [rows, steps] of hourly values [rows, hours]."""
    return np.asarray(np.add.reduceat(hourly[:, : edges[-1]], edges[:-1], axis=1) / np.diff(edges))


def _followed(
    crowd: Ensemble, boards: Array, state: State, spell: Spell, steps: diffusion.AirSteps, begin_ms: int
) -> tuple[Surfaces, State]:
    """March through one stretch; a record after every second step, counted back from its end."""
    piece = crowd.question.piece
    record = np.arange(len(steps.dt_s), 0, -STEPS_A_RECORD, dtype=np.int64)[::-1]
    rows = np.arange(len(boards), dtype=np.int64)
    who = drying.members(piece, boards, rows, spell)
    found = diffusion.march_whole(state[0], who, steps, record, short=state[1], two_faces=piece.two_faces)
    starts = np.concatenate([[0], record[:-1]])
    seconds = np.add.reduceat(steps.dt_s, starts)
    made = Surfaces(
        begin_ms + (np.cumsum(seconds) * MS_PER_S).astype(np.int64),
        seconds / S_PER_HOUR,
        np.asarray(np.add.reduceat(steps.temperature_c * steps.dt_s, starts, axis=1) / seconds),
        _face_rh_pct(crowd, found.profiles, state[0], steps, record),
        found.profiles,
        0,
    )
    return made, (found.profiles[:, -1], found.short[:, -1])


def _face_rh_pct(
    crowd: Ensemble, profiles: Array, before: Array, steps: diffusion.AirSteps, record: NDArray[np.int64]
) -> Array:
    """Humidity at the faces over each time between records [members, faces, records]: of its two ends the average.

    A face that dries has the humidity that its water makes on the drying branch of the isotherm, one that gains that
    of the lower branch, one at rest its air's.
    """
    faces = [0, -1] if crowd.question.piece.two_faces else [-1]
    wet = np.concatenate([before[:, None, :], profiles], axis=1)[:, :, faces].transpose(0, 2, 1)
    at = np.concatenate([[1], record]) - 1
    t = np.clip(steps.temperature_c[:, None, at], sorption.LOWEST_C, sorption.HIGHEST_C)
    saturation_pct = crowd.isotherm_scale[: len(profiles), None, None] * sorption.CONVENTIONAL_FSP_PCT
    drier = sorption.rh_pct_from_emc(t, 100.0 * wet, saturation_pct)
    gaining = sorption.rh_pct_from_emc(t, 100.0 * wet / sorption.adsorption_ratio(), saturation_pct)
    held = np.clip(steps.rh_pct[:, None, at], drier, gaining)
    return np.asarray((held[..., 1:] + held[..., :-1]) / 2.0)
