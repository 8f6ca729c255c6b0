"""Verdicts gathered: reliability by stated chance, what READY was worth, how long it took, and bookings."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from verdict_scoring import CONDITIONS, Asked, AskedSet, Course, is_ready

from kiln.limits import SURE

EDGES = (0.0, 0.1, 0.3, 0.5, 0.7, 0.9, 1.0)  # each bin holds its lower end, the last its upper too
WITHIN = 0.05  # of the goal: how far stated and true may lie apart in a bin


@dataclass(frozen=True)
class Bin:
    """Boards and days of which about the same chance was stated. Shares from 0 to 1."""

    low: float
    high: float
    n: int
    groups: int  # lots: boards of one share their air and part of their wood
    stated: float
    true: float
    binomial: float  # one standard error of the true share, were each of the n by itself
    clustered: float  # the same, of the difference, each lot by itself

    @property
    def apart(self) -> float:
        """The true share less what was stated."""
        return self.true - self.stated


def reliability(chance: Sequence[float], true: Sequence[bool], group: Sequence[int]) -> list[Bin]:
    """Return the bins that hold any; ``chance`` 0 to 1, ``true`` and ``group`` of each.

    Binomial: sqrt(p (1 - p) / n). Clustered: the root of the groups' squared sums of differences, over n (Liang and
    Zeger 1986, from memory).
    """
    said, came, of = np.asarray(chance, float), np.asarray(true, float), np.asarray(group)
    place = np.clip(np.searchsorted(EDGES, said, side="right") - 1, 0, len(EDGES) - 2)
    found = []
    for k, (low, high) in enumerate(pairwise(EDGES)):
        here = place == k
        n = int(here.sum())
        if n == 0:
            continue
        p, stated = float(came[here].mean()), float(said[here].mean())
        off = came[here] - said[here] - (p - stated)
        names, which = np.unique(of[here], return_inverse=True)
        sums = np.bincount(which, weights=off)
        clustered = float(np.sqrt((sums**2).sum())) / n
        found.append(Bin(low, high, n, len(names), stated, p, float(np.sqrt(p * (1.0 - p) / n)), clustered))
    return found


def of_alone(some: Sequence[Asked]) -> list[Bin]:
    """Reliability of the stated chance that a board is fit now."""
    return reliability([one.chance for one in some], [one.fit for one in some], [one.lot for one in some])


def of_sets(some: Sequence[AskedSet]) -> list[Bin]:
    """Reliability of the stated joint chance of sets."""
    known = [(one.chance, one.together, one.lot) for one in some if one.chance is not None]
    chance, true, lot = zip(*known, strict=True) if known else ((), (), ())
    return reliability(chance, true, lot)


@dataclass(frozen=True)
class Condition:
    """One condition of all: what was stated, what came, and the mean square of what was off."""

    name: str
    n: int
    stated: float
    true: float
    brier: float
    brier_base: float  # of saying the true share for all


def conditions(some: Sequence[Asked]) -> list[Condition]:
    """Each condition by itself, where something was known of it."""
    found = []
    for k, name in enumerate(CONDITIONS):
        pairs = [(one.chances[k], one.true[k]) for one in some if one.chances[k] is not None]
        if not pairs:
            continue
        said, came = (np.array(column, float) for column in zip(*pairs, strict=True))
        p = float(came.mean())
        brier = float(np.mean((said - came) ** 2))
        found.append(Condition(name, len(pairs), float(said.mean()), p, brier, p * (1.0 - p)))
    return found


def of_condition(some: Sequence[Asked], name: str) -> list[Bin]:
    """Reliability of the stated chance of one condition, where something was known of it."""
    k = CONDITIONS.index(name)
    known = [(chance, one.true[k], one.lot) for one in some if (chance := one.chances[k]) is not None]
    chance, true, lot = zip(*known, strict=True) if known else ((), (), ())
    return reliability(chance, true, lot)


@dataclass(frozen=True)
class Stands:
    """How well it was told how far a board, or its companion, stands. %MC; shares from 0 to 1."""

    n: int
    lots: int
    off_pct: float  # middle member less truth, on average
    error_pct: float  # one standard error of that, each lot by itself
    sd_pct: float
    held: float  # share of the truth within the 80 % band
    below: float
    above: float


def stands(pairs: Sequence[tuple[tuple[float, float, float], float, int]]) -> Stands | None:
    """Return it of bands (p10, p50, p90), each with its truth and its lot; None of none."""
    if not pairs:
        return None
    low, middle, high = np.array([said for said, _, _ in pairs]).T
    true, lot = np.array([one for _, one, _ in pairs]), np.array([one for _, _, one in pairs])
    off = middle - true
    _, which = np.unique(lot, return_inverse=True)
    error = float(np.sqrt((np.bincount(which, weights=off - off.mean()) ** 2).sum())) / len(off)
    below, above = float(np.mean(true < low)), float(np.mean(true > high))
    return Stands(
        len(off), int(which.max()) + 1, float(off.mean()), error, float(off.std()), 1.0 - below - above, below, above
    )


@dataclass(frozen=True)
class Called:
    """What READY was worth. Shares from 0 to 1; %MC."""

    n: int
    boards: int
    right: float
    error: float  # one standard error, each lot by itself
    missed: dict[str, int]  # which conditions did not truly hold, how often
    worst_over_pct: float  # how much wetter than the use takes
    over_95_pct: float  # 95 in 100 were no more than this above it
    worst_apart_pct: float  # core less shell, either way
    worst_drift_pct: float


def called(some: Sequence[Asked], said: Callable[[Asked], bool]) -> Called | None:
    """What it was worth where ``said``; None where that never was."""
    ready = [one for one in some if said(one)]
    if not ready:
        return None
    right = np.array([one.fit for one in ready], float)
    _, which = np.unique([one.lot for one in ready], return_inverse=True)
    error = float(np.sqrt((np.bincount(which, weights=right - right.mean()) ** 2).sum())) / len(ready)
    over = np.maximum([one.over_pct for one in ready], 0.0)
    missed = Counter(name for one in ready for name, met in zip(CONDITIONS, one.true, strict=True) if not met)
    return Called(
        len(ready), len({one.board for one in ready}), float(right.mean()), error, dict(missed), float(over.max()),
        float(np.quantile(over, 0.95, method="higher")), float(max(abs(one.apart_pct) for one in ready)),
        float(max(abs(one.drift_pct) for one in ready)),
    )  # fmt: skip


def said_ready(one: Asked) -> bool:
    """Whether the verdict was READY (or, of a finish, that the wood is dry enough)."""
    return is_ready(one.word)


def said_sure(one: Asked) -> bool:
    """Whether the stated chance alone was as great as READY takes."""
    return one.chance >= SURE


@dataclass(frozen=True)
class Delay:
    """How long after it was truly fit a board was called so. Days; infinite where it was not while it was asked."""

    kind: str
    checked: bool
    boards: int  # truly fit early enough to be asked about once
    called: int
    early: int  # called before they were truly fit
    quartiles: tuple[float, float, float]
    sure_quartiles: tuple[float, float, float]  # until the stated chance alone was enough


def delays(some: Sequence[Course], last_day: dict[str, int]) -> list[Delay]:
    """Delays by kind, and by whether the hygrometer was checked; ``last_day``: the last on which a kind is asked."""
    found = []
    for kind in sorted({one.kind for one in some}):
        for checked in (True, False):
            own = [one for one in some if (one.kind, one.checked) == (kind, checked) and one.fit_day <= last_day[kind]]
            if not own:
                continue
            by_word, by_chance = (
                np.array([getattr(one, name) - one.fit_day for one in own]) for name in ("ready_day", "sure_day")
            )
            early = sum(one.ready_day < one.fit_day for one in own)
            is_called = int(np.isfinite(by_word).sum())
            found.append(Delay(kind, checked, len(own), is_called, early, _quartiles(by_word), _quartiles(by_chance)))
    return found


def _quartiles(values: np.ndarray) -> tuple[float, float, float]:
    first, middle, third = np.quantile(values, [0.25, 0.5, 0.75], method="inverted_cdf")
    return float(first), float(middle), float(third)


@dataclass(frozen=True)
class Booked:
    """How often STOP for a booking was right, and how often one that came too wet was warned of."""

    stops: int
    right: int
    wet: int
    warned: int


def bookings(some: Sequence[Asked]) -> Booked:
    """Bookings on each day, so many days ahead as is usual for the kind."""
    stops = [one for one in some if one.warned]
    wet = [one for one in some if one.wet_when_booked]
    return Booked(len(stops), sum(one.wet_when_booked for one in stops), len(wet), sum(one.warned for one in wet))


def held_up(some: Sequence[Asked]) -> list[tuple[str, int]]:
    """What kept READY from boards that were truly fit and of which the chance was enough: gates, how often."""
    waiting = [one for one in some if one.fit and said_sure(one) and not said_ready(one)]
    return Counter(name for one in waiting for name in one.unmet).most_common()
