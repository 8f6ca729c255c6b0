"""Months that are over, kept once they have been worked out: a place's page asks for twelve of them at each view.

A month is worked out from hourly summaries, some thousand rows. What is kept is found again by everything those rest
on: where its probes hung, their checks, and their daily summaries of that month. A reading that comes late, a flag
that changes, a probe that is moved or checked afterwards: each changes one of these, and the month is worked out anew.
"""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Callable, Hashable
from threading import Lock
from typing import Generic, TypeVar

import numpy as np

from dashboards import airs, calibrations
from shared.store import Connection, readings
from shared.store.records import AIR
from shared.units import MS_PER_DAY

MOST_KEPT = 500  # ten years of four places

T = TypeVar("T")


class Kept(Generic[T]):
    """The values asked for last, each under a key that names everything it was made of."""

    def __init__(self, most: int = MOST_KEPT) -> None:
        """Keep no more than ``most``: the one that was not asked for the longest goes first."""
        self._most, self._held, self._lock = most, OrderedDict[Hashable, T](), Lock()

    def of(self, key: Hashable, make: Callable[[], T]) -> T:
        """Return what is kept under a key, made if it is not there."""
        with self._lock:
            if key in self._held:
                self._held.move_to_end(key)
                return self._held[key]
        made = make()
        with self._lock:
            self._held[key] = made
            while len(self._held) > self._most:
                self._held.popitem(last=False)
        return made

    def __len__(self) -> int:
        """How many are kept."""
        return len(self._held)


class Basis:
    """What the air of a place rests on over a span, read once for all its months."""

    def __init__(self, connection: Connection, where: airs.Positions, place_id: int, span: tuple[int, int]) -> None:
        """Read the stays of the probes, their checks and their daily summaries over ``span``: start and end."""
        start_ms, end_ms = span
        stays = [one for one in where.probes_of(place_id) if one[1] < end_ms and one[2] > start_ms]
        self._stays = stays
        probes = sorted({one[0] for one in stays})
        self._checks = {one: calibrations.checks_of(connection, one) for one in probes}
        self._days = [
            (one.id, one.probe_id, readings.buckets(connection, one.id, MS_PER_DAY, start_ms - MS_PER_DAY, end_ms))
            for one in readings.all_series(connection)
            if one.probe_id in self._checks and one.quantity in AIR
        ]

    def key(self, start_ms: int, end_ms: int) -> Hashable:
        """Return what the air of start ≤ t < end rests on."""
        stays = tuple(sorted(one for one in self._stays if one[1] < end_ms and one[2] > start_ms))
        here = {one[0] for one in stays}
        checks = tuple((one, self._checks[one]) for one in sorted(here))
        days = tuple(
            (series, _within(held, start_ms - MS_PER_DAY, end_ms))
            for series, probe, held in self._days
            if probe in here
        )
        return stays, checks, days


def _within(held: readings.Buckets, start_ms: int, end_ms: int) -> bytes:
    first, last = np.searchsorted(held.bucket_ms, [start_ms, end_ms])
    columns = (held.bucket_ms, held.n, held.low, held.high, held.mean, held.bad)
    return b"".join(one[first:last].tobytes() for one in columns)
