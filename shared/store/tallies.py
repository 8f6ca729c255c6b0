"""Counts over a series' readings: how many of each flag, and the times of the newest."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from sqlalchemy import Connection, func, select

from shared.store import schema as s
from shared.store.records import Quality


def flags_since(connection: Connection, series_id: int, since_ms: int) -> dict[Quality, int]:
    """Return how many readings of a series carry each flag, good ones too, from a moment on."""
    inside = (s.reading.c.series_id == series_id) & (s.reading.c.at_ms >= since_ms)
    rows = connection.execute(select(s.reading.c.quality, func.count()).where(inside).group_by(s.reading.c.quality))
    return {Quality(quality): int(count) for quality, count in rows}


def newest_times_ms(connection: Connection, series_id: int, count: int) -> NDArray[np.int64]:
    """Return the times of a series' newest readings of any flag, at most ``count``, in order."""
    query = select(s.reading.c.at_ms).where(s.reading.c.series_id == series_id)
    rows = connection.execute(query.order_by(s.reading.c.at_ms.desc()).limit(count))
    return np.array([row.at_ms for row in rows][::-1], dtype=np.int64)
