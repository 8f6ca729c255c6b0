"""The line from a share of members to a stated chance: how it was fitted, and how it does on lots it was not fitted on.

``held.csv`` holds what it was fitted on: boards and days of synthetic lots, numbers 0 to 283 and 1000 to 1183 of
``verdict_boards``, as they came out on 2026-11-27 (commits 65cafc7, 11ec1e0, 4a135c1). Of each: the lot; in how many of
the 64 members every known condition was met; the least that level and steadiness alone leave of these (nought where no
member's moisture suited); whether the board was truly fit; and how often in that lot this came out alike. The data are
our own and invented, as all of the truth here is.
"""

from __future__ import annotations

import csv
from collections.abc import Sequence
from pathlib import Path
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray
from verdict_boards import BOARDS_A_LOT

from kiln.calibrated import LEAST_SHARE
from kiln.ensemble import MEMBERS

Numbers = NDArray[np.float64]
KEPT = Path(__file__).with_name("held.csv")
TOGETHER = 4  # lots that follow one another fall into one half, so that each half has as many plates


class Held(NamedTuple):
    """Boards and days, one in each place of the arrays."""

    lot: NDArray[np.int64]
    plate: NDArray[np.bool_]
    share: Numbers  # of members that meet all conditions
    most: Numbers  # what the stated chance is never above
    fit: Numbers  # in truth, 0 or 1

    def of(self, which: NDArray[np.bool_]) -> Held:
        """Some of them."""
        return Held(*(column[which] for column in self))


def kept() -> Held:
    """Return what the line was fitted on."""
    rows = csv.DictReader(KEPT.read_text(encoding="utf-8").splitlines())
    found = [
        [int(row[key]) for key in ("lot", "members", "most", "fit")] for row in rows for _ in range(int(row["times"]))
    ]
    lot, members, most, fit = np.array(found).T
    return Held(lot, lot % (1 + BOARDS_A_LOT) == 0, members / MEMBERS, most / MEMBERS, fit.astype(float))


def log_odds(share: Numbers) -> Numbers:
    """Log-odds of shares, those near an end taken as half a member from it."""
    near = np.clip(share, LEAST_SHARE, 1.0 - LEAST_SHARE)
    return np.asarray(np.log(near / (1.0 - near)))


def fitted(share: Numbers, came: Numbers) -> tuple[float, float]:
    """Return intercept and slope of the most likely line in log-odds, by Newton's method (Cox 1958, from memory)."""
    x = np.column_stack([np.ones_like(share), log_odds(share)])
    line = np.zeros(2)
    for _ in range(50):
        p = 1.0 / (1.0 + np.exp(-x @ line))
        line = line + np.linalg.solve((x.T * (p * (1.0 - p))) @ x, x.T @ (came - p))
    return float(line[0]), float(line[1])


def stated(some: Held, line: tuple[float, float]) -> Numbers:
    """Return the chance that a line states; never above what level, steadiness and moisture leave of it."""
    return np.minimum(1.0 / (1.0 + np.exp(-(line[0] + line[1] * log_odds(some.share)))), some.most)


def halves(lot: NDArray[np.int64]) -> NDArray[np.bool_]:
    """Which belong to the first of two halves, whole lots together."""
    return np.asarray((lot // TOGETHER) % 2 == 0)


def crosswise(some: Held) -> Numbers:
    """Return what is stated of each half by the line that was fitted on the other."""
    first = halves(some.lot)
    said = np.empty_like(some.share)
    for own in (first, ~first):
        other = some.of(~own)
        said[own] = stated(some.of(own), fitted(other.share, other.fit))
    return said


def log_loss(said: Numbers | Sequence[float], came: Numbers) -> float:
    """Mean of minus the logarithm of the chance that was given to what came."""
    near = np.clip(said, LEAST_SHARE, 1.0 - LEAST_SHARE)
    return float(-np.mean(came * np.log(near) + (1.0 - came) * np.log(1.0 - near)))
