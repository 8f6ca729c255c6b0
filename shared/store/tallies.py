"""Counts over a series' readings: how many of each flag, and the times of the newest."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from sqlalchemy import Connection

from shared.store import asked
from shared.store.records import Quality
from shared.units import MS_PER_HOUR


def flags_since(connection: Connection, series_id: int, since_ms: int) -> dict[Quality, int]:
    """Return how many readings of a series carry each flag but GOOD, from a moment on.

    The summaries tell which hours hold any, so that a week of good readings is not gone through for nothing.
    """
    hours = {"series": series_id, "first": since_ms - since_ms % MS_PER_HOUR, "since": since_ms}
    rows = connection.execute(asked.flags(), hours)
    return {Quality(quality): int(count) for quality, count in rows}


def newest_times_ms(connection: Connection, series_id: int, count: int) -> NDArray[np.int64]:
    """Return the times of a series' newest readings of any flag, at most ``count``, in order."""
    rows = connection.execute(asked.newest_times(), {"series": series_id, "most": count})
    return np.array([row.at_ms for row in rows][::-1], dtype=np.int64)
