"""Figures that stay where the air does not. Pure: series in, flags out.

The rules are told in ``sensors.second_look``, their figures stand in ``shared/tables/probe_limits.csv``.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sensors.quality import Stillness
from shared.units import MS_PER_HOUR, Array

STUCK_READINGS = 12
STUCK_GAP_MS = 6 * MS_PER_HOUR
STILL_MS = 24 * MS_PER_HOUR
COARSE = 2
BLOCK_MS = COARSE * STILL_MS  # so that a run just long enough lies in every one of its readings' three blocks


def block(at_ms: int) -> int:
    """Return the number of the block, counted from 1970, that a moment [UTC ms] lies in."""
    return int(at_ms // BLOCK_MS)


def bounds(first: int, last: int) -> tuple[int, int]:
    """Return the start of block ``first`` and the end (not included) of block ``last`` [UTC ms]."""
    return first * BLOCK_MS, (last + 1) * BLOCK_MS


def same_hour(at_ms: int, other_ms: int) -> bool:
    """Tell whether two moments [UTC ms] lie in one hour: within it a run that goes on is not judged anew."""
    return at_ms // MS_PER_HOUR == other_ms // MS_PER_HOUR


@dataclass(frozen=True)
class Line:
    """Readings of one series that are neither bad on arrival nor spikes; ``at_ms`` [n] rises."""

    at_ms: NDArray[np.int64]
    values: Array

    def part(self, first_ms: int, last_ms: int) -> Line:
        """Return the readings of first ≤ time < last [UTC ms]."""
        a, b = np.searchsorted(self.at_ms, (first_ms, last_ms))
        return Line(self.at_ms[a:b], self.values[a:b])

    def runs(self) -> list[tuple[int, int]]:
        """Return the index of the first and last reading of each run of one figure."""
        if len(self.at_ms) == 0:
            return []
        cut = np.flatnonzero((np.diff(self.values) != 0) | (np.diff(self.at_ms) > STUCK_GAP_MS)) + 1
        return list(zip([0, *cut.tolist()], [*(cut - 1).tolist(), len(self.at_ms) - 1], strict=True))

    def longest_run_ms(self) -> int:
        """Return the length of the longest run."""
        return max((int(self.at_ms[last] - self.at_ms[first]) for first, last in self.runs()), default=0)


def stuck(own: Line, sibling: Line, rule: Stillness) -> NDArray[np.bool_]:
    """Return for each reading of ``own`` [n] whether it is stuck, given the readings of its sibling [m].

    It hangs on nothing outside the reading's own block and the two beside it.
    """
    found = np.zeros(len(own.at_ms), dtype=bool)
    for first, last in own.runs():
        if own.at_ms[last] - own.at_ms[first] <= min(rule.after_ms, STILL_MS) or own.values[first] >= rule.below:
            continue
        for one in range(block(own.at_ms[first]), block(own.at_ms[last]) + 1):
            if _is_stuck(own, sibling, rule, first, last, one):
                start, end = np.searchsorted(own.at_ms, bounds(one, one))
                found[max(first, start) : min(last + 1, end)] = True
    return found


def _is_stuck(own: Line, sibling: Line, rule: Stillness, first: int, last: int, one: int) -> bool:
    """Tell whether the run from index ``first`` to ``last`` is stuck where it lies in block ``one``."""
    start, end = np.searchsorted(own.at_ms, bounds(one - 1, one + 1))
    a, b = max(first, start), min(last, end - 1)
    factor = COARSE if _shows_whole_numbers(own, max(first - 1, start), a, b, min(last + 1, end - 1)) else 1
    since_ms, until_ms = int(own.at_ms[a]), int(own.at_ms[b]) // MS_PER_HOUR * MS_PER_HOUR
    if np.searchsorted(own.at_ms, until_ms) - a < STUCK_READINGS:
        return False
    beside = sibling.part(since_ms, until_ms)
    if len(beside.at_ms) == 0:
        return False
    if until_ms - since_ms > factor * rule.after_ms and np.ptp(beside.values) > factor * rule.sibling_moved:
        return True
    return until_ms - since_ms > factor * STILL_MS and beside.longest_run_ms() > factor * STILL_MS


def _shows_whole_numbers(own: Line, before: int, a: int, b: int, after: int) -> bool:
    """Tell whether the figure from index ``a`` to ``b`` is whole, and those before and after it, if they are near."""
    near = [i for i in (before, a, after) if own.at_ms[a] - STUCK_GAP_MS <= own.at_ms[i] <= own.at_ms[b] + STUCK_GAP_MS]
    return bool(np.all(own.values[near] == np.round(own.values[near])))
