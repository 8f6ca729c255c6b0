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
REACH = SIDE + 1  # a reading's flag hangs on no more readings than this on either side


def jumps(at_ms: Sequence[int], values: Sequence[float], rule: Jumps) -> list[Quality]:
    """Return GOOD, SPIKE or TOO_FAST for each reading of a series; ``at_ms`` [n] rises, ``values`` [n] beside it.

    The flag of a reading hangs on at most REACH readings, and twice ``rule.within_ms``, to either side.
    """
    n = len(values)
    flags = [Quality.GOOD] * n
    if n == 0 or max(values) - min(values) <= min(rule.far, rule.per_minute):
        return flags
    for i in range(1, n - 1):
        if _comes_and_goes(at_ms, values, i, rule):
            flags[i] = Quality.TOO_FAST
    for size in (1, 2):
        for i in range(n - size + 1):
            if _is_spike(at_ms, values, i, i + size - 1, rule):
                flags[i : i + size] = [Quality.SPIKE] * size
    return flags


def _comes_and_goes(at_ms: Sequence[int], values: Sequence[float], i: int, rule: Jumps) -> bool:
    came, went = values[i] - values[i - 1], values[i] - values[i + 1]
    if came * went <= 0:
        return False
    return all(
        step_ms <= rule.within_ms and abs(move) > rule.per_minute * max(step_ms / MS_PER_MINUTE, 1.0)
        for move, step_ms in ((came, at_ms[i] - at_ms[i - 1]), (went, at_ms[i + 1] - at_ms[i]))
    )


def _is_spike(at_ms: Sequence[int], values: Sequence[float], first: int, last: int, rule: Jumps) -> bool:
    if at_ms[last] - at_ms[first] > rule.within_ms:
        return False
    before = [values[j] for j in range(max(first - SIDE, 0), first) if at_ms[first] - at_ms[j] <= rule.within_ms]
    past = range(last + 1, min(last + 1 + SIDE, len(values)))
    behind = [values[j] for j in past if at_ms[j] - at_ms[last] <= rule.within_ms]
    if min(len(before), len(behind)) < SIDE_AT_LEAST:
        return False
    middle = median(before + behind)
    strangers = sum(abs(value - middle) > rule.agree for value in before + behind)
    if strangers > (1 if first == last else 0):
        return False
    return all(abs(values[j] - middle) > rule.far for j in range(first, last + 1))
