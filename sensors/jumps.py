"""Readings that go away and come straight back: spikes, and what is too fast. Pure: series in, flags out.

The rules are told in ``sensors.second_look``, their figures stand in ``shared/tables/probe_limits.csv``.
"""

from __future__ import annotations

from collections.abc import Sequence
from statistics import median

from sensors.quality import Jumps
from shared.store.records import Quality
from shared.units import MS_PER_MINUTE

SIDE = 3  # neighbours on either side of a spike
SIDE_AT_LEAST = 2
STRANGERS = 1  # neighbours that need not agree


def jumps(at_ms: Sequence[int], values: Sequence[float], rule: Jumps) -> list[Quality]:
    """Return GOOD, SPIKE or TOO_FAST for each reading of a series; ``at_ms`` [n] rises, ``values`` [n] beside it.

    A reading's flag hangs on at most SIDE readings, within ``rule.within_ms``, on either side of it.
    """
    flags = [Quality.GOOD] * len(values)
    if not values or max(values) - min(values) <= min(rule.far, rule.per_minute):
        return flags
    for i in range(1, len(values) - 1):
        if _is_spike(at_ms, values, i, rule):
            flags[i] = Quality.SPIKE
        elif _comes_and_goes(at_ms, values, i, rule):
            flags[i] = Quality.TOO_FAST
    return flags


def _comes_and_goes(at_ms: Sequence[int], values: Sequence[float], i: int, rule: Jumps) -> bool:
    came, went = values[i] - values[i - 1], values[i] - values[i + 1]
    if came * went <= 0:
        return False
    return all(
        step_ms <= rule.within_ms and abs(move) > rule.per_minute * max(step_ms / MS_PER_MINUTE, 1.0)
        for move, step_ms in ((came, at_ms[i] - at_ms[i - 1]), (went, at_ms[i + 1] - at_ms[i]))
    )


def _is_spike(at_ms: Sequence[int], values: Sequence[float], i: int, rule: Jumps) -> bool:
    before = [values[j] for j in range(max(i - SIDE, 0), i) if at_ms[i] - at_ms[j] <= rule.within_ms]
    past = range(i + 1, min(i + 1 + SIDE, len(values)))
    behind = [values[j] for j in past if at_ms[j] - at_ms[i] <= rule.within_ms]
    if min(len(before), len(behind)) < SIDE_AT_LEAST:
        return False
    middle = median(before + behind)
    strangers = sum(abs(value - middle) > rule.agree for value in before + behind)
    return strangers <= STRANGERS and abs(values[i] - middle) > rule.far
