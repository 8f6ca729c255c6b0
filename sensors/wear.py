"""How much the recorder writes to its disk in a day: an estimate, for those whose disk is an SD card."""

from __future__ import annotations

import math
from bisect import bisect_right

from sqlalchemy import Connection

from shared.store import readings
from shared.units import MS_PER_DAY, MS_PER_HOUR

SECONDS_PER_DAY = 86_400
# Rows in a commit -> bytes that the process wrote for each row (write_bytes in /proc/self/io), log, checkpoints and
# summaries included. Measured once, on 2026-11-25, on a virtual machine, with this store's tables and
# synchronous=FULL: 40 series, a reading of each every 10 s, written each 0.5, 1, 5, 30 and 60 s.
# A rough guide: file systems and cards write more than they are asked to.
BYTES_PER_ROW = ((2.0, 24_000.0), (4.0, 16_800.0), (20.0, 16_800.0), (120.0, 6_900.0), (240.0, 4_200.0))
EXAMPLE_ROWS_PER_DAY = 345_600


def rows_of_the_last_day(connection: Connection, now_ms: int) -> int:
    """Return how many readings, good and bad, the store has of the last 24 hours."""
    spans = (
        readings.buckets(connection, one.id, MS_PER_HOUR, now_ms - MS_PER_DAY, now_ms)
        for one in readings.all_series(connection)
    )
    return int(sum(one.n.sum() + one.bad.sum() for one in spans))


def bytes_a_day(rows_per_day: float, commit_every_s: float, commit_rows: int) -> float:
    """Return about how many bytes a day are written, by interpolation in what was measured.

    Commits of fewer rows than measured are taken as dear as the smallest measured, larger as cheap as the largest.
    """
    in_commit = min(max(rows_per_day * commit_every_s / SECONDS_PER_DAY, 1.0), float(commit_rows))
    return rows_per_day * _bytes_per_row(in_commit)


def _bytes_per_row(rows: float) -> float:
    sizes = [size for size, _ in BYTES_PER_ROW]
    above = bisect_right(sizes, rows)
    if above in (0, len(sizes)):
        return BYTES_PER_ROW[min(above, len(sizes) - 1)][1]
    (low, dear), (high, cheap) = BYTES_PER_ROW[above - 1], BYTES_PER_ROW[above]
    share = math.log(rows / low) / math.log(high / low)
    return dear + share * (cheap - dear)


def sentence(rows_per_day: int, commit_every_s: float, commit_rows: int) -> str:
    """Say how long a reading waits and what is written in a day; without readings yet, for an example."""
    known = rows_per_day > 0
    rows = rows_per_day if known else EXAMPLE_ROWS_PER_DAY
    megabytes = bytes_a_day(rows, commit_every_s, commit_rows) / 1e6
    whose = f"the {rows:,} readings of the last day" if known else "40 series with a reading each 10 s"
    return (
        f"a reading is written at most {commit_every_s:g} s after it came, or when {commit_rows} wait; "
        f"for {whose} about {megabytes:,.0f} MB a day are written (an estimate)"
    )
