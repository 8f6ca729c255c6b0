"""How a danger is told: where it stands, which way it goes, and the curve behind it.

There is "over the limit" and "not known", and nothing that clears a board of danger.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

import numpy as np
from numpy.typing import NDArray

from kiln.spans import days_words
from shared.units import MS_PER_DAY, Array

MOISTURE, LEVEL, STEADY, ROOM = "moisture", "through the thickness", "steady", "air where it lies"  # conditions
DATE = "date"  # no condition: when all of them are met
CHECKING, MOULD = "surface checks", "mould"  # dangers that others ask for by name
TREND_DAYS = 14
MOVED = 0.1  # of an index over that time, beyond which it rises or falls; judgement


class Standing(StrEnum):
    """How a condition is met, or where a danger stands against its limit."""

    MET = "met"
    NOT_YET = "not yet"
    NOT_SURE = "not sure"  # neither the one nor the other can be said surely enough
    UNDER = "under the limit"
    NEAR = "near the limit"
    OVER = "over the limit"
    NOT_KNOWN = "not known"


@dataclass(frozen=True)
class Danger:
    """One thing that may harm a board: each field but the last a plain text."""

    name: str
    standing: Standing
    figure: str  # with its band and unit
    reason: str
    trend: str  # rising or falling, and when it passes a limit; "" where it has none
    next_step: str
    status: str  # of the value that its limit rests on
    probability: float | None = None  # that it is over the limit named in the reason, 0 to 1; None: no matter of chance


@dataclass(frozen=True)
class Curve:
    """An index through past and time ahead, for a chart: one moment a day."""

    at_ms: NDArray[np.int64]
    p10: Array
    p50: Array
    p90: Array

    @classmethod
    def of(cls, at_ms: NDArray[np.int64], members: Array) -> Curve:
        """Return the band of an index [members, moments]."""
        return cls(at_ms, *np.quantile(members, [0.1, 0.5, 0.9], axis=0, method="weibull"))

    def index_at(self, moment_ms: int) -> int:
        """Return the number of the last moment not after ``moment_ms``, or of the first."""
        return max(0, int(np.searchsorted(self.at_ms, moment_ms, side="right")) - 1)


@dataclass(frozen=True)
class Dangers:
    """All that may harm one board, and the two curves that pull against each other."""

    dangers: tuple[Danger, ...]
    checking: Curve  # stretch of the surface over its limit; empty where the wood's shrinkage is not known
    mould: Curve  # index of the face that fares worse, 0 to 6
    stops: tuple[str, ...]  # names of those that are harm now
    balance: str  # how checks and mould pull against each other on this wood
    notes: tuple[str, ...]  # what this rests on, and where it ends


NO_CURVE = Curve(np.zeros(0, dtype=np.int64), np.zeros(0), np.zeros(0), np.zeros(0))


def figure(curve: Curve, now_ms: int) -> str:
    """An index now, with its band."""
    i = curve.index_at(now_ms)
    low, middle, high = (
        round(float(band[i]), 1) + 0.0 for band in (curve.p10, curve.p50, curve.p90)
    )  # no minus nought
    return f"{middle:.1f} ({low:.1f}–{high:.1f})"


def trend(curve: Curve, now_ms: int, limits: tuple[float, ...], planned: bool) -> str:
    """Which way an index goes over the next two weeks, and when it passes the next of ``limits`` (rising).

    ``planned``: whether the board is to move within these weeks.
    """
    i, later = curve.index_at(now_ms), curve.index_at(now_ms + TREND_DAYS * MS_PER_DAY)
    now, then = float(curve.p50[i]), float(curve.p50[later])
    way = "Rising" if then > now + MOVED else "Falling" if then < now - MOVED else "Steady"
    days = round((int(curve.at_ms[later]) - now_ms) / MS_PER_DAY)
    where = "moved as planned" if planned else "if it stays here"
    said = f"{way}: {then:.1f} in {days_words(days)} {where}."
    above = [limit for limit in limits if limit > now]
    passes = _passes(curve, i, now_ms, above[0]) if above else ""
    if passes:
        return f"{said} {passes}"
    below = [limit for limit in limits if limit <= now]
    return f"{said} {_falls_below(curve, i, now_ms, below[-1])}".strip() if below else said


def _passes(curve: Curve, i: int, now_ms: int, limit: float) -> str:
    """When an index passes a limit, with its band; "" where the middle does not."""
    first, middle, last = (
        _first(band[i:] >= limit, curve.at_ms[i:], now_ms) for band in (curve.p90, curve.p50, curve.p10)
    )
    if middle is None:
        return ""
    return f"It passes {limit:g} in about {days_words(middle)} ({first}–{'later' if last is None else last})."


def _falls_below(curve: Curve, i: int, now_ms: int, limit: float) -> str:
    days = _first(curve.p50[i:] < limit, curve.at_ms[i:], now_ms)
    return "" if days is None else f"It is under {limit:g} again in about {days_words(days)}."


def _first(true: NDArray[np.bool_], at_ms: NDArray[np.int64], now_ms: int) -> int | None:
    if not true.any():
        return None
    return max(0, round((int(at_ms[np.argmax(true)]) - now_ms) / MS_PER_DAY))
