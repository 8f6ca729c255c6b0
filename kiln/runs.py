"""Large arrays a run of points at a time, so that what is made on the way stays in a core's cache."""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np

from shared.units import Array

RUN_POINTS = 16_384  # points worked at once: the temporaries of that many stay in a core's cache, those of more do not


def in_runs(work: Callable[..., Array], *quantities: float | Array) -> Array:
    """Return ``work(*quantities)``, of shapes that broadcast, a cache-sized run of points at a time.

    ``work`` works point by point on one-dimensional arrays, all of one length or of length 1.
    """
    arrays = [np.asarray(one, dtype=float) for one in quantities]
    shape = np.broadcast_shapes(*(one.shape for one in arrays))
    lines = [(one if one.size == 1 else np.broadcast_to(one, shape)).reshape(-1) for one in arrays]
    made = np.empty(math.prod(shape))
    np.empty(16 * RUN_POINTS)  # taken and freed: glibc then keeps that much, not asking the system for it at every run
    for start in range(0, made.size, RUN_POINTS):
        run = slice(start, start + RUN_POINTS)
        made[run] = work(*(line if line.size == 1 else line[run] for line in lines))
    return made.reshape(shape)
