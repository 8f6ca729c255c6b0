"""The air to come in a place, drawn from its own record.

Five-day pieces of the same season in another year, where there is one on record. Of a season that was
never recorded nothing is known but what the nearest were like: it is drawn from those, each member with a
swing of the year of its own, and that is said. A record of less than five days is repeated, wider still.
Where somebody has said what a place's months are usually like, a season not seen is drawn as one that was, shifted by
as much as the usual months lie apart.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from kiln.air import AirHours
from shared.units import MS_PER_DAY, MS_PER_HOUR, Array

AHEAD_STEP_HOURS = 3  # longer steps would lose the daily swing, and with it days of drying
PIECE_DAYS = 5
PIECE_HOURS = PIECE_DAYS * 24
SEASON_DAYS = 15
KNOWN_SHARE = 0.8  # of a five-day piece that must have been logged for it to be drawn
# One standard deviation around what was recorded, °C and %RH; judgement. What keeps on for a year must be
# kept apart from what changes from one five days to the next: wood averages the second away.
OF_A_PIECE = (1.5, 4.0)
OF_A_YEAR = (1.0, 2.5)
OF_A_SEASON_NOT_SEEN = (9.0, 10.0)  # half a year away from what was recorded; less on the way there
OF_A_SHORT_RECORD = (5.0, 10.0)
OF_USUAL_MONTHS = (1.5, 4.0)  # how well usual months of the region tell what a place of one's own is like; judgement
HALF_YEAR_DAYS = 182
YEAR_DAYS = 365.25


@dataclass(frozen=True)
class AirAhead:
    """Drawn air [members, steps] of AHEAD_STEP_HOURS each, and what to say about where it came from."""

    temperature_c: Array
    rh_pct: Array
    note: str

    @classmethod
    def joined(cls, parts: list[AirAhead]) -> AirAhead:
        """Put the airs of one stretch of time after another together."""
        t, rh = (np.concatenate([getattr(one, name) for one in parts], axis=1) for name in ("temperature_c", "rh_pct"))
        return cls(t, rh, "; ".join(dict.fromkeys(one.note for one in parts if one.note)))

    def of(self, members: NDArray[np.intp]) -> AirAhead:
        """Return the same for some of the members."""
        return AirAhead(self.temperature_c[members], self.rh_pct[members], self.note)


@dataclass(frozen=True)
class Climate:
    """The usual months of a place or region: twelve means each, January first."""

    temperature_c: tuple[float, ...]
    rh_pct: tuple[float, ...]

    def at(self, day_of_year: NDArray[np.int64]) -> tuple[Array, Array]:
        """Temperature [°C] and humidity [%RH] usual on days of the year from 0 on: straight between mid-months."""
        middles = (np.arange(12) + 0.5) * (YEAR_DAYS / 12.0)
        t, rh = (np.interp(day_of_year, middles, one, period=YEAR_DAYS) for one in (self.temperature_c, self.rh_pct))
        return np.asarray(t), np.asarray(rh)


@dataclass(frozen=True)
class _Pieces:
    """What can be drawn: air [pieces, hours], and the day of the year on which each begins."""

    temperature_c: Array
    rh_pct: Array
    day_of_year: NDArray[np.int64]


def air_ahead(
    record: AirHours, now_ms: int, members: int, days: int, seed: int, climate: Climate | None = None
) -> AirAhead:
    """Draw the air of the coming ``days`` from a place's ``record``, alike for the same ``seed``.

    ``climate``: the usual months of that place, for seasons that the record has not seen; None: nobody said.

    Raises ValueError when nothing in the record was logged.
    """
    if not record.known.any():
        raise ValueError("no air was ever logged here")
    pieces = _pieces(record)
    short = pieces is None
    pieces = pieces or _repeated(record)
    # Of the year, and of the seasons not seen: kept all year.
    lasting = np.random.default_rng(seed).standard_normal((2, 2, members, 1))
    blocks, guessed = [], False
    # In blocks that begin at fixed days, each with draws of its own: an hour later the air to come is the same.
    first, last = (moment_ms // (PIECE_DAYS * MS_PER_DAY) for moment_ms in (now_ms, now_ms + days * MS_PER_DAY))
    for block in range(first, last + 1):
        rng = np.random.default_rng([seed, block])
        here = _day_of_year(np.array([block * PIECE_DAYS * MS_PER_DAY]))[0]
        away = np.abs((pieces.day_of_year - here + HALF_YEAR_DAYS) % 365 - HALF_YEAR_DAYS)
        fitting = np.flatnonzero(away <= SEASON_DAYS)
        unseen = 0.0 if len(fitting) else float(np.sin(np.pi / 2 * away.min() / HALF_YEAR_DAYS))
        if len(fitting) == 0:
            guessed, fitting = True, np.flatnonzero(away <= away.min() + SEASON_DAYS)
        chosen = rng.choice(fitting, members)
        noise = rng.standard_normal((2, members, 1))
        shift, left_open = _shift(climate, here, pieces.day_of_year[chosen], unseen)
        offset = [
            OF_A_PIECE[i] * noise[i]
            + (OF_A_SHORT_RECORD if short and climate is None else OF_A_YEAR)[i] * lasting[0, i]
            + left_open[i] * lasting[1, i]
            + shift[i]
            for i in (0, 1)
        ]
        blocks.append((pieces.temperature_c[chosen] + offset[0], pieces.rh_pct[chosen] + offset[1]))
    passed = (now_ms - first * PIECE_DAYS * MS_PER_DAY) // MS_PER_HOUR
    t, rh = (np.concatenate([block[i] for block in blocks], axis=1)[:, passed:] for i in (0, 1))
    note = _note(record, short, guessed, climate is not None)
    return AirAhead(_in_steps(t, days), _in_steps(np.clip(rh, 2.0, 100.0), days), note)


def _shift(
    climate: Climate | None, here: np.int64, drawn_from: NDArray[np.int64], unseen: float
) -> tuple[tuple[Array, Array], tuple[float, float]]:
    """By how much to shift pieces drawn from other days of the year [°C, %RH; members, 1], and what stays open."""
    if unseen == 0.0 or climate is None:
        none = np.zeros((len(drawn_from), 1))
        return (none, none), (unseen * OF_A_SEASON_NOT_SEEN[0], unseen * OF_A_SEASON_NOT_SEEN[1])
    now, then = climate.at(np.array([here])), climate.at(drawn_from)
    return ((now[0] - then[0])[:, None], (now[1] - then[1])[:, None]), OF_USUAL_MONTHS


def _note(record: AirHours, short: bool, guessed: bool, usual: bool) -> str:
    hours = int(record.known.sum())
    if usual and (short or guessed):
        return "this place's own air of all seasons is not on record yet: its usual months, as entered, stand in"
    if short:
        return f"only {hours} hours of this place's air are on record: the time ahead is a wide guess around them"
    if guessed:
        months = len(record.at_ms) / 24 / 30.4
        return f"only {months:.1f} months of this place's air are on record: the seasons not seen yet are guessed"
    return ""


def _in_steps(hourly: Array, days: int) -> Array:
    steps = days * 24 // AHEAD_STEP_HOURS
    kept = hourly[:, : steps * AHEAD_STEP_HOURS].reshape(len(hourly), steps, AHEAD_STEP_HOURS)
    return np.asarray(kept.mean(axis=2))


def _pieces(record: AirHours) -> _Pieces | None:
    """The five-day pieces of the record that were mostly logged; None where there is none."""
    if len(record.at_ms) < PIECE_HOURS:
        return None
    share = np.convolve(record.known.astype(float), np.ones(PIECE_HOURS) / PIECE_HOURS, mode="valid")
    # From midnight to midnight, as the blocks are that they stand in: days keep their place under the sun.
    midnights = record.at_ms[: len(share)] % MS_PER_DAY == 0
    starts = np.flatnonzero((share >= KNOWN_SHARE) & midnights)
    if len(starts) == 0:
        return None
    index = starts[:, None] + np.arange(PIECE_HOURS)
    return _Pieces(record.temperature_c[index], record.rh_pct[index], _day_of_year(record.at_ms[starts]))


def _repeated(record: AirHours) -> _Pieces:
    """One piece, of the hours that were logged, over and over, each at its hour of the day where that was logged."""
    known = np.flatnonzero(record.known)
    hours = record.at_ms[known] // MS_PER_HOUR % 24
    alike = [known[hours == hour] if np.any(hours == hour) else known for hour in range(24)]
    index = np.array([alike[hour % 24][(hour // 24) % len(alike[hour % 24])] for hour in range(PIECE_HOURS)])[None]
    return _Pieces(record.temperature_c[index], record.rh_pct[index], _day_of_year(record.at_ms[-1:]))


def _day_of_year(at_ms: NDArray[np.int64]) -> NDArray[np.int64]:
    moments = at_ms.astype("datetime64[ms]")
    return np.asarray((moments.astype("datetime64[D]") - moments.astype("datetime64[Y]")).astype(np.int64))
